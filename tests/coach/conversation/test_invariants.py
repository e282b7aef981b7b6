"""Laws of every conversation, over generated texts, orders and waits: see docs/safety.md."""

from datetime import timedelta
from itertools import product

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from rungwise.coach.conversation.effects import Decide, Say, Tell
from rungwise.coach.conversation.rehearsal import Conversation, Heard, Turn, rehearse
from rungwise.concepts.alert_kinds import RESTING_KINDS

RESTS = (
    "I fell in the garden",
    "my knee hurts a lot",
    "felt dizzy, room spinning",
    "bad chest pain",
    "nearly fell, caught the counter",
    "I don't want to live any more",
)
DOUBTS = ("fell over maybe, not sure", "felt a bit strange in the head", "HELP")
ANSWERS = ("yes", "no", "I am fine dear", "I cant", "don't know", "what?", "4", "9 out of 10")
DAILY = ("20 steady", "18 wobbly", "3", "not today", "done", "too easy", "harder please")
WISHES = (
    *("back", "START", "away until Friday", "text me at 11 instead", "easier please"),
    *("thanks", "who is this?", "am I doing all right?", "call me please", "Liked “20 steady”"),
)
CHAT = ("sorry dear", "good morning", "happy new year", "what fun", "lol", "ok then", "x")
EVERYTHING = (*RESTS, *DOUBTS, *ANSWERS, *DAILY, *WISHES, *CHAT)
SAYS = st.sampled_from(EVERYTHING)
WAITS = st.sampled_from((1, 5, 12, 40, 200, 1440, 2880))
TALKS = st.lists(st.builds(Turn, WAITS, SAYS), min_size=1, max_size=7)
FEW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def told_a_sign(heard: Heard) -> bool:
    return any(
        isinstance(step, Tell) and step.kind in RESTING_KINDS for step in heard.effects.steps
    )


def lived(turns: list[Turn], **more: object) -> list[Heard]:
    return list(rehearse(Conversation(turns=turns, **more)))  # type: ignore[arg-type]


@FEW
@given(TALKS, st.sampled_from(RESTS))
def test_nothing_said_or_waited_leads_from_a_rest_to_practice(turns: list[Turn], sign: str) -> None:
    """A rest ends by a trainer's act: no prompt goes after a sure sign, whatever comes."""
    heard = lived([Turn(5, sign), *turns, Turn(5000, None)])
    for each in heard[1:]:
        sent = [step for one in each.between for step in one.steps if isinstance(step, Say)]
        assert not [text for text in sent if text.kind in ("prompt", "reminder")]
        assert each.dossier.state in ("resting", "stopped")


@FEW
@given(TALKS)
def test_no_prompt_goes_while_a_question_about_harm_is_open(turns: list[Turn]) -> None:
    before = None
    for each in lived([*turns, Turn(3000, None)]):
        if before is not None and before.doubt is not None:
            sent = [step for one in each.between for step in one.steps if isinstance(step, Say)]
            assert not [text for text in sent if text.kind in ("prompt", "reminder")]
        before = each.dossier


@FEW
@given(st.sampled_from(RESTS), st.sampled_from(DAILY), st.booleans())
def test_no_move_up_on_a_date_with_a_sign(sign: str, daily: str, first: bool) -> None:
    said = (sign, daily) if first else (daily, sign)
    heard = lived([Turn(5, text) for text in said])
    moves = [step.move for one in heard for step in one.effects.steps if isinstance(step, Decide)]
    assert not moves or moves[-1].kind != "up"


@FEW
@example([Turn(1, "felt dizzy, room spinning"), Turn(1, "nearly fell, caught the counter")])
@example([Turn(1, "HELP"), Turn(1, "call me please"), Turn(1, "no")])
@example([Turn(1, "I cant"), Turn(1, "nearly fell, caught the counter")])
@given(TALKS)
def test_one_safety_text_for_what_is_told_and_at_most_one_question(turns: list[Turn]) -> None:
    asks_at_most_one_thing(turns)


def test_any_two_texts_running_are_asked_about_one_thing_at_a_time() -> None:
    for pair in product(EVERYTHING, repeat=2):
        asks_at_most_one_thing([Turn(1, text) for text in pair])


def asks_at_most_one_thing(turns: list[Turn]) -> None:
    for each in lived(turns):
        texts = [step for step in each.effects.steps if isinstance(step, Say)]
        told = [text for text in texts if text.name.startswith(("safety_", "despair"))]
        assert len(told) <= 2
        asking = [text for text in texts if "?" in text.body]
        assert len(asking) <= 1


@FEW
@given(TALKS)
def test_who_rests_or_is_asked_about_harm_always_reads_the_number_to_call(
    turns: list[Turn],
) -> None:
    for each in lived(turns):
        texts = [step for step in each.effects.steps if isinstance(step, Say)]
        for text in texts:
            if text.kind == "safety":
                assert "911" in text.body, text
        if told_a_sign(each) and each.dossier.resting:
            assert not [text for text in texts if text.name in ("up_a", "up_b", "up_c", "best")]


@FEW
@given(TALKS)
def test_nothing_a_client_writes_vanishes(turns: list[Turn]) -> None:
    for each in lived(turns):
        if each.reading is None or each.reading.machine == "reaction":
            continue
        kinds = {type(step) for step in each.effects.steps}
        courteous = (each.said or "").lower() in ("thanks", "no", "yes", "4", *CHAT)
        assert kinds & {Say, Tell} or courteous or each.dossier.state == "stopped", each.said


@FEW
@given(TALKS)
def test_the_same_conversation_gives_the_same_effects(turns: list[Turn]) -> None:
    assert [each.effects for each in lived(turns)] == [each.effects for each in lived(turns)]


def test_a_doubt_grows_urgent_after_thirty_minutes_and_help_after_ten() -> None:
    doubt, *_ = lived([Turn(5, "felt a bit strange in the head")])
    assert doubt.dossier.doubt is not None
    for said, minutes in (("felt a bit strange in the head", 30), ("HELP", 10)):
        early, late = lived([Turn(5, said), Turn(minutes - 1, None), Turn(2, None)])[1:]
        assert not [s for one in early.between for s in one.steps if isinstance(s, Tell)]
        told = [s for one in late.between for s in one.steps if isinstance(s, Tell)]
        assert [step.urgency for step in told] == ["urgent"]
        assert late.at - early.at == timedelta(minutes=2)


def test_stop_then_start_ends_no_rest() -> None:
    heard = lived([Turn(5, "I fell"), Turn(5, "STOP"), Turn(5, "START"), Turn(3000, None)])
    assert [each.dossier.state for each in heard] == ["resting", "stopped", "resting", "resting"]


def test_a_reaction_changes_nothing() -> None:
    fell, reacted = lived([Turn(5, "I fell"), Turn(1, "Liked “Stop and sit, or stay lying.”")])
    assert reacted.effects.steps == ()
    assert reacted.dossier == fell.dossier
