"""What is asked after a fall, and what follows from the answers. Pure.

Every item is worded so that yes is the worrying answer, and "not known" never counts as no. Nothing
here is a diagnosis: it says whom to ask, not what the matter is. No clinician has read it yet.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal

from rungwise.errors import ImpossibleValue

RULES_VERSION = 1
ANSWERS = ("no", "yes", "unknown")
Go = Literal["ambulance", "emergency department", "seen today"]
# Gravest first.
GO: tuple[Go, ...] = ("ambulance", "emergency department", "seen today")
# Two falls in twelve months make a recurrent faller (World Falls Guidelines 2022, table 2).
FALLS_THAT_RECUR = 2

# NICE CG176, advice for helplines after a blow to the head; NG232 of 2023 changed some lines.
NICE = "NICE CG176, advice for helplines"
# World Falls Guidelines 2022, table 2: a severe fall, and a recurrent one.
WORLD = "World Falls Guidelines 2022, table 2"
# Fleming & Brayne 2008, BMJ 337:a2227.
LONG_LIE = "World Falls Guidelines 2022, table 2; Fleming & Brayne 2008"
# Lamb et al. 2005 (ProFaNE): what counts as an injury is noted for the count of falls.
LAMB = "Lamb et al. 2005"
MEMORY = "from memory"
COMMON = "common practice, no source"
OURS = "our own choice"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to ask. `word`: yes or not known asks for a clinician's word; `screens`: for the
    screening anew; `visit`: for a visit first. `go` is where they should be seen, how soon.
    `only_if` is another item: this one is left out when that one's answer is no. `notes` are the
    ways to answer in more words than yes and no.
    """

    name: str
    asks: str
    why: str
    source: str
    word: bool = False
    screens: bool = False
    visit: bool = False
    go: Go | None = None
    only_if: str = ""
    do: str = ""
    notes: Mapping[str, str] | None = None


ITEMS: tuple[Item, ...] = (
    Item(
        "head",
        "Was the head hit?",
        "Bleeding inside the skull can show late.",
        NICE,
        word=True,
    ),
    Item(
        "thinner",
        "A blood thinner, a bleeding illness, or brain surgery once?",
        "It raises that danger even when they feel well.",
        NICE,
        word=True,
        go="emergency department",
        only_if="head",
    ),
    Item(
        "blackout",
        "Knocked out, fainted, or a gap in memory, before or after?",
        "A fall with a faint is a severe one, and a faint needs a cause.",
        f"{NICE}; {WORLD}",
        word=True,
        screens=True,
        go="emergency department",
    ),
    Item(
        "new_signs",
        "Since then: a headache that stays, vomiting, sleepy, confused, a fit, weak or numb, "
        "trouble with speech or sight?",
        "These are signs of an injury to the brain.",
        NICE,
        word=True,
        go="ambulance",
    ),
    Item(
        "floor",
        "How long on the floor, and up alone?",
        "An hour or more, or being unable to get up alone, makes a fall severe: cold, pressure, "
        "muscles.",
        LONG_LIE,
        word=True,
        screens=True,
        go="seen today",
        notes={
            "minutes": "Up alone, in minutes",
            "within_hour": "Up alone, within the hour",
            "helped": "An hour or more, or could not get up alone",
            "unknown": "Not known",
        },
    ),
    Item(
        "stands",
        "Unable to stand and walk on it as before, pain in hip or groin, a leg short or turned?",
        "A broken hip can be stood on at first.",
        MEMORY,
        word=True,
        go="emergency department",
    ),
    Item(
        "back",
        "New pain in the back, or less tall than before?",
        "A vertebra can break without a hard blow.",
        COMMON,
        word=True,
    ),
    Item(
        "injury",
        "Any other injury: wrist, shoulder, ribs, a wound, a bruise that grows?",
        "An injury makes the fall an injurious one.",
        f"{LAMB}; {WORLD}",
        word=True,
    ),
    Item(
        "unexplained",
        "Dizzy, faint, palpitations or chest trouble before it, or no cause they can name?",
        "A fall that nobody can explain is looked into first.",
        f"{WORLD}; {MEMORY}",
        word=True,
        screens=True,
    ),
    Item(
        "second",
        "A second fall within 12 months?",
        "Who falls twice in a year needs a look at the causes.",
        WORLD,
        screens=True,
    ),
    Item(
        "changed",
        "Hospital, an operation, an illness, or a new or changed medicine since the screening?",
        "The risk is another one now.",
        COMMON,
        screens=True,
    ),
    Item(
        "alone",
        "Alone, with nobody to look in for the next two days?",
        "A head that gets worse would go unseen.",
        f"{NICE} (nobody to observe); two days: {COMMON}",
        do="Arrange for somebody to look in for two days, or have them seen.",
    ),
    Item(
        "practising",
        "Practising when it happened?",
        "The task may be too hard, or the support out of reach.",
        OURS,
        visit=True,
        do="Visit before they go on, and go on at most a landmark lower.",
    ),
    Item(
        "afraid",
        "Afraid to practise, or to move about?",
        "Fear changes how they stand, and stops people.",
        COMMON,
        do="Visit: fear is no bar by itself, but it is to be seen.",
    ),
    Item(
        "unseen",
        "Not yet seen by a clinician since the fall?",
        "Practice rests until a clinician has looked and said so.",
        OURS,
    ),
)
BY_NAME: Mapping[str, Item] = {item.name: item for item in ITEMS}
# What the answers in more words come to.
MEANS = {"minutes": "no", "within_hour": "no", "helped": "yes"}


@dataclass(frozen=True, slots=True)
class Follows:
    """What follows from an incident: what is still to be answered, and what must be done before
    practice. `word` and `screens` are the reasons for a clinician's word and for the screening
    anew; empty: it is not asked for.
    """

    missing: tuple[str, ...] = ()
    go: Go | None = None
    word: tuple[str, ...] = ()
    screens: tuple[str, ...] = ()
    do: tuple[str, ...] = ()
    visit: bool = False


def choices_of(item: Item) -> Mapping[str, str]:
    """The ways to answer an item, as they are called."""
    return item.notes or {"no": "No", "yes": "Yes", "unknown": "Not known"}


def worries(answers: Mapping[str, str], name: str) -> bool:
    """Whether an item is answered with yes or not known."""
    given = answers.get(name, "")
    return MEANS.get(given, given) in ("yes", "unknown")


def asked(answers: Mapping[str, str]) -> list[Item]:
    """The items that must be answered, given these answers."""
    return [item for item in ITEMS if not item.only_if or answers.get(item.only_if) != "no"]


def check_answers(answers: Mapping[str, str]) -> None:
    """ImpossibleValue for an answer that no item has."""
    for name, given in answers.items():
        item = BY_NAME.get(name)
        if item is None:
            raise ImpossibleValue("item", name, f"one of {', '.join(BY_NAME)}")
        if given not in choices_of(item):
            raise ImpossibleValue(name, given, " or ".join(choices_of(item)))


def follows(
    answers: Mapping[str, str] | None, kinds: Collection[str], falls_in_year: int = 0
) -> Follows:
    """What follows from the answers, and from the kinds of alert that the incident holds.

    `answers` None: no checklist has been answered. It is asked for when a fall was told.
    """
    fell = "fall" in kinds
    if answers is None:
        answers = {}
    wanted = asked(answers) if fell else []
    held = [item for item in wanted if worries(answers, item.name)]
    word = [item.asks for item in held if item.word]
    word += _told(kinds, fell=fell)
    screens = [item.asks for item in held if item.screens]
    if fell and falls_in_year >= FALLS_THAT_RECUR and not worries(answers, "second"):
        screens.append(f"{falls_in_year} falls were told in the past 12 months.")
    screens += [_SCREENS[kind] for kind in _SCREENS if kind in kinds]
    go = min((item.go for item in held if item.go), key=GO.index, default=None)
    do = [item.do for item in held if item.do]
    if word and worries(answers, "unseen"):
        do.insert(0, "Have them seen by a clinician, and record what was said.")
    return Follows(
        missing=tuple(item.name for item in wanted if item.name not in answers),
        go=go,
        word=tuple(word),
        screens=tuple(screens),
        do=tuple(do),
        visit=any(item.visit for item in held),
    )


_SCREENS = {
    "emergency": "An emergency was told.",
    "health_news": "News of their health was told.",
}


def _told(kinds: Collection[str], *, fell: bool) -> list[str]:
    told = []
    if "emergency" in kinds:
        told.append("An emergency was told, or that they are hurt.")
    if fell and "pain" in kinds:
        told.append("Pain was told with the fall.")
    return told
