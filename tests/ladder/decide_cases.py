"""Hand-made ladders, days and a driver, shared by the decision's tests."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta

from rungwise.ladder.progression import Chance, DayReport, Move, PastDay, Plan, SideHold, decide
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.stance import Side, Stance, Support, Surface

START = date(2026, 3, 2)
LEFT, RIGHT = Side.LEFT, Side.RIGHT


def rung(place: int, **fields: object) -> Rung:
    plain = Rung(
        key=f"r{place:02d}",
        stance=Stance.PARALLEL,
        offset_mm=300 - place * 10,
        step_mm=0,
        surface=Surface.FIRM,
        support=Support.HOVER,
        round="firm",
        demand=float(place),
    )
    return replace(plain, **fields)  # type: ignore[arg-type]


def ladder_of(
    count: int = 12,
    landmarks: Iterable[int] = (0, 4, 8),
    gates: dict[int, str] | None = None,
    sided: Iterable[int] = (),
) -> Ladder:
    """Rungs r00 (easiest) to r<count-1>."""
    named, two_sided = set(landmarks), set(sided)
    return Ladder(
        tuple(
            rung(
                place,
                landmark=f"landmark_{place}" if place in named else None,
                gate=(gates or {}).get(place),
                sides=(LEFT, RIGHT) if place in two_sided else (),
            )
            for place in range(count)
        )
    )


def day_number(number: int) -> date:
    return START + timedelta(days=number)


def told(
    key: str, number: int, seconds: float | None = 20, how: str | None = "steady"
) -> DayReport:
    holds = () if seconds is None else (SideHold(seconds),)
    return DayReport(day_number(number), key, holds, how)  # type: ignore[arg-type]


def override(number: int, from_key: str, to_key: str) -> PastDay:
    move = Move("override", from_key, to_key, "trainer", "The trainer saw the client.")
    return PastDay(day_number(number), None, move)


class Diary:
    """Plays days one after another through `decide`, keeping the history as the service does."""

    def __init__(self, ladder: Ladder, at: str, plan: Plan | None = None) -> None:
        self.ladder, self.at, self.plan = ladder, at, plan or Plan()
        self.history: list[PastDay] = []
        self.number = 0

    def day(self, report: DayReport, chance: Chance | None = None) -> Move:
        move = decide(self.ladder, self.plan, tuple(self.history), report, chance)
        self.history.append(PastDay(report.day, report, move))
        self.at = move.to_key
        self.number += 1
        return move

    def tell(
        self,
        seconds: float | None = 20,
        how: str | None = "steady",
        chance: Chance | None = None,
        **signs: object,
    ) -> Move:
        report = told(self.at, self.number, seconds, how)
        return self.day(replace(report, **signs), chance)  # type: ignore[arg-type]

    def script(self, letters: str) -> list[Move]:
        """s steady, w wobbly, h short (half the target), f far short, - skipped, ? unfinished."""
        return [self._letter(letter) for letter in letters]

    def _letter(self, letter: str) -> Move:
        target = self.plan.target_s
        return {
            "s": lambda: self.tell(target),
            "w": lambda: self.tell(target, "wobbly"),
            "h": lambda: self.tell(target * 0.75),
            "f": lambda: self.tell(1),
            "-": lambda: self.tell(None, None, skipped=True),
            "?": lambda: self.tell(None),
        }[letter]()

    def place(self, key: str) -> None:
        """The trainer's override, on the day of the next text."""
        self.history.append(override(self.number, self.at, key))
        self.at = key

    def wait(self, days: int) -> None:
        self.number += days


def kinds(moves: Sequence[Move]) -> str:
    """One letter a move: u up, . stay, b back, r rest."""
    return "".join({"up": "u", "stay": ".", "back": "b", "rest": "r"}[m.kind] for m in moves)
