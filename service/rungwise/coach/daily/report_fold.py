"""How several readings make one day's report, and what is still missing from it. Pure."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Literal

from rungwise.coach.record.codec import side_holds
from rungwise.ladder.day import DayReport, SideHold, judge_day
from rungwise.ladder.rungs import Rung
from rungwise.ladder.stance import Answer, Side
from rungwise.reply.reading import Asked, Reading

Missing = Literal["seconds", "steadiness", "sides"]

_RANK: dict[Answer, int] = {"no": 0, "unsure": 1, "yes": 2}
# A yes/no question settles the flag it asked about, in both directions.
SETTLES: dict[str, str] = {
    "fall_yes_no": "fall",
    "pain_yes_no": "pain",
    "dizzy_yes_no": "dizzy",
}


def fold(report: DayReport, reading: Reading, asked: Asked) -> DayReport:
    """The day's report after one more reading.

    A marked correction replaces what was told of the same thing; anything else adds to it. Falls,
    pain and dizziness only ever get worse, except by the answer to a question about them.
    """
    if reading.kind == "skipped" and not report.holds:
        report = replace(report, skipped=True)
    if reading.kind == "result":
        report = _fold_result(report, reading, asked)
    if reading.effort is not None:
        report = replace(report, too_easy=reading.effort == "too_easy")
    for flag in ("fall", "pain", "dizzy"):
        told: Answer = getattr(reading, flag)
        known: Answer = getattr(report, flag)
        settled = SETTLES.get(asked) == flag and reading.yes_no is not None
        if settled or _RANK[told] > _RANK[known]:
            report = _with_flag(report, flag, told)
    return replace(report, emergency=report.emergency or reading.emergency)


def _with_flag(report: DayReport, flag: str, told: Answer) -> DayReport:
    if flag == "fall":
        return replace(report, fall=told)
    return replace(report, pain=told) if flag == "pain" else replace(report, dizzy=told)


def _fold_result(report: DayReport, reading: Reading, asked: Asked) -> DayReport:
    told = side_holds(reading.holds)
    afresh = reading.correction or asked == "sides"
    if told:
        report = replace(report, holds=told if afresh else _added(report.holds, told))
    by_side = {Side(side): value for side, value in reading.steadiness_by_side.items()}
    if afresh and reading.steadiness:
        return replace(
            report, steadiness=reading.steadiness, steadiness_by_side=by_side, skipped=False
        )
    earlier = report.steadiness_by_side
    worst = {side: _worst((earlier.get(side), by_side.get(side))) for side in Side}
    return replace(
        report,
        steadiness=_worst((report.steadiness, reading.steadiness)),
        steadiness_by_side={side: value for side, value in worst.items() if value},
        skipped=False,
    )


def _added(earlier: tuple[SideHold, ...], told: tuple[SideHold, ...]) -> tuple[SideHold, ...]:
    # The first text only said how it felt; this one brings the seconds.
    return (*(hold for hold in earlier if hold.seconds is not None), *told)


def _worst(
    told: Iterable[Literal["steady", "wobbly"] | None],
) -> Literal["steady", "wobbly"] | None:
    values = [value for value in told if value]
    if not values:
        return None
    return "wobbly" if "wobbly" in values else "steady"


def missing(report: DayReport, rung: Rung, target_s: float) -> Missing | None:
    """What to ask before the day can be judged; None when it can.

    Seconds first: without them nothing is known. A short or wobbly day needs no more.
    """
    judged = judge_day(rung, report, target_s)
    if judged.verdict != "unfinished":
        return None
    if not any(hold.seconds is not None for hold in report.holds):
        return "seconds"
    if any(side not in judged.by_side for side in rung.sides):
        return "sides"
    if report.steadiness is None and not report.steadiness_by_side:
        return "steadiness"
    return None
