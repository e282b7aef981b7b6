"""Asked on the calendar whether they fell: every answer, and whatever may come in between.

Prospective asking with at least monthly answers: Lamb et al. 2005, J Am Geriatr Soc 53:1618-1622.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungwise.coach.conversation.effects import Answered, Ask, AskedAgain, Say, Tell
from rungwise.coach.conversation.falls_asked import asks_about, on_falls_asked
from rungwise.coach.conversation.rehearsal import Conversation, Heard, Turn, rehearse
from rungwise.reply import Context, read
from rungwise.wording.segments import segments

# The rehearsal begins on a Monday at 10:00; this many minutes later it is Sunday, 17:10.
SUNDAY = 6 * 1440 + 7 * 60 + 10
SOON = 5


def talk(*said: str | None, language: str = "en") -> list[Heard]:
    turns = [Turn(SUNDAY, None), *(Turn(SOON, one) for one in said)]
    return list(rehearse(Conversation(turns=turns, language=language)))


def steps(heard: Heard, kind: type) -> list:
    every = [step for one in (*heard.between, heard.effects) for step in one.steps]
    return [step for step in every if isinstance(step, kind)]


def answer_kept(heard: Heard) -> str | None:
    told = [step.answer for step in steps(heard, Answered) if step.kind == "fall_weekly"]
    return told[-1] if told else None


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_question_comes_on_sunday_in_one_segment_and_is_shown(language: str) -> None:
    (asked,) = talk(language=language)
    (question,) = [step for step in steps(asked, Say) if step.kind == "falls"]
    assert segments(question.body).count == 1
    assert segments(question.body).encoding == "GSM-7"
    assert asked.as_json()["asked"] == "fall_weekly"
    assert asked.as_json()["state"] == "practising"
    (ask,) = [step for step in steps(asked, Ask) if step.kind == "fall_weekly"]
    assert (ask.since, ask.day) == (date(2026, 1, 5), date(2026, 1, 11))


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", "no"),
        ("en", "No falls"),
        ("en", "0"),
        ("en", "none"),
        ("es", "no"),
        ("es", "ninguna"),
    ],
)
def test_a_no_is_the_week_answered_and_nothing_more(language: str, said: str) -> None:
    heard = talk(said, language=language)[-1]
    assert [step.name for step in steps(heard, Say)] == ["week_no"]
    assert answer_kept(heard) == "no"
    assert not steps(heard, Tell)
    assert heard.as_json()["state"] == "practising"


@pytest.mark.parametrize("said", ["YES", "yes once", "1", "I fell on Tuesday", "I think so"])
def test_a_yes_is_a_fall_told(said: str) -> None:
    heard = talk(said)[-1]
    assert [(step.kind, step.urgency) for step in steps(heard, Tell)] == [("fall", "urgent")]
    assert [step.name for step in steps(heard, Say)] == ["safety_fall"]
    assert heard.dossier.state == "resting"
    assert heard.as_json()["asked"] == "hurt"
    assert answer_kept(heard) == "yes"


def test_after_whether_they_are_hurt_they_are_asked_on_which_day() -> None:
    _, _, not_hurt, told = talk("YES", "No, not hurt", "It was on Tuesday")
    assert not_hurt.as_json()["asked"] == "fall_day"
    (kept,) = [step for step in steps(told, Answered) if step.kind == "fall_day"]
    assert kept.answer == "2026-01-06"
    assert [step.name for step in steps(told, Say)] == ["fall_day_kept"]
    assert told.as_json()["asked"] is None
    assert told.dossier.state == "resting"


def test_a_day_told_at_once_is_not_asked_for() -> None:
    *_, not_hurt = talk("yes, on Tuesday", "no not hurt")
    assert not_hurt.as_json()["asked"] is None


def test_who_is_hurt_is_asked_for_no_dates() -> None:
    *_, hurt = talk("YES", "yes, my hip")
    assert hurt.as_json()["asked"] is None
    assert ("emergency", "urgent") in [(step.kind, step.urgency) for step in steps(hurt, Tell)]


def test_a_day_that_cannot_be_told_is_asked_once_more_and_then_left() -> None:
    *_, again, left = talk("YES", "no", "why?", "well you know")
    assert again.as_json()["asked"] == "fall_day"
    assert left.as_json()["asked"] is None
    *_, unknown = talk("YES", "no", "not sure")
    assert unknown.as_json()["asked"] is None
    assert [step.name for step in steps(unknown, Say)] == ["fall_day_kept"]


@pytest.mark.parametrize(("language", "said"), [("en", "don't know"), ("es", "no sé")])
def test_who_does_not_know_is_asked_whether_they_fell(language: str, said: str) -> None:
    heard = talk(said, language=language)[-1]
    assert heard.as_json()["asked"] == "fall_yes_no"
    assert heard.as_json()["state"] == "held"
    assert [(step.kind, step.urgency) for step in steps(heard, Tell)] == [("near_fall", "today")]
    assert [step.name for step in steps(heard, Say)] == ["ask_fall"]
    assert answer_kept(heard) == "unknown"


def test_comfort_is_no_answer_and_is_asked_once_more() -> None:
    _, again, left = talk("I'm fine dear", "all good thanks")
    assert [step.kind for step in steps(again, AskedAgain)] == ["fall_weekly"]
    assert [step.name for step in steps(again, Say)] == ["week_unclear"]
    assert again.as_json()["asked"] == "fall_weekly"
    assert answer_kept(left) is None
    assert left.as_json()["asked"] is None
    assert [(step.kind, step.urgency) for step in steps(left, Tell)] == [("unread", "note")]


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", "Not today sorry"),
        ("en", "No, not today"),
        ("en", "no time today"),
        ("en", "not now"),
        ("es", "Hoy no, lo siento"),
        ("es", "ahora no"),
    ],
)
def test_a_no_to_practice_is_no_answer_and_the_week_stays_missing(language, said) -> None:
    refused = talk(said, language=language)[-1]
    assert [step.name for step in steps(refused, Say)] == ["skipped_a"]
    assert answer_kept(refused) is None
    assert refused.as_json()["asked"] == "fall_weekly"
    later = talk(said, "no", language=language)[-1]
    assert answer_kept(later) == "no"


def test_not_this_week_is_no_fall_and_not_being_able_to_get_up_is_no_missed_practice() -> None:
    assert answer_kept(talk("Not this week")[-1]) == "no"
    stuck = talk("couldn't get up today")[-1]
    assert [step.urgency for step in steps(stuck, Tell)] == ["urgent"]


def test_silence_holds_nothing_and_the_week_is_missing() -> None:
    heard = list(rehearse(Conversation(turns=[Turn(SUNDAY, None), Turn(1440, None)])))[-1]
    (closed,) = [step for step in steps(heard, Answered) if step.kind == "fall_weekly"]
    assert closed.answer is None
    assert [step.kind for step in steps(heard, Say)] == ["prompt"]
    assert heard.as_json()["state"] == "practising"


def test_a_result_is_a_result_and_the_question_stays() -> None:
    _, told, no = talk("20 steady", "no")
    assert told.as_json()["report"]["holds"] == [{"seconds": 20.0, "side": None}]
    assert told.as_json()["asked"] == "fall_weekly"
    assert answer_kept(no) == "no"


def test_a_no_beside_a_result_answers_both() -> None:
    heard = talk("No. 20 steady")[-1]
    assert answer_kept(heard) == "no"
    assert heard.as_json()["report"] is not None


def test_a_no_beside_a_pain_answers_the_week_and_rests() -> None:
    heard = talk("no, but my knee hurts a lot")[-1]
    assert answer_kept(heard) == "no"
    assert heard.dossier.state == "resting"


def test_after_the_next_days_text_a_bare_yes_is_asked_about() -> None:
    turns = [Turn(SUNDAY, None), Turn(17 * 60 + 30, "yes")]
    heard = list(rehearse(Conversation(turns=turns)))[-1]
    assert heard.as_json()["asked"] == "fall_yes_no"
    turns = [Turn(SUNDAY, None), Turn(17 * 60 + 30, "no")]
    heard = list(rehearse(Conversation(turns=turns)))[-1]
    assert answer_kept(heard) is None


@pytest.mark.parametrize("before", ["I fell", "20", "HELP", "felt a bit strange in the head"])
def test_it_never_comes_while_another_question_is_open(before: str) -> None:
    turns = [Turn(SUNDAY - 20, before), Turn(30, None)]
    heard = list(rehearse(Conversation(turns=turns)))[-1]
    assert not [step for step in steps(heard, Say) if step.kind == "falls"]


def test_it_waits_for_the_other_answer_within_the_evening() -> None:
    turns = [Turn(SUNDAY - 20, "20"), Turn(30, "steady"), Turn(60, None)]
    heard = list(rehearse(Conversation(turns=turns)))[-1]
    assert [step.kind for step in steps(heard, Say)] == ["falls"]


@pytest.mark.parametrize("said", ["STOP", "away until 20 January"])
def test_it_never_comes_to_who_stopped_or_is_away(said: str) -> None:
    turns = [Turn(SUNDAY - 3000, said), Turn(3200, None)]
    heard = list(rehearse(Conversation(turns=turns)))[-1]
    assert not [step for step in steps(heard, Say) if step.kind == "falls"]


def test_where_a_fall_was_told_it_asks_about_another() -> None:
    (asked,) = talk()
    assert "Apart from" not in steps(asked, Say)[-1].body
    # Told on Tuesday, and the trainer let them practise again.
    turns = [Turn(1440, "I fell"), Turn(SOON, "no")]
    fell = list(rehearse(Conversation(turns=turns)))[-1].dossier
    again = replace(fell, state="active", questions=())
    at = datetime(2026, 1, 11, 22, 0, tzinfo=UTC)
    said = on_falls_asked(again, date(2026, 1, 5), at).steps[-1]
    assert isinstance(said, Say)
    assert said.name == "ask_week_more"


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.sampled_from(
            (
                "yes",
                "no",
                "I'm fine",
                "don't know",
                "what?",
                "20 steady",
                "1",
                "Tuesday",
                "STOP",
                "I fell",
                "my knee hurts a lot",
                "HELP",
                "thanks",
            )
        ),
        min_size=1,
        max_size=5,
    )
)
def test_whatever_comes_a_yes_rests_and_nothing_ends_that(said: list[str]) -> None:
    heard = talk("yes", *said)
    assert heard[1].dossier.state == "resting"
    for each in heard[2:]:
        assert each.dossier.state in ("resting", "stopped")
        assert len([step for step in steps(each, Say) if "?" in step.body]) <= 1


# --- when ----------------------------------------------------------------------------------------

MONDAY = date(2026, 3, 2)


@pytest.mark.parametrize(
    ("day", "every", "began", "last", "since"),
    [
        (6, 1, -60, -1, -1),
        (6, 1, -60, None, -1),
        (6, 1, 2, None, 2),
        (6, 1, 4, None, None),  # two days are no time to ask about
        (6, 4, -60, -22, -22),
        (6, 4, -60, -15, None),
        (6, 4, -60, -50, -22),
        (13, 1, -60, -1, 6),  # the missed week stays missing
    ],
)
def test_what_time_is_asked_about(
    day: int, every: int, began: int, last: int | None, since: int | None
) -> None:
    def on(days: int) -> date:
        return MONDAY + timedelta(days=days)

    found = asks_about(on(day), every, on(began), None if last is None else on(last))
    assert found == (None if since is None else on(since))


# --- the day of the fall -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("language", "said", "days"),
    [
        ("en", "Tuesday", 5),
        ("en", "on tuesday night", 5),
        ("en", "yesterday", 1),
        ("en", "this morning", 0),
        ("en", "Sunday", 0),
        ("en", "3 days ago", 3),
        ("en", "the 9th", 2),
        ("en", "January 8", 3),
        ("en", "1/8", 3),
        ("en", "two weeks ago", 14),
        ("en", "Friday or Saturday", None),
        ("en", "Tuesday, 20 steady", 5),
        ("en", "March 3", None),
        ("en", "can't remember", None),
        ("es", "el martes", 5),
        ("es", "ayer", 1),
        ("es", "anteayer", 2),
        ("es", "hace dos días", 2),
        ("es", "el 8 de enero", 3),
        ("es", "8/1", 3),
        ("es", "el sábado", 1),
    ],
)
def test_the_day_of_a_fall_is_read(language: str, said: str, days: int | None) -> None:
    context = Context(language=language, asked="fall_day", today=date(2026, 1, 11))
    assert read(said, context).days_ago == days
