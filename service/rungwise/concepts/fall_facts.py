"""What is asked of a fall, each with the answers that there are. A fact nobody knows is None.

The definition and what is reported: Lamb et al. 2005, J Am Geriatr Soc 53:1618-1622. `care` has the
grades by care used of the Hopkins Falls Grading Scale, `injury` the classes of Schwenk et al. 2012,
BMC Med Res Methodol 12:50 (from memory). An hour or more on the floor makes a fall severe (World
Falls Guidelines 2022).
"""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FallFact:
    """One thing that is asked: in what words, and the answers by their codes."""

    asked: str
    answers: Mapping[str, str]


_YES_NO = {"yes": "yes", "no": "no", "unsure": "not sure"}

FALL_FACTS: Mapping[str, FallFact] = {
    "place": FallFact(
        "Where",
        {"home": "inside the home", "outside": "outside, at the home", "away": "away from home"},
    ),
    "doing": FallFact(
        "Doing what",
        {
            "practising": "practising",
            "walking": "walking",
            "stairs": "on stairs or a step",
            "rising": "getting up or sitting down",
            "reaching": "reaching, bending or turning",
            "washing": "washing or dressing",
            "other": "something else",
        },
    ),
    "head_struck": FallFact("Head struck", _YES_NO),
    "on_floor": FallFact(
        "On the floor for",
        {"minute": "up to a minute", "hour": "up to an hour", "longer": "an hour or longer"},
    ),
    "new_signs": FallFact("New since: dizzy, sick, drowsy, confused, weak, bad pain", _YES_NO),
    "stands_as_before": FallFact("Stands and walks as before", _YES_NO),
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
    ),
}
