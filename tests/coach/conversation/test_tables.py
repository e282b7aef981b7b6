"""The tables of the conversation: complete, in order, and the only lists of their members."""

import re
from pathlib import Path

import pytest

from rungwise.concepts.alert_kinds import ALERTS, RESTING_KINDS, URGENCIES
from rungwise.concepts.answers import ANSWERS
from rungwise.concepts.client_states import MOVES, By, NoSuchMove, State, moved
from rungwise.concepts.due_kinds import DUE_KINDS
from rungwise.concepts.questions import DOUBTS, QUESTIONS, SAFETY
from rungwise.concepts.signs import SIGNS
from rungwise.concepts.text_kinds import TEXT_KINDS
from rungwise.reply.reading import Asked, OpenAnswer
from rungwise.ticks.jobs import HANDLERS
from rungwise.wording.catalogue import CATALOGUE

SERVICE = Path(__file__).parents[3] / "service/rungwise"
CODES = set(OpenAnswer.__args__)


def test_every_sign_names_texts_questions_and_alerts_that_there_are() -> None:
    for row in SIGNS.values():
        assert row.text in CATALOGUE
        assert row.alert in RESTING_KINDS
        for question in (row.then, row.doubt):
            assert question is None or question in QUESTIONS
        assert row.doubt_alert is None or row.doubt_alert in ALERTS


def test_every_question_has_its_texts_and_is_one_the_reader_knows() -> None:
    for kind, row in QUESTIONS.items():
        assert kind in Asked.__args__
        assert {row.text, row.again, row.unclear} <= set(CATALOGUE)
        assert row.alert is None or row.alert in ALERTS


def test_every_question_about_a_doubt_is_answered_or_grows_urgent() -> None:
    assert set(SAFETY) >= DOUBTS
    assert all(QUESTIONS[kind].waits is not None for kind in DOUBTS)


def test_the_answers_are_of_questions_and_lead_to_texts_and_alerts() -> None:
    aftermaths = {"hurt_after_help", "after_emergency", "after_distress"}
    assert set(ANSWERS) - aftermaths == set(SAFETY) | {"fall_weekly"}
    for rows in ANSWERS.values():
        assert set(rows) <= CODES
        for outcome in rows.values():
            assert outcome.text in CATALOGUE
            assert {kind for kind, _ in outcome.alerts} <= set(ALERTS)
            assert outcome.then is None or outcome.then in QUESTIONS


@pytest.mark.parametrize("kind", [kind for kind in ANSWERS if "yes" in ANSWERS[kind]])
def test_cannot_and_unknown_are_never_milder_than_yes(kind: str) -> None:
    rows = ANSWERS[kind]
    if kind in ("fall_weekly", "after_distress"):
        return  # asked by the calendar; nothing there stands down in any case
    for answer in ("cannot", "unknown"):
        milder = {"rests": 0, "unchanged": 1, "as_before": 2}
        assert milder[rows[answer].after] <= milder[rows["yes"].after]
        worst = [URGENCIES.index(urgency) for _, urgency in rows[answer].alerts] or [2]
        assert min(worst) <= min([URGENCIES.index(u) for _, u in rows["yes"].alerts] or [2])


def test_comfort_is_a_no_to_being_hurt_and_to_nothing_else() -> None:
    told = {kind for kind, rows in ANSWERS.items() if "comfort" in rows}
    assert told == {"hurt", "hurt_after_help", "after_emergency", "after_distress"}


def test_only_a_trainer_leads_from_resting_to_practising() -> None:
    assert MOVES[State.RESTING, State.ACTIVE] == {By.TRAINER}
    assert moved("resting", "active", "trainer") is State.ACTIVE
    for by in (By.CLIENT, By.CLOCK):
        with pytest.raises(NoSuchMove, match="resting"):
            moved("resting", "active", by)


def test_a_move_that_is_not_in_the_table_raises() -> None:
    for before in State:
        for after in State:
            for by in By:
                allowed = before is after or by in MOVES.get((before, after), ())
                if allowed:
                    assert moved(before, after, by) is after
                else:
                    with pytest.raises(NoSuchMove):
                        moved(before, after, by)


def test_every_due_kind_has_its_handler() -> None:
    assert set(HANDLERS) == set(DUE_KINDS)


def test_help_leaves_first_and_is_never_taken_back_by_a_rest() -> None:
    for kind in ("safety", "help"):
        assert TEXT_KINDS[kind].rank == min(row.rank for row in TEXT_KINDS.values())
        assert TEXT_KINDS[kind].at_rest
        assert TEXT_KINDS[kind].after_stop


# A list of three signs by hand is a second home for the table of them.
BY_HAND = re.compile(r'"(?:fall|pain|dizz\w*)"[^\n]*"(?:fall|pain|dizz\w*)"[^\n]*"(?:emergency)"')


def test_no_other_module_lists_the_signs_by_hand() -> None:
    # Pure packages below the tables, and the columns of an export.
    homes = {"concepts", "reply", "ladder", "wording"}
    columns = "coach/data/export_rows.py"
    found = [
        path.relative_to(SERVICE).as_posix()
        for path in SERVICE.rglob("*.py")
        if path.relative_to(SERVICE).parts[0] not in homes and BY_HAND.search(path.read_text())
    ]
    assert found == [columns]
