"""What pages say, against the state that they say it of: a sentence for each, and one it is not."""

import html
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import pytest
from sqlmodel import col, select
from test_intake_page import form
from web_world import World

from rungwise.coach.enrolment.intake import add_from
from rungwise.coach.enrolment.intake_form import read_intake
from rungwise.coach.plan.placement import place_client
from rungwise.coach.record.situation import load
from rungwise.store.tables import Client, Message, Practice, Trainer
from rungwise.wording.segments import left_out

AT_NIGHT = timedelta(hours=15)  # from 8 in the morning to 23:00 in New York


@dataclass(frozen=True)
class Said:
    """A page in a state: what it must say of it, and what would not be true."""

    state: Callable[[World], None]
    path: str
    says: tuple[str, ...]
    not_says: tuple[str, ...] = ()
    who: str = "tess"


def morning(_world: World) -> None:
    pass


def prompted(world: World) -> None:
    world.pass_time(hours=2)


def steady(world: World) -> None:
    prompted(world)
    world.reply("ada", "20 steady")


def skipped(world: World) -> None:
    prompted(world)
    world.reply("ada", "skipped today")


def day_after(world: World) -> None:
    steady(world)
    world.pass_time(hours=20)


def in_doubt(world: World) -> None:
    """A question about dizziness, asked in the evening, is open when the next prompt is due."""
    world.pass_time(hours=12)
    world.reply("ada", "my head feels funny")
    world.pass_time(hours=14)


def service_was_down(world: World) -> None:
    """The prompt's hour passed with no tick."""
    world.clock.set(world.clock.now() + timedelta(hours=6))
    world.tick()


def undelivered(world: World) -> None:
    prompted(world)
    with world.store.write() as session:
        rows = select(Message).where(Message.kind == "prompt").order_by(col(Message.id))
        for message in session.exec(rows).all():
            message.state = "failed"
            session.add(message)


def placed_by_a_colleague(world: World) -> None:
    with world.store.write() as session:
        lena = session.get_one(Trainer, world.trainers["lena"])
        situation = load(session, session.get_one(Client, world.clients["ada"]))
        assert situation is not None
        key = situation.ladder.rungs[2].key
        place_client(session, world.clock.now(), lena, situation, key, "seen at a visit")


def imported(world: World) -> None:
    """Added by a list, before anybody has asked the questions or agreed."""
    given = {"name": "Dee Example", "phone": "+12025550209", "sex": "female"}
    with world.store.write() as session:
        tess = session.get_one(Trainer, world.trainers["tess"])
        draft = read_intake(given, session.get_one(Practice, 1), screened=False)
        add_from(session, world.clock.now(), tess, draft, begin=False)


def knee(words: str) -> Callable[[World], None]:
    return lambda world: (prompted(world), world.reply("ada", words))[0]


def handled(world: World) -> None:
    prompted(world)
    world.reply("ada", "what is hover?")
    browser = world.signed_in()
    for alert in world.alerts("ada"):
        browser.post(f"/alerts/{alert.id}/handle", what_done="phoned")


def without_phones(world: World) -> None:
    with world.store.write() as session:
        for trainer in session.exec(select(Trainer)).all():
            trainer.phone = None
            session.add(trainer)


def only_the_lead_has_a_phone(world: World) -> None:
    without_phones(world)
    with world.store.write() as session:
        session.get_one(Trainer, world.trainers["lena"]).phone = "+12025550119"


LAST = 'data-label="Last practice">'
TODAY = 'data-label="Today"><span class="today today-'
NOBODY = "Nobody can be paged:"
SENTENCES = {
    "practised today": Said(steady, "/clients?q=Ada", (f"{LAST}today", f"{TODAY}steady")),
    "practised yesterday": Said(day_after, "/clients?q=Ada", (f"{LAST}yesterday",)),
    "added this morning": Said(morning, "/clients?q=Ada", (f"{LAST}none yet",), (f"{LAST}today",)),
    "imported a minute ago": Said(
        imported, "/clients?q=Dee", (f"{LAST}none yet",), (f"{LAST}today",)
    ),
    "placed is not practised": Said(
        placed_by_a_colleague, "/clients?q=Ada", (f"{LAST}none yet",), (f"{LAST}today",)
    ),
    "skipped is not practised": Said(
        skipped, "/clients?q=Ada", (f"{LAST}none yet", f"{TODAY}skipped"), (f"{LAST}today",)
    ),
    "held on purpose": Said(in_doubt, "/clients?q=Ada", (f"{TODAY}held",), (f"{TODAY}missed",)),
    "not sent": Said(service_was_down, "/clients?q=Ada", (f"{TODAY}missed",), (f"{TODAY}held",)),
    "did not arrive": Said(undelivered, "/clients?q=Ada", (f"{TODAY}not_arrived",)),
    "placed by whom": Said(
        placed_by_a_colleague,
        "/clients/{ada}",
        ("laced by a trainer", "seen at a visit", "(Lena Placeholder)"),
        ("laced by you",),
    ),
    "which knee": Said(
        knee("20 steady but my left knee hurts"),
        "/alerts/1",
        ("where: left knee",),
        ("where: right",),
    ),
    "which knee, in other words": Said(
        knee("20 steady but the right knee hurts"),
        "/alerts/1",
        ("where: right knee",),
        ("where: left",),
    ),
    "a knee without a side": Said(
        knee("20 steady but my knee hurts"),
        "/alerts/1",
        ("where: knee",),
        ("where: left", "where: right"),
    ),
    "no alert ever": Said(morning, "/", ("No alert is open.",), ("has been handled", NOBODY)),
    "every alert handled": Said(handled, "/", ("No alert is open.",), (NOBODY,)),
    "nobody to page": Said(without_phones, "/", (NOBODY, "No alert is open.")),
    "somebody to page": Said(only_the_lead_has_a_phone, "/", ("No alert is open.",), (NOBODY,)),
}


@pytest.mark.parametrize("name", SENTENCES)
def test_a_page_says_what_is_so(world: World, name: str) -> None:
    said = SENTENCES[name]
    said.state(world)
    page = html.unescape(world.signed_in(said.who).page(said.path.format(**world.clients)))
    for words in said.says:
        assert words in page
    for words in said.not_says:
        assert words not in page.partition("<main")[2]


@pytest.mark.parametrize(
    ("later", "says", "button"),
    [
        (timedelta(hours=2), "It goes at once.", "and send the first text"),
        (AT_NIGHT, "it goes at 08:00.", "the first text in the morning"),
    ],
)
def test_the_first_text_goes_when_the_page_says(
    world: World, later: timedelta, says: str, button: str
) -> None:
    world.clock.set(world.clock.now() + later)
    browser = world.signed_in()
    page = html.unescape(browser.post("/clients/new", step="look", **form()).text)
    assert says in page
    assert button in page
    seen = page.partition('name="seen" value="')[2].partition('"')[0]
    assert browser.post("/clients/new", step="add", seen=seen, **form()).status_code == 303
    world.tick()
    with world.store.read() as session:
        rows = select(Message).where(Message.kind == "welcome").order_by(col(Message.id).desc())
        first = session.exec(rows).first()
    assert first is not None
    assert (first.state in ("sent", "delivered")) == (says == "It goes at once.")


def test_what_a_text_cannot_carry_is_said_before_anything_leaves(world: World) -> None:
    prompted(world)
    browser, path = world.signed_in(), f"/clients/{world.clients['ada']}/texts"
    shown = html.unescape(browser.post(path, body="Well done 🎉👏 Ada", once="a").text)
    assert "Left out, because a text message cannot carry it: 🎉👏" in shown
    assert "Nothing has been sent yet." in shown
    assert ">Well done  Ada</textarea>" in shown
    assert world.sent("ada", "own") == []
    assert browser.post(path, body="Well done  Ada", once="b").status_code == 303
    world.tick()
    assert [text.body for text in world.sent("ada", "own")] == ["Well done  Ada"]


@pytest.mark.parametrize(
    ("text", "lost"),
    [
        ("Well done", ""),
        ("“Señora” – café…", ""),  # has near equals in GSM-7 (3GPP TS 23.038)
        ("¡Así! ó á", ""),
        ("👍 and 👍", "👍"),
        ("Zażółć", ""),
        ("ok ✓", "✓"),
    ],
)
def test_what_is_left_out_is_named_once(text: str, lost: str) -> None:
    assert left_out(text) == lost
