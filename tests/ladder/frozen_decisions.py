"""Decisions on made-up diaries, kept in a file: one rule version decides the same for ever.

`rungwise replay` decides stored histories again and tells every difference, so a rule that changed
needs a version of its own. To write the file of one that is new:

    python tests/ladder/frozen_decisions.py

writes those that are not there yet.
"""

import json
import sys
from collections.abc import Iterator
from dataclasses import asdict, replace
from hashlib import sha256
from pathlib import Path
from random import Random

sys.path.append(str(Path(__file__).parent))

from decide_cases import Diary, day_number, ladder_of

from rungwise.ladder.caution import PRESETS, Caution
from rungwise.ladder.progression import RULE_VERSIONS, Chance, DayReport, Plan, SideHold
from rungwise.ladder.stance import Side

DIARIES = 400
DAYS = 24


def file_of(version: int) -> Path:
    return Path(__file__).parent / f"decisions_v{version}.jsonl"


OWN = (
    Caution(name="one back day", back_days=1, back_window_days=1, steady_days_step=3),
    Caution(name="long window", back_days=3, back_window_days=7, back_steps=2),
    Caution(name="steps of three", back_steps=3, stuck_backs=1, least_chance=None),
)


class Dice:
    """Draws by `random()` alone, the one thing that is the same on every Python."""

    def __init__(self, seed: int) -> None:
        self._random = Random(seed)

    def chance(self, share: float) -> bool:
        return self._random.random() < share

    def of(self, *values: object) -> object:
        return values[int(self._random.random() * len(values))]


def diaries(version: int = 1) -> Iterator[tuple[int, Diary]]:
    """Each made-up diary, played to its end, with its number."""
    for seed in range(DIARIES):
        yield seed, _played(Dice(seed), version)


def _played(dice: Dice, version: int) -> Diary:
    ladder = ladder_of(
        12,
        landmarks=(0, 4, 8),
        gates={int(dice.of(3, 6, 9)): "single_leg"} if dice.chance(0.5) else None,  # type: ignore[call-overload]
        sided=(5, 6, 7) if dice.chance(0.3) else (),
    )
    caution = dice.of(*PRESETS.values(), *OWN)
    target_s = dice.of(10, 15, 20, 30)
    plan = Plan(target_s=target_s, caution=caution, rule_version=version)  # type: ignore[arg-type]
    diary = Diary(ladder, str(dice.of("r00", "r02", "r04", "r05", "r08", "r10")), plan)
    steady = dice.of(0.4, 0.6, 0.85, 0.97)
    for _ in range(DAYS):
        _one_day(diary, dice, float(steady))  # type: ignore[arg-type]
    return diary


def _one_day(diary: Diary, dice: Dice, steady: float) -> None:
    if dice.chance(0.06):
        diary.wait(int(dice.of(1, 3, 9, 16)))  # type: ignore[call-overload]
    if dice.chance(0.04):
        diary.place(str(dice.of(diary.at, "r03", "r05", "r08")))
    if dice.chance(0.05):
        changed = int(dice.of(10, 15, 20, 25))  # type: ignore[call-overload]
        diary.plan = replace(diary.plan, target_s=changed)
    if dice.chance(0.04):
        diary.plan = replace(diary.plan, open_gates=frozenset({"single_leg"}))
    if dice.chance(0.05) and diary.number:
        diary.number -= 1  # a second report for the same date
    diary.day(_report(diary, dice, steady), _opinion(diary, dice))


def _report(diary: Diary, dice: Dice, steady: float) -> DayReport:

    key = "r02" if dice.chance(0.04) else diary.at
    day, target = day_number(diary.number), diary.plan.target_s
    if dice.chance(0.05):
        return DayReport(day, key, skipped=True)
    share = 1.0 if dice.chance(steady) else float(dice.of(0.2, 0.45, 0.55, 0.8, 1.0))  # type: ignore[arg-type]
    how = "steady" if dice.chance(steady) else dice.of("wobbly", None, "steady")
    holds = (SideHold(target * share),)
    if diary.ladder[key].sides and dice.chance(0.8):
        holds = (SideHold(target * share, Side.LEFT), SideHold(target, Side.RIGHT))
    report = DayReport(day, key, holds, how)  # type: ignore[arg-type]
    if dice.chance(0.03):
        sign = str(dice.of("fall", "pain", "dizzy"))
        report = replace(report, **{sign: dice.of("yes", "unsure", "unsure")})  # type: ignore[arg-type]
    return report


def _opinion(diary: Diary, dice: Dice) -> Chance | None:
    above = diary.ladder.above(diary.at)
    if above is None or dice.chance(0.5):
        return None
    mean = float(dice.of(0.3, 0.55, 0.6, 0.65, 0.9))  # type: ignore[arg-type]
    return Chance(above.key, mean, mean - 0.2, mean + 0.1)


def line_of(seed: int, diary: Diary) -> str:
    """One diary's decisions: each day's rule by name, and a digest of all that was decided."""
    moves = [asdict(past.move) for past in diary.history]
    plain = json.dumps(moves, sort_keys=True, ensure_ascii=True)
    digest = sha256(plain.encode()).hexdigest()[:16]
    return json.dumps(
        {"diary": seed, "rules": " ".join(move["rule"] for move in moves), "digest": digest}
    )


if __name__ == "__main__":
    for version in RULE_VERSIONS:
        if not file_of(version).exists():
            lines = [f"{line_of(*one)}\n" for one in diaries(version)]
            file_of(version).write_text("".join(lines), encoding="utf-8")
