"""Answers to the screening's questions and after a fall, for the tests of whatever asks them."""

from rungwise.coach.enrolment.screening_questions import QUESTIONS
from rungwise.concepts.after_fall import ITEMS, choices_of


def harmless() -> dict[str, str]:
    """The answers that let a client start."""
    return {question.name: question.choices[0].value for question in QUESTIONS}


def unhurt() -> dict[str, str]:
    """The answers after a fall that ask for nothing more."""
    return {item.name: next(iter(choices_of(item))) for item in ITEMS}


UNHURT_FORM = {f"fall_{name}": value for name, value in unhurt().items()}
