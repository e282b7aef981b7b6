"""What is known of a fall, each with the answers that there are. A fact nobody knows is None.

The checklist after a fall tells most of it, so that nobody is asked twice: `items` are those that
tell a fact, `fits` which codes fit what was answered. What it doesn't tell is asked beside it.

The definition and what is reported: Lamb et al. 2005, J Am Geriatr Soc 53:1618-1622. `care` has the
grades by care used of the Hopkins Falls Grading Scale, `injury` the classes of Schwenk et al. 2012,
BMC Med Res Methodol 12:50 (from memory). An hour or more on the floor makes a fall severe (World
Falls Guidelines 2022).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from rungwise.concepts.after_fall import BY_NAME, worries
from rungwise.errors import ImpossibleValue


@dataclass(frozen=True, slots=True)
class FallFact:
    """One thing that is known of a fall: in what words, and the answers by their codes.

    `item` of the checklist tells it: `fits` gives the codes that fit its answer, the first of which
    is meant where nobody says more; "" leaves it open. An answer that is not there fits every code.
    """

    asked: str
    answers: Mapping[str, str]
    item: str = ""
    fits: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def asked_beside(self) -> bool:
        """Whether some answer of the checklist leaves it open, so that it is asked beside it."""
        return not self.item or any(len(codes) > 1 for codes in self.fits.values())


_YES_NO = {"yes": "yes", "no": "no", "unsure": "not sure"}
_AS_IT = {"no": ("no",), "yes": ("yes",), "unknown": ("unsure",)}
_TURNED = {"no": ("yes",), "yes": ("no",), "unknown": ("unsure",)}
_DOING = {
    "practising": "practising",
    "walking": "walking",
    "stairs": "on stairs or a step",
    "rising": "getting up or sitting down",
    "reaching": "reaching, bending or turning",
    "washing": "washing or dressing",
    "other": "something else",
}
# The codes for the answers of the checklist's item, in its words.
_FLOOR = {"minutes": "minute", "within_hour": "hour", "helped": "longer"}
_ON_FLOOR = {
    code: note[0].lower() + note[1:]
    for given, note in (BY_NAME["floor"].notes or {}).items()
    if (code := _FLOOR.get(given))
}
# With no to all of these nobody was injured, unless a trainer says how.
_INJURED = ("head", "new_signs", "stands", "back", "injury")

FALL_FACTS: Mapping[str, FallFact] = {
    "place": FallFact(
        "Where",
        {"home": "inside the home", "outside": "outside, at the home", "away": "away from home"},
    ),
    "doing": FallFact(
        "Doing what",
        _DOING,
        "practising",
        {"yes": ("practising",), "no": ("", *(code for code in _DOING if code != "practising"))},
    ),
    "head_struck": FallFact("Head struck", _YES_NO, "head", _AS_IT),
    "on_floor": FallFact(
        "On the floor", _ON_FLOOR, "floor", {given: (code,) for given, code in _FLOOR.items()}
    ),
    "new_signs": FallFact(
        "New since: dizzy, sick, drowsy, confused, weak, bad pain", _YES_NO, "new_signs", _AS_IT
    ),
    "stands_as_before": FallFact("Stands and walks as before", _YES_NO, "stands", _TURNED),
    "injury": FallFact(
        "Injury",
        {
            "none": "none",
            "minor": "minor: a bruise or graze that needs nobody",
            "moderate": "moderate: a wound, bruise or sprain that somebody looked at",
            "serious": "serious: a fracture, a head injury, a joint out of place",
        },
    ),
    "care": FallFact(
        "Care",
        {
            "none": "none",
            "seen": "seen by a doctor, nurse or ambulance",
            "admitted": "stayed in hospital",
        },
        "unseen",
        {"yes": ("none",), "no": ("seen", "admitted")},
    ),
}


def facts_told(answers: Mapping[str, str], beside: Mapping[str, str]) -> dict[str, str]:
    """What is known of a fall from its checklist and from what was asked beside it.

    ImpossibleValue where the two contradict each other.
    """
    facts = {}
    for name, fact in FALL_FACTS.items():
        fits = fact.fits.get(answers.get(fact.item, ""), ())
        given = beside.get(name, "")
        if given and fits and given not in fits:
            said = " or ".join(fact.answers[code] for code in fits if code)
            raise ImpossibleValue(name, given, f"{said}, which fits the checklist")
        code = given or (fits[0] if fits else "")
        if code:
            facts[name] = code
    if "injury" not in facts and all(
        name in answers and not worries(answers, name) for name in _INJURED
    ):
        facts["injury"] = "none"
    return facts
