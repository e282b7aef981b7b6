"""Handing clients over to a colleague with their open alerts, and shutting out who leaves."""

import re

import pytest
from sqlmodel import col, select
from web_world import SignedIn, World

from rungwise.coach.accounts.hand_over import hand_over
from rungwise.coach.record.access import OnlyTheLead
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import Audit, Client, Message, Trainer


def look(world: World, browser: SignedIn, giver: str, to: str, *who: str):
    clients = [world.clients[one] for one in who]
    path = f"/practice/trainers/{world.trainers[giver]}/hand-over"
    return browser.post(path, clients=clients, to=world.trainers[to])


def press(world: World, browser: SignedIn, giver: str, to: str, *who: str, do: str):
    seen = re.search(r'name="seen" value="(\w+)"', look(world, browser, giver, to, *who).text)
    assert seen
    path = f"/practice/trainers/{world.trainers[giver]}/hand-over"
    clients = [world.clients[one] for one in who]
    form = {"clients": clients, "to": world.trainers[to], "seen": seen[1], "do": do}
    return browser.post(path, **form)


def trainer_of(world: World, who: str) -> int:
    return world.client(who).trainer_id


def test_all_clients_of_a_leaver_go_with_their_alerts_and_the_leaver_is_shut_out(
    world: World,
) -> None:
    leaver = world.signed_in("tess")
    world.reply("ada", "I fell in the kitchen")
    (alert,) = world.alerts("ada")
    leaver.page(f"/alerts/{alert.id}")
    assert world.alerts("ada")[0].state == "seen"
    browser = world.signed_in("lena")
    page = look(world, browser, "tess", "omar", "ada", "bo").text
    assert "2 clients from Tess Example to Omar Sample" in page
    assert "1 open alert, 1 urgent" in page
    assert "Hand over, and close the sign-in of Tess Example" in page
    assert trainer_of(world, "ada") == world.trainers["tess"], "only looked at"
    done = press(world, browser, "tess", "omar", "ada", "bo", do="close")
    assert (done.status_code, done.headers["location"]) == (303, "/practice")
    assert {trainer_of(world, who) for who in world.clients} == {world.trainers["omar"]}
    assert leaver.get("/").headers["location"].startswith("/sign-in")
    # The colleague has the fall as something nobody has seen, and was paged about it.
    (alert,) = world.alerts("ada")
    assert alert.state == "new"
    assert "Handed over by Tess Example to Omar Sample." in alert.system_did
    taker = world.signed_in("omar")
    assert "in the kitchen" in taker.page("/")
    world.tick()
    with world.store.read() as session:
        rows = select(Message).where(Message.kind == "page").order_by(col(Message.id))
        pages = session.exec(rows).all()
        assert [one.trainer_id for one in pages] == [world.trainers["tess"], world.trainers["omar"]]
        lines = session.exec(select(Audit).where(Audit.action == "handed over")).all()
        assert {line.client_id for line in lines} == {world.clients["ada"], world.clients["bo"]}
        closed = session.exec(select(Audit).where(Audit.action == "may not sign in")).one()
        assert closed.detail["colleague"] == world.trainers["tess"]
    taker.page(f"/clients/{world.clients['ada']}")
    assert (
        "handed the client over" in taker.page(f"/clients/{world.clients['ada']}/history").lower()
    )


def test_some_go_and_the_sign_in_stays(world: World) -> None:
    browser = world.signed_in("lena")
    page = look(world, browser, "tess", "omar", "bo").text
    assert "Tess Example keeps 1 client." in page
    assert "close the sign-in" not in page
    assert press(world, browser, "tess", "omar", "bo", do="close").status_code == 400
    assert trainer_of(world, "bo") == world.trainers["tess"], "all or nothing"
    assert press(world, browser, "tess", "omar", "bo", do="move").status_code == 303
    assert trainer_of(world, "bo") == world.trainers["omar"]
    assert trainer_of(world, "ada") == world.trainers["tess"]
    world.signed_in("tess").page(f"/clients/{world.clients['bo']}", 404)


def test_what_changed_since_it_was_looked_at_is_looked_at_again(world: World) -> None:
    browser = world.signed_in("lena")
    seen = re.search(r'"seen" value="(\w+)"', look(world, browser, "tess", "omar", "ada").text)
    assert seen
    world.reply("ada", "I feel dizzy")
    path = f"/practice/trainers/{world.trainers['tess']}/hand-over"
    form = {"clients": world.clients["ada"], "to": world.trainers["omar"], "do": "move"}
    answer = browser.post(path, seen=seen[1], **form)
    assert answer.status_code == 409
    assert "Something changed since you looked." in answer.text
    assert "1 open alert" in answer.text
    assert trainer_of(world, "ada") == world.trainers["tess"]


def test_a_trainer_hands_over_their_own_clients_and_nobody_elses(world: World) -> None:
    browser = world.signed_in("omar")
    path = f"/practice/trainers/{world.trainers['tess']}/hand-over"
    assert browser.get(path).status_code == 404
    assert browser.post(path, clients=1, to=3, do="move", seen="x").status_code == 404
    assert "close the sign-in" not in look(world, browser, "omar", "tess", "cy").text
    done = press(world, browser, "omar", "tess", "cy", do="move")
    assert (done.status_code, done.headers["location"]) == (303, "/clients")
    assert trainer_of(world, "cy") == world.trainers["tess"]


@pytest.mark.parametrize("to", ["tess", "nobody", "gone"])
def test_nobody_takes_clients_who_is_not_there_to_look_after_them(world: World, to: str) -> None:
    with world.store.write() as session:
        session.get_one(Trainer, world.trainers["omar"]).active = False
    taker = {"tess": world.trainers["tess"], "nobody": 77, "gone": world.trainers["omar"]}[to]
    path = f"/practice/trainers/{world.trainers['tess']}/hand-over"
    browser = world.signed_in("lena")
    assert "Omar" not in browser.page(path)
    answer = browser.post(path, clients=world.clients["ada"], to=taker)
    assert answer.status_code == 400
    assert "it must be" in answer.text
    assert browser.post(path, to=taker).status_code == 400


def test_the_function_itself_refuses_what_a_page_would_not_offer(world: World) -> None:
    with world.store.write() as session:
        tess, omar = (session.get_one(Trainer, world.trainers[who]) for who in ("tess", "omar"))
        cy = session.get_one(Client, world.clients["cy"])
        with pytest.raises(OnlyTheLead):
            hand_over(session, world.clock.now(), tess, [cy], tess)
        omar.active = False
        with pytest.raises(ImpossibleValue):
            hand_over(session, world.clock.now(), tess, [], omar)


def test_the_next_text_names_who_looks_after_them_now(world: World) -> None:
    browser = world.signed_in("lena")
    press(world, browser, "tess", "omar", "ada", "bo", do="move")
    world.signed_in("omar").post(f"/clients/{world.clients['ada']}/pause", version=2)
    world.pass_time(hours=1)
    assert any("Omar Sample" in message.body for message in world.sent("ada", "notice"))
