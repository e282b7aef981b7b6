"""The safety conversation, turn by turn: what is sent, asked, alerted and stopped.

Each case is a few texts in a row; what must follow from the last is compared as a whole.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

import pytest
from sqlmodel import select
from stores import empty

from rungwise.coach.daily.safety import ASKED, RESTED
from rungwise.coach.record import questions
from rungwise.store import Store
from rungwise.store.tables import Alert, Client, Due, Message, Question
from rungwise.ticks.jobs import due_tick
from rungwise.wording.texts import CATALOGUE, render

NOT_HURT = "The client says they are not hurt."
HURT = "The client says they are hurt."
FOLLOWED = "The client answered the follow-up question."
HELPED = "The answer said who this is, asked whether they are hurt and gave the emergency number."
VALUES = {
    "called": "Ada",
    "practice": "Harbour Balance",
    "number": "911",
}


@pytest.fixture
def store(sqlite_store: Store) -> Iterator[Store]:
    """Rules, not statements: one kind of database is enough here."""
    yield sqlite_store
    empty(sqlite_store)


@dataclass
class Said:
    """What followed from the last of some texts."""

    sent: list[str]
    asks: str | None
    alerts: dict[str, tuple[str, str]]
    state: str


def name_of(body: str) -> str:
    """The name of the text that this is, or the words themselves."""
    for name, spec in CATALOGUE.items():
        if set(spec.values) <= set(VALUES):
            wanted = {value: VALUES[value] for value in spec.values}
            if render(name, "en", None, **wanted) == body:
                return name
    return body


def after(world, *texts: str) -> Said:
    """Send the texts and gather what the last one set off, and what stands then."""
    for text in texts:
        before = ids(world)
        world.clock.advance(timedelta(minutes=2))
        world.reply(text)
    with world.store.read() as session:
        rows = select(Message).where(
            Message.direction == "out",
            Message.client_id == world.client_id,
            Message.id.not_in(before),
            Message.kind != "prompt",
        )
        sent = [name_of(each.body) for each in session.exec(rows.order_by(Message.id)).all()]
        question = questions.current_question(session, world.clock.now(), world.client_id)
        asks = question.kind if question is not None else None
    alerts = {kind: (one.urgency, one.system_did) for kind, one in world.alerts().items()}
    return Said(sent, asks, alerts, world.client.state)


def ids(world) -> list[int]:
    with world.store.read() as session:
        return list(session.exec(select(Message.id)).all())


def due_kinds(world) -> set[str]:
    with world.store.read() as session:
        return {due.kind for due in session.exec(select(Due)).all()}


# --- surely told ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "sent", "asks", "kinds"),
    [
        ("I fell", ["safety_fall", "ask_hurt"], "hurt", ["fall"]),
        ("I feel dizzy", ["safety_dizzy", "ask_hurt"], "hurt", ["dizziness"]),
        ("my hip hurts", ["safety_pain", "ask_pain_score"], "pain_score", ["pain"]),
        ("I can't breathe", ["safety_emergency"], None, ["emergency"]),
        # The gravest gives the text; every one is an alert.
        ("chest pain", ["safety_emergency"], None, ["emergency", "pain"]),
        ("I fell, my hip hurts", ["safety_fall", "ask_hurt"], "hurt", ["fall", "pain"]),
        (
            "20 steady but I am dizzy and my hip hurts",
            ["safety_dizzy", "ask_hurt"],
            "hurt",
            ["dizziness", "pain"],
        ),
    ],
)
def test_a_sure_sign_stops_practice_sends_its_text_and_asks_on(
    world, text: str, sent: list[str], asks: str | None, kinds: list[str]
) -> None:
    found = after(world, text)
    assert found == Said(sent, asks, dict.fromkeys(kinds, ("urgent", RESTED)), "resting")
    assert not due_kinds(world) & {"prompt", "reminder"}
    assert world.moves()[-1].kind == "rest"
    assert world.client.state_since == world.clock.now()
    assert len(world.pages()) == 1


def test_texts_about_safety_go_before_everything_else(world) -> None:
    after(world, "I fell")
    with world.store.read() as session:
        rows = session.exec(select(Message).where(Message.client_id == world.client_id)).all()
    told = {name_of(each.body): each for each in rows if each.direction == "out"}
    assert told["safety_fall"].kind == told["ask_hurt"].kind == "safety"


@pytest.mark.parametrize("text", ["I fell", "nearly fell"])
def test_a_prompt_that_waits_is_taken_back(world, text: str) -> None:
    world.tick()
    world.clock.advance(timedelta(hours=1))
    due_tick(world.store, world.clock)  # and nothing leaves yet
    assert prompts(world) == ["queued"]
    tick, world.tick = world.tick, lambda: None
    after(world, text)
    assert prompts(world) == ["cancelled"], "with the text itself, before any tick"
    world.tick = tick
    world.pass_time(hours=3)
    assert prompts(world) == ["cancelled"]


def prompts(world) -> list[str]:
    with world.store.read() as session:
        rows = session.exec(select(Message).where(Message.kind == "prompt")).all()
        return [each.state for each in rows]


# --- perhaps told ---------------------------------------------------------------------------------

DOUBTS = [
    ("nearly fell", "ask_fall", "fall_yes_no", "near_fall"),
    ("not really dizzy", "ask_dizzy", "dizzy_yes_no", "dizziness"),
    ("it is uncomfortable", "ask_pain", "pain_yes_no", "pain"),
]


@pytest.mark.parametrize(("text", "asked", "question", "kind"), DOUBTS)
def test_a_doubt_asks_one_question_tells_the_trainer_and_stops_nothing_yet(
    world, text: str, asked: str, question: str, kind: str
) -> None:
    found = after(world, text)
    assert found == Said([asked], question, {kind: ("today", ASKED)}, "active")
    assert "doubt" in due_kinds(world)
    assert world.pages() == []
    assert world.moves()[-1].rule == "waiting_answer"


@pytest.mark.parametrize(("text", "asked", "question", "kind"), DOUBTS)
def test_no_ends_the_doubt_and_its_words_join_the_alert(
    world, text: str, asked: str, question: str, kind: str
) -> None:
    found = after(world, text, "no")
    did = f"{ASKED}\nThe client answered no."
    said = "safety_near_fall" if kind == "near_fall" else "doubt_cleared"
    assert found == Said([said], None, {kind: ("today", did)}, "active")
    assert "doubt" not in due_kinds(world)


@pytest.mark.parametrize(
    ("text", "sure", "sent", "asks"),
    [
        ("nearly fell", "fall", ["safety_fall", "ask_hurt"], "hurt"),
        ("not really dizzy", "dizziness", ["safety_dizzy", "ask_hurt"], "hurt"),
        ("it is uncomfortable", "pain", ["safety_pain", "ask_pain_score"], "pain_score"),
    ],
)
def test_yes_makes_it_sure(world, text: str, sure: str, sent: list[str], asks: str) -> None:
    found = after(world, text, "yes")
    assert (found.sent, found.asks, found.state) == (sent, asks, "resting")
    assert found.alerts[sure][0] == "urgent"
    assert RESTED in found.alerts[sure][1]
    assert "doubt" not in due_kinds(world), "the question was answered"


@pytest.mark.parametrize(("text", "asked", "question", "kind"), DOUBTS)
def test_a_doubt_that_nobody_answers_becomes_urgent(
    world, text: str, asked: str, question: str, kind: str
) -> None:
    after(world, text)
    world.pass_time(minutes=31)
    alert = world.alerts()[kind]
    assert alert.urgency == "urgent"
    assert alert.system_did.endswith(
        "The question was not answered in 30 minutes. Please call the client."
    )
    assert len(world.pages()) == 1


def test_two_doubts_are_two_alerts_and_the_graver_is_asked_first(world) -> None:
    found = after(world, "nearly fell and it is uncomfortable")
    assert found.sent == ["ask_fall"]
    assert found.asks == "fall_yes_no"
    assert found.alerts == {"near_fall": ("today", ASKED), "pain": ("today", ASKED)}


def test_a_sure_sign_leaves_no_doubt_beside_it(world) -> None:
    found = after(world, "nearly fell", "my hip hurts")
    assert found.sent == ["safety_pain", "ask_pain_score"]
    assert found.asks == "pain_score"
    assert "doubt" not in due_kinds(world)


def test_a_no_to_the_doubt_may_bring_the_days_result(world) -> None:
    found = after(world, "nearly fell", "no, 20 steady")
    assert found.sent[0] == "safety_near_fall"
    assert len(found.sent) == 2, "and the answer about the day"
    assert found.asks is None


def test_no_without_a_question_is_no_answer_to_one(world) -> None:
    found = after(world, "no")
    assert "doubt_cleared" not in found.sent
    assert found.alerts == {}


# --- the follow-up question -----------------------------------------------------------------------


def test_not_hurt_joins_the_alert_and_the_rest_holds(world) -> None:
    found = after(world, "I fell", "no")
    assert found == Said(
        ["hurt_no"], None, {"fall": ("urgent", f"{RESTED}\n{NOT_HURT}")}, "resting"
    )


def test_hurt_is_an_alert_of_its_own_and_joins_the_one_that_asked(world) -> None:
    found = after(world, "I fell", "yes")
    assert found.sent == ["hurt_yes"]
    assert (found.asks, found.state) == (None, "resting")
    assert found.alerts == {
        "fall": ("urgent", f"{RESTED}\n{HURT}"),
        "pain": ("urgent", HURT),
    }


@pytest.mark.parametrize("said", ["7", "0"])
def test_how_bad_the_pain_is_joins_the_alert(world, said: str) -> None:
    found = after(world, "my hip hurts", said)
    did = f"{RESTED}\nThe client puts the pain at {said} of 10."
    assert found == Said(["pain_score_kept"], None, {"pain": ("urgent", did)}, "resting")


def test_whatever_else_comes_in_answer_joins_the_alert_too(world) -> None:
    found = after(world, "I fell", "the neighbour is here")
    assert found == Said(
        ["pain_score_kept"], None, {"fall": ("urgent", f"{RESTED}\n{FOLLOWED}")}, "resting"
    )


def test_a_pain_told_in_answer_is_an_alert_of_its_own(world) -> None:
    found = after(world, "I fell", "my hip hurts")
    assert found.state == "resting"
    assert found.alerts["pain"][0] == "urgent"
    assert found.asks is None


def test_something_graver_told_in_answer_begins_anew(world) -> None:
    found = after(world, "I fell", "I can't breathe")
    assert found.sent == ["safety_emergency"]
    assert found.alerts["emergency"] == ("urgent", RESTED)
    again = after(world, "I fell again")
    assert again.sent == ["safety_fall", "ask_hurt"]


def test_a_doubt_in_the_answer_of_who_rests_is_past_asking(world) -> None:
    found = after(world, "I fell", "nearly fell again")
    assert "ask_fall" not in found.sent
    assert found.state == "resting"


# --- HELP -----------------------------------------------------------------------------------------


def test_help_says_who_this_is_and_asks_whether_they_are_hurt(world) -> None:
    found = after(world, "HELP")
    assert found == Said(["help"], "hurt", {"help": ("today", HELPED)}, "active")
    assert world.pages() == []


@pytest.mark.parametrize("text", [text for text, _, _, _ in DOUBTS])
def test_help_in_answer_to_a_doubt_is_an_emergency(world, text: str) -> None:
    found = after(world, text, "HELP")
    assert found.alerts["emergency"] == ("urgent", RESTED)
    assert found.sent == ["safety_emergency"]
    assert found.state == "resting"


def test_help_while_a_doubt_is_open_behind_another_question_is_urgent(world) -> None:
    at = world.clock.now()
    with world.store.write() as session:
        for kind in ("pain_yes_no", "pain_score"):
            session.add(
                Question(client_id=world.client_id, kind=kind, local_date=at.date(), asked_at=at)
            )
            session.flush()
    assert after(world, "HELP").alerts["help"] == ("urgent", HELPED)


def test_help_of_who_rests_is_urgent(world) -> None:
    assert after(world, "I fell", "no", "HELP").alerts["help"] == ("urgent", HELPED)


def test_not_hurt_after_help_rests_nobody(world) -> None:
    found = after(world, "HELP", "no")
    did = f"{HELPED}\n{NOT_HURT}"
    assert found == Said(["doubt_cleared"], None, {"help": ("today", did)}, "active")
    assert "prompt" in due_kinds(world)


def test_hurt_after_help_rests_and_is_urgent(world) -> None:
    found = after(world, "HELP", "yes")
    assert (found.sent, found.state) == (["hurt_yes"], "resting")
    assert found.alerts == {
        "help": ("today", f"{HELPED}\n{HURT}"),
        "pain": ("urgent", HURT),
    }
    assert world.moves()[-1].kind == "rest" or world.moves() == []
    assert "prompt" not in due_kinds(world)


@pytest.mark.parametrize(
    ("text", "asked", "kind"), [(text, asked, kind) for text, asked, _, kind in DOUBTS[:2]]
)
def test_a_doubt_after_help_is_asked_about(world, text: str, asked: str, kind: str) -> None:
    found = after(world, "HELP", text)
    assert found.sent == [asked]
    assert found.alerts[kind] == ("today", ASKED)
    with world.store.read() as session:
        hurt = session.exec(select(Question).where(Question.kind == "hurt")).one()
        assert hurt.answered_at is not None


def test_a_result_after_help_counts(world) -> None:
    world.pass_time(hours=1)
    found = after(world, "HELP", "no, 20 steady")
    assert found.sent[0] == "doubt_cleared"
    assert len(found.sent) == 2
    assert world.moves()[-1].rule == "gathering"


def test_words_without_an_open_alert_open_one(world) -> None:
    after(world, "I fell")
    with world.store.write() as session:
        session.exec(select(Alert)).one().state = "handled"
    found = after(world, "no")
    assert found.alerts == {"emergency": ("urgent", NOT_HURT)}


# --- who rests, and who cannot --------------------------------------------------------------------


def set_state(world, state: str, stopped_from: str | None = None) -> None:
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        client.state, client.stopped_from = state, stopped_from


@pytest.mark.parametrize(
    ("state", "stopped_from", "then"),
    [
        ("active", None, ("resting", None)),
        ("paused", None, ("resting", None)),
        ("resting", None, ("resting", None)),
        ("invited", None, ("invited", None)),
        ("stopped", "active", ("stopped", "resting")),
        ("stopped", "paused", ("stopped", "resting")),
        # START must neither undo a rest nor begin texts for who never began.
        ("stopped", "invited", ("stopped", "invited")),
    ],
)
def test_a_fall_rests_whoever_practises_and_begins_nobody(
    world, state: str, stopped_from: str | None, then: tuple[str, str | None]
) -> None:
    set_state(world, state, stopped_from)
    since = world.client.state_since
    after(world, "I fell")
    assert (world.client.state, world.client.stopped_from) == then
    assert world.alerts()["fall"].urgency == "urgent"
    assert (world.client.state_since != since) is (state in ("active", "paused"))
