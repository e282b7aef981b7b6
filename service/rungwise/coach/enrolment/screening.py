"""Whether practice by text is for a client: what follows from the answers to the questions.

Pure. The gravest answer decides. None of this is a diagnosis, and a trainer may always ask a
clinician first.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from rungwise.coach.enrolment.screening_questions import (
    BY_NAME,
    QUESTIONS,
    Question,
    Verdict,
)
from rungwise.errors import ImpossibleValue

Outcome = Literal["start", "ask_first", "not_by_text"]

GRAVITY: tuple[Verdict, ...] = ("fine", "care", "ask_first", "not_by_text")


@dataclass(frozen=True, slots=True)
class Screened:
    """What the answers come to, with a sentence for each that matters, gravest first.

    `no_soft_surface` says that the ladder should stay on firm ground, `two_hands` that both hands
    should stay on the counter.
    """

    outcome: Outcome
    reasons: tuple[str, ...] = ()
    cares: tuple[str, ...] = ()
    no_soft_surface: bool = False
    two_hands: bool = False


def screen(answers: Mapping[str, str]) -> Screened:
    """What follows from the answers, by question name.

    ImpossibleValue for a question that has no answer, an answer that is none of its choices, or a
    question that is not asked.
    """
    strange = sorted(set(answers) - set(BY_NAME))
    if strange:
        raise ImpossibleValue("question", strange[0], f"one of {', '.join(BY_NAME)}")
    return _found(answers, QUESTIONS)


def screened_then(answers: Mapping[str, str]) -> Screened:
    """What follows from a screening on record: of the questions that were asked at the time."""
    return _found(answers, [question for question in QUESTIONS if question.name in answers])


def not_asked(answers: Mapping[str, str]) -> tuple[Question, ...]:
    """The questions that are newer than a screening on record."""
    return tuple(question for question in QUESTIONS if question.name not in answers)


def _found(answers: Mapping[str, str], asked: Sequence[Question]) -> Screened:
    given = [question.choice(answers.get(question.name, "")) for question in asked]
    verdicts = [choice.verdict for choice in given]
    gravest: Verdict = max(verdicts, key=GRAVITY.index, default="fine")
    holding = [one for one in given if one.verdict in ("ask_first", "not_by_text")]
    holding.sort(key=lambda choice: -GRAVITY.index(choice.verdict))
    outcome: Outcome = "start"
    if gravest in ("ask_first", "not_by_text"):
        outcome = gravest
    return Screened(
        outcome,
        tuple(one.says for one in holding),
        tuple(one.says for one in given if one.verdict == "care"),
        no_soft_surface=answers.get("numb") in ("yes", "unsure"),
        two_hands=answers.get("aid") in ("yes", "unsure"),
    )
