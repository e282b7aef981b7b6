"""Whether practice by text is for a client: eleven questions in plain words, and what follows.

Pure. Every question must be answered; the gravest answer decides. "Not sure" is never taken for
the harmless answer. None of this is a diagnosis, and a trainer may always ask a clinician first.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from rungwise.errors import ImpossibleValue

RULES_VERSION = 1

Verdict = Literal["fine", "care", "ask_first", "not_by_text"]
Outcome = Literal["start", "ask_first", "not_by_text"]

GRAVITY: tuple[Verdict, ...] = ("fine", "care", "ask_first", "not_by_text")
COMMON = "common practice, no source"
STOP_SIGNS = "among the ACSM's signs that end an exercise test, as reprinted; else common practice"


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer: what it is called, how grave it is, and what it tells the trainer."""

    value: str
    label: str
    verdict: Verdict = "fine"
    says: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """One question as it is read to the client, and why it is asked."""

    name: str
    asks: str
    choices: tuple[Choice, ...]
    why: str
    source: str = COMMON

    def choice(self, value: str) -> Choice:
        """The choice of that value; ImpossibleValue, naming the question, if there is none."""
        for one in self.choices:
            if one.value == value:
                return one
        allowed = " or ".join(one.value for one in self.choices)
        raise ImpossibleValue(self.name, value, allowed)


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


def _yes_is(verdict: Verdict, says: str, unsure: str) -> tuple[Choice, ...]:
    return (
        Choice("no", "No"),
        Choice("yes", "Yes", verdict, says),
        Choice("unsure", "Not sure", "ask_first", unsure),
    )


def _no_is(verdict: Verdict, says: str, unsure: str) -> tuple[Choice, ...]:
    return (
        Choice("yes", "Yes"),
        Choice("no", "No", verdict, says),
        Choice("unsure", "Not sure", "ask_first", unsure),
    )


QUESTIONS: tuple[Question, ...] = (
    Question(
        "falls",
        "How often have you ended up on the floor or the ground in the past year, slips and trips "
        "too?",
        (
            Choice("none", "Not once"),
            Choice("one", "Once, unhurt", "care", "Fell once in the past year, unhurt."),
            Choice(
                "more",
                "More than once, or hurt",
                "ask_first",
                "Fell more than once in the past year, or was hurt in a fall.",
            ),
            Choice("unsure", "Not sure", "ask_first", "Not sure about falls in the past year."),
        ),
        "A second fall in a year, or one with an injury, calls for a look at its causes first.",
        "from memory",
    ),
    Question(
        "dizzy",
        "Do you get dizzy or light-headed when you stand up, or while standing?",
        _yes_is(
            "ask_first",
            "Gets dizzy on standing.",
            "Not sure about dizziness on standing.",
        ),
        "Blood pressure that drops on standing can be found and treated.",
        STOP_SIGNS,
    ),
    Question(
        "chest",
        "In the past three months, any pain or pressure in your chest, or short of breath at rest?",
        _yes_is(
            "ask_first",
            "Chest pain or pressure, or breathlessness at rest, in the past three months.",
            "Not sure about chest pain or breathlessness.",
        ),
        "A doctor must know before any practice begins.",
        STOP_SIGNS,
    ),
    Question(
        "faint",
        "In the past year, have you fainted or nearly fainted?",
        _yes_is(
            "ask_first",
            "Fainted or nearly fainted in the past year.",
            "Not sure about fainting.",
        ),
        "Someone who faints falls without warning, whatever the feet do.",
        STOP_SIGNS,
    ),
    Question(
        "surgery",
        "In the past three months, an operation or a broken bone, or were you told not to put "
        "your full weight on a leg?",
        _yes_is(
            "ask_first",
            "An operation, a broken bone or a leg to be spared in the past three months.",
            "Not sure about an operation, a broken bone or a leg to be spared.",
        ),
        "Who treats it decides what the leg may carry.",
    ),
    Question(
        "stands",
        "Beside a kitchen counter, can you stand for ten seconds without holding on?",
        _no_is(
            "not_by_text",
            "Cannot stand for ten seconds without holding on.",
            "Not sure about standing without holding on: try it together.",
        ),
        "Alone at home is no place to find out; practise at visits first.",
    ),
    Question(
        "numb",
        "Are your feet numb, or do you feel the floor poorly?",
        _yes_is(
            "care",
            "Feels the floor poorly: firm ground only, in shoes, and look at the feet.",
            "Not sure about feeling in the feet: test it.",
        ),
        "Feet that feel little give no warning on soft ground.",
    ),
    Question(
        "sight",
        "With your glasses, can you see your feet and the floor around you clearly?",
        _no_is(
            "ask_first",
            "Does not see feet and floor clearly.",
            "Not sure about eyesight.",
        ),
        "Every task is set by where the feet are.",
    ),
    Question(
        "aid",
        "Indoors, do you walk with a stick or a frame, or hold on to furniture?",
        _yes_is(
            "ask_first",
            "Uses a walking aid or furniture indoors.",
            "Not sure about a walking aid indoors.",
        ),
        "Who needs an aid to walk may need someone beside them to practise.",
    ),
    Question(
        "drowsy",
        "Do you take anything that makes you sleepy or unsteady: sleeping pills, strong "
        "painkillers, calming tablets?",
        _yes_is(
            "ask_first",
            "Takes medicine that makes sleepy or unsteady.",
            "Not sure about medicine that makes sleepy or unsteady.",
        ),
        "A pharmacist or doctor can say when in the day it is safe to practise, or change it.",
    ),
    Question(
        "texts",
        "Can you read a text on your own phone and answer it, without help?",
        _no_is(
            "not_by_text",
            "Cannot read and answer a text without help.",
            "Not sure about texting: send one and answer it together.",
        ),
        "What cannot be read cannot be followed, and nobody would hear of a fall.",
    ),
)
BY_NAME: Mapping[str, Question] = {one.name: one for one in QUESTIONS}


def screen(answers: Mapping[str, str]) -> Screened:
    """What follows from the answers, by question name.

    ImpossibleValue for a question that has no answer, an answer that is none of its choices, or a
    question that is not asked.
    """
    strange = sorted(set(answers) - set(BY_NAME))
    if strange:
        raise ImpossibleValue("question", strange[0], f"one of {', '.join(BY_NAME)}")
    given = [question.choice(answers.get(question.name, "")) for question in QUESTIONS]
    gravest = max(given, key=lambda choice: GRAVITY.index(choice.verdict)).verdict
    holding = [one for one in given if one.verdict in ("ask_first", "not_by_text")]
    holding.sort(key=lambda choice: -GRAVITY.index(choice.verdict))
    outcome: Outcome = "start"
    if gravest in ("ask_first", "not_by_text"):
        outcome = gravest
    return Screened(
        outcome,
        tuple(one.says for one in holding),
        tuple(one.says for one in given if one.verdict == "care"),
        no_soft_surface=answers["numb"] != "no",
        two_hands=answers["aid"] != "no",
    )
