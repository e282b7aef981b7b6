"""What a trainer fills in of a day or a reading, read from plain words, and shown again."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from rungwise.coach.conversation.told_by_trainer import ENTERED_SIGNS, Entered, Practised
from rungwise.coach.record.fields import Unfinished, number, one_of, sentence, several, truth_of
from rungwise.coach.record.told import PHONE, WAYS
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.reply.reading import Hold, Reading
from rungwise.wording.texts import table

LONGEST_HELD_S = 600
MOST_SETS = 6
SIDED = {"held": None, "left": "left", "right": "right"}
STEADINESS = ("steady", "wobbly")
PRACTICE = ("told", "done", "skipped")
NAMES = {
    "day": "Day",
    "by": "How you know",
    "held": "Held",
    "left": "Left",
    "right": "Right",
    "steadiness": "How steady",
    "practice": "Practice",
    "signs": "Signs",
    "place": "Where it hurt",
}


def body_places() -> dict[str, str]:
    """The parts of the body that a reading can name, each in words."""
    return {name: str(shown) for name, shown in table("en")["places"].items()}


@dataclass(slots=True)
class ToldForm:
    """The fields as they were filled in, and what was found wrong with them."""

    given: Mapping[str, str]
    problems: dict[str, str]

    def __init__(self, given: Mapping[str, str]) -> None:
        self.given = {name: value.strip() for name, value in given.items() if value.strip()}
        self.problems = {}

    def day(self) -> date:
        """The date that was filled in. Unfinished when it is none."""
        try:
            return date.fromisoformat(self.given.get("day", ""))
        except ValueError:
            raise Unfinished({"day": "It must be a date such as 2026-05-01."}) from None

    @property
    def by(self) -> str:
        return self._one("by", WAYS) or PHONE

    @property
    def words(self) -> str:
        return self.given.get("words", "")

    @property
    def texts_client(self) -> bool:
        return self.given.get("texts_client") == "yes"

    def entered(self) -> Entered:
        """What was told. Unfinished, with a sentence for each field that is wrong."""
        holds = tuple(hold for name in SIDED for hold in self._holds(name))
        if self.given.get("held") and (self.given.get("left") or self.given.get("right")):
            self.problems["held"] = "Fill in this one, or left and right."
        steadiness = self._one("steadiness", STEADINESS)
        practice = self._one("practice", PRACTICE) or "told"
        if practice == "skipped" and (holds or steadiness):
            self.problems["practice"] = "They held something, so they practised."
        signs = self._signs()
        place = self._one("place", tuple(body_places()))
        usual = self._flag("usual")
        if self.problems:
            raise Unfinished(self.problems)
        practised: Practised = "other"
        if practice == "skipped":
            practised = "skipped"
        elif holds or steadiness or practice == "done":
            practised = "result"
        return Entered(practised, holds, steadiness, signs, place, usual)  # type: ignore[arg-type]  # one of STEADINESS

    def _signs(self) -> frozenset[str]:
        try:
            return frozenset(several("signs", self.given.get("signs", "-"), ENTERED_SIGNS))
        except ServiceError as error:
            self.problems["signs"] = sentence(error)
            return frozenset()

    def _holds(self, name: str) -> list[Hold]:
        """The seconds of each set, parted by spaces."""
        try:
            told = self.given.get(name, "").replace(";", " ").split()
            if len(told) > MOST_SETS:
                raise ImpossibleValue("sets", len(told), f"at most {MOST_SETS} numbers")
            seconds = [number(words, 0, LONGEST_HELD_S) for words in told]
        except ServiceError as error:
            self.problems[name] = sentence(error)
            return []
        return [Hold(held, SIDED[name]) for held in seconds]  # type: ignore[arg-type]  # a side

    def _one(self, name: str, allowed: tuple[str, ...]) -> str | None:
        try:
            return one_of(name, self.given[name], allowed) if name in self.given else None
        except ServiceError as error:
            self.problems[name] = sentence(error)
            return None

    def _flag(self, name: str) -> bool:
        return name in self.given and truth_of(self.given[name])


def as_filled(reading: Reading) -> dict[str, str]:
    """The fields as they say what a reading says."""
    signs = {
        "emergency": reading.emergency or reading.head_struck,
        "distress": reading.news == "distress",
        "fall": reading.fall == "yes",
        "dizziness": reading.dizzy == "yes",
        "pain": reading.pain == "yes" and reading.usual != "same",
        "near_fall": reading.near_fall,
        "health_news": reading.news in ("health", "clinician"),
    }
    held: dict[str, list[str]] = {}
    for hold in reading.holds:
        name = hold.side if hold.side in ("left", "right") else "held"
        held.setdefault(name, []).append(f"{hold.seconds:g}")
    practice = "skipped" if reading.kind == "skipped" else "done" if reading.done else "told"
    return {
        **{name: " ".join(seconds) for name, seconds in held.items()},
        "steadiness": reading.steadiness or "",
        "practice": practice,
        "signs": " ".join(sign for sign, told in signs.items() if told),
        "place": reading.body_part or "",
        "usual": "yes" if reading.usual == "same" else "",
    }
