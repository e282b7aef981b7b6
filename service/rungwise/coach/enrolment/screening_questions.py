"""The questions before practice by text: in plain words, with what each answer does and why.

"Not sure" is never taken for the harmless answer. Pages, lists, programs and exports all ask and
show this one table.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from rungwise.errors import ImpossibleValue

# Raised with every change: a screening keeps the version that it was asked by.
RULES_VERSION = 2

Verdict = Literal["fine", "care", "ask_first", "not_by_text"]

COMMON = "common practice, no source"
DOES: Mapping[Verdict, str] = {
    "not_by_text": "no practice by text, only at visits",
    "ask_first": "no text until a clinician's word is recorded",
    "care": "noted, to be minded",
}
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
    """One question as it is read to the client, and why it is asked; `since` which version."""

    name: str
    asks: str
    choices: tuple[Choice, ...]
    why: str
    source: str = COMMON
    since: int = 1

    def choice(self, value: str) -> Choice:
        """The choice of that value; ImpossibleValue, naming the question, if there is none."""
        for one in self.choices:
            if one.value == value:
                return one
        allowed = " or ".join(one.value for one in self.choices)
        raise ImpossibleValue(self.name, value, allowed)

    @property
    def offered(self) -> tuple[tuple[str, str], ...]:
        """The answers as a form offers them."""
        return tuple((one.value, one.label) for one in self.choices)

    @property
    def does(self) -> str:
        """What the answers that matter do, in words."""
        said = []
        for verdict, follows in DOES.items():
            labels = [f'"{one.label}"' for one in self.choices if one.verdict == verdict]
            if labels:
                said.append(f"{' or '.join(labels)}: {follows}.")
        return " ".join(said)


def _yes_is(
    verdict: Verdict, says: str, unsure: str, unsure_is: Verdict = "ask_first"
) -> tuple[Choice, ...]:
    return (
        Choice("no", "No"),
        Choice("yes", "Yes", verdict, says),
        Choice("unsure", "Not sure", unsure_is, unsure),
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
    # Asked since the second version of the questions.
    Question(
        "thinner",
        "Do you take a blood thinner, or have you an illness that makes you bleed easily?",
        _yes_is(
            "care",
            "Blood thinner or bleeding illness: after any blow to the head to the emergency "
            "department, even when they feel well.",
            "Not sure about blood thinners: look at the medicines together, and count it as yes.",
            "care",
        ),
        "Bleeding inside the skull can show late; the checklist after a fall asks for it too.",
        "NICE CG176, advice for helplines",
        since=2,
    ),
    Question(
        "bones",
        "Have you thin bones (osteoporosis), or has a bone of your back ever broken?",
        (
            Choice("no", "No"),
            Choice(
                "thin",
                "Thin bones, no broken back bone",
                "care",
                "Osteoporosis: support always within reach; new pain in the back is told at once.",
            ),
            Choice(
                "broken",
                "A back bone broke",
                "ask_first",
                "A bone of the back has broken: ask which movements to leave out.",
            ),
            Choice("unsure", "Not sure", "ask_first", "Not sure about osteoporosis."),
        ),
        "A vertebra can break without a hard blow, and a fall costs more.",
        since=2,
    ),
    Question(
        "stroke",
        "Have you ever had a stroke, or a small one that passed?",
        _yes_is("ask_first", "Has had a stroke.", "Not sure about a stroke."),
        "One side may hold less well than it feels, and another stroke must be ruled out.",
        since=2,
    ),
    Question(
        "nerves",
        "Parkinson's, or another illness of the brain or nerves?",
        _yes_is(
            "ask_first",
            "Parkinson's or another illness of brain or nerves.",
            "Not sure about an illness of brain or nerves.",
        ),
        "Steadiness then changes with the hour and the medicine.",
        since=2,
    ),
    Question(
        "vertigo",
        "Does the room ever spin, as when you turn over in bed or look up?",
        _yes_is("ask_first", "The room spins at times (vertigo).", "Not sure about vertigo."),
        "It comes without warning, and much of it can be treated.",
        since=2,
    ),
    Question(
        "memory",
        "Do you, or those close to you, find that you forget what was said or done lately?",
        _yes_is(
            "ask_first",
            "Forgets what was said or done lately: somebody with them when they practise.",
            "Not sure about memory: ask somebody close.",
        ),
        "Who forgets the task, or that they fell, can't be followed by text alone.",
        since=2,
    ),
    Question(
        "sugar",
        "Have you diabetes with low sugars, or a sore or an ulcer on a foot?",
        _yes_is(
            "ask_first",
            "Diabetes with low sugars, or a sore foot.",
            "Not sure about low sugars, or about the feet: look at them.",
        ),
        "A low sugar makes unsteady, and a foot with an ulcer is not to be stood on.",
        since=2,
    ),
    Question(
        "joint",
        "Have you ever been given a new hip, knee or other joint?",
        _yes_is(
            "care",
            "A new joint: note which, and which movements they were told to leave out.",
            "Not sure about a new joint.",
        ),
        "Some movements may have been forbidden for good, and the side may be the weaker one.",
        since=2,
    ),
    Question(
        "hearing",
        "Do you find it hard to hear, or to follow somebody on the phone?",
        _yes_is(
            "care",
            "Hears poorly: a call may not be understood; agree whom else to phone after a fall.",
            "Not sure about hearing: try a call together.",
            "care",
        ),
        "After a fall you phone them.",
        since=2,
    ),
    Question(
        "fear",
        "Are you afraid of falling, so much that you leave things out?",
        _yes_is(
            "care",
            "Afraid of falling: begin at a visit, and on an easier rung.",
            "Not sure about fear of falling: ask what they leave out.",
            "care",
        ),
        "Fear changes how somebody stands, and stops people.",
        since=2,
    ),
    Question(
        "glasses",
        "In the past three months, new glasses, or ones with several strengths?",
        _yes_is(
            "care",
            "New glasses, or several strengths: look at the floor with them; begin at a visit.",
            "Not sure about the glasses: look at them together.",
            "care",
        ),
        "The floor looks nearer or farther through them.",
        since=2,
    ),
    Question(
        "pain",
        "Is there a pain that you have on most days?",
        _yes_is(
            "care",
            "A usual pain: record where and how bad under their usual pain before the first text.",
            "Not sure about a usual pain: ask again at the first visit.",
            "care",
        ),
        "Any pain told rests them, unless it is recorded as usual and no worse.",
        since=2,
    ),
    Question(
        "aid_outdoors",
        "Outdoors, do you walk with a stick, a frame or somebody's arm?",
        _yes_is(
            "care",
            "Uses an aid outdoors: steady support within reach of both hands where they practise.",
            "Not sure about an aid outdoors.",
            "care",
        ),
        "Standing without it is more than they do all day.",
        since=2,
    ),
    Question(
        "underfoot",
        "Where you would practise, is there a pet, a loose rug or a cable?",
        _yes_is(
            "care",
            "A pet, a rug or a cable: the pet outside and the floor clear before each practice.",
            "Not sure about the floor: look at it, or ask for a picture.",
            "care",
        ),
        "They are tripped over.",
        since=2,
    ),
)
BY_NAME: Mapping[str, Question] = {one.name: one for one in QUESTIONS}
