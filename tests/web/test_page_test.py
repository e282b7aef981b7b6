"""The test page on a trainer's page, what stands before it, and the list before the first text."""

import re

import pytest
from sqlmodel import select
from web_world import World

from rungwise.store.tables import Client, Message, Trainer


@pytest.fixture
def untested(world: World) -> World:
    with world.store.write() as session:
        for trainer in session.exec(select(Trainer)).all():
            trainer.page_answered_at = None
    return world


def page_of(world: World, who: str) -> str:
    return f"/practice/trainers/{world.trainers[who]}"


def code_sent(world: World, who: str) -> str:
    with world.store.read() as session:
        rows = select(Message).where(Message.name == "page_test")
        text = session.exec(rows.order_by(Message.id.desc())).first()
    assert text.trainer_id == world.trainers[who]
    return re.search(r"reply 1 (\d\d)", text.body)[1]


def test_it_is_sent_and_its_code_entered_on_the_trainers_page(untested: World) -> None:
    tess = untested.signed_in("tess")
    address = page_of(untested, "tess")
    assert "None was answered yet" in tess.page(address)
    assert tess.post(f"{address}/test-page").status_code == 303
    untested.tick()
    page = tess.page(address)
    code = code_sent(untested, "tess")
    assert "The code in it" in page
    assert f">{code}<" not in page  # it stands in the page that was sent, and nowhere else
    refused = tess.post(f"{address}/test-page", code="x")
    assert refused.status_code == 400
    assert "not the code" in refused.text
    assert tess.post(f"{address}/test-page", code=code).status_code == 303
    assert "pages arrive" in tess.page(address)


def test_nobody_sends_one_to_somebody_elses_trainer(untested: World) -> None:
    assert (
        untested.signed_in("tess").post(page_of(untested, "omar") + "/test-page").status_code == 404
    )
    assert (
        untested.signed_in("lena").post(page_of(untested, "omar") + "/test-page").status_code == 303
    )


def test_every_page_says_that_clients_get_texts_and_none_was_answered(untested: World) -> None:
    for who, said in (("tess", "2 clients get texts"), ("omar", "1 client gets texts")):
        page = untested.signed_in(who).page("/clients")
        assert said in page
        assert f'href="{page_of(untested, who)}"' in page
    assert "No test page was answered yet. Send one" in untested.signed_in("lena").page("/practice")


def test_the_clients_page_says_what_to_do_and_no_text_goes(untested: World) -> None:
    with untested.store.write() as session:
        client = session.get_one(Client, untested.clients["ada"])
        client.state = "invited"
    tess = untested.signed_in("tess")
    address = f"/clients/{untested.clients['ada']}/start"
    page = tess.page(address)
    assert "No test page to Tess Example was answered yet" in page
    assert tess.post(address, agreed="yes").status_code == 400
    assert untested.client("ada").state == "invited"


def test_before_the_first_text_the_day_lists_what_to_settle(untested: World) -> None:
    lena = untested.signed_in("lena")
    assert "Before the first text" not in lena.page("/")
    with untested.store.write() as session:
        for client in session.exec(select(Client)).all():
            client.state = "invited"
    page = lena.page("/")
    for name in ("Hours", "Emergency number", "Who is paged", "Second contact", "Carrier"):
        assert f">{name}</a>" in page
    assert "Nobody gets a first text before it." in page
    with untested.store.write() as session:
        session.get_one(Trainer, untested.trainers["lena"]).page_answered_at = untested.clock.now()
    assert "Done. Answered." in lena.page("/")
