"""How several readings make one day's report, and what is still missing from it. Pure."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Literal

from rungwise.coach.record.codec import side_holds
from rungwise.concepts.signs import FLAGS
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
    "worse_yes_no": "pain",
    "dizzy_yes_no": "dizzy",
}
_HEALTH = ("health", "clinician")
HELD_ON, UNSAFE, USUAL_PAIN = "held on more than asked", "practised unsafely", "usual pain told"


def fold(report: DayReport, reading: Reading, asked: Asked) -> DayReport:
    """The day's report after one more reading.

    A marked correction replaces what was told of the same thing; anything else adds to it. Falls,
    pain and dizziness only ever get worse, except by the answer to a question about them.
    """
    if reading.kind == "skipped" and not report.holds:
        report = replace(report, skipped=True)
    side = None if reading.holds else _side_told(reading, asked)
    if asked == "sides" and reading.same_as_before and not reading.holds:
        report = replace(report, holds=tuple(replace(hold, side="both") for hold in report.holds))
    elif side is not None:
        report = replace(report, holds=_on_side(report.holds, side))
    elif reading.kind == "result" and not reading.days_ago:
        report = _fold_result(report, reading, asked)
    elif not reading.holds and asked == "number" and _says(reading, "yes"):
        report = replace(report, unconfirmed=False)
    elif not reading.holds and asked == "number" and _says(reading, "no"):
        report = replace(report, holds=(), unconfirmed=False)
    if reading.done:
        report = replace(report, done=True, skipped=False)
    if reading.effort is not None:
        report = replace(report, too_easy=reading.effort == "too_easy")
    for flag in FLAGS:
        told = _told(reading, flag)
        known: Answer = getattr(report, flag)
        settled = _settled(report, reading, asked, flag)
        if settled is not None:
            report = _with_flag(report, flag, settled)
        elif _RANK[told] > _RANK[known]:
            report = _with_flag(report, flag, told)
    return replace(
        report,
        emergency=report.emergency or reading.emergency or reading.head_struck,
        near_fall=report.near_fall or (reading.near_fall and not reading.old),
        distress=report.distress or reading.news == "distress",
        health_news=report.health_news or reading.news in _HEALTH,
        no_credit=report.no_credit or _no_credit(reading),
    )


def _told(reading: Reading, flag: str) -> Answer:
    """What a reading says of a flag today: usual pain is none, and what is old is asked about."""
    told: Answer = getattr(reading, flag)
    if flag == "pain" and reading.usual in ("same", "unsaid"):
        return "no" if reading.usual == "same" else "unsure"
    return "unsure" if told == "yes" and reading.old else told


def _says(reading: Reading, answer: str) -> bool:
    return reading.answer == answer or (reading.answer is None and reading.yes_no == answer)


def _settled(report: DayReport, reading: Reading, asked: Asked, flag: str) -> Answer | None:
    """What the answer to a question about this flag makes of it; None when it is no answer."""
    about = SETTLES.get(asked) == flag
    if asked == "today_yes_no":
        about = getattr(report, flag) == "unsure"
    if not about:
        return None
    if reading.answer in ("cannot", "unknown"):
        return "yes"
    if _says(reading, "no"):
        return _told(reading, flag)
    return "yes" if _says(reading, "yes") else None


def _no_credit(reading: Reading) -> str:
    if reading.unsafe:
        return UNSAFE
    if reading.support == "more":
        return HELD_ON
    return USUAL_PAIN if reading.usual == "same" else ""


def _side_told(reading: Reading, asked: Asked) -> Literal["left", "right", "both"] | None:
    """The side of what was told before: the answer to that question, or "same on each side"."""
    if reading.same_as_before and reading.side == "both":
        return "both"
    if asked != "both_sides":
        return None
    if reading.to_both or reading.same_as_before or _says(reading, "yes"):
        return "both"
    return reading.side


def _on_side(
    holds: tuple[SideHold, ...], side: Literal["left", "right", "both"]
) -> tuple[SideHold, ...]:
    named: Side | Literal["both"] = "both" if side == "both" else Side(side)
    return tuple(replace(hold, side=named) if hold.side is None else hold for hold in holds)


def _with_flag(report: DayReport, flag: str, told: Answer) -> DayReport:
    if flag == "fall":
        return replace(report, fall=told)
    return replace(report, pain=told) if flag == "pain" else replace(report, dizzy=told)


def _fold_result(report: DayReport, reading: Reading, asked: Asked) -> DayReport:
    told = side_holds(reading.holds)
    of_both = len(told) == 1 and reading.pain == "no"
    if reading.to_both and (asked == "both_sides" or of_both):
        told = _on_side(told, "both")
    afresh = reading.correction or asked in ("sides", "both_sides", "number")
    if told:
        holds = told if afresh else _added(report.holds, told)
        one_side = len(report.holds) == 1 and report.holds[0].side in (Side.LEFT, Side.RIGHT)
        if asked in ("sides", "both_sides") or (one_side and not reading.correction):
            holds = _side_by_side(report.holds, told)
        report = replace(report, unconfirmed=False, holds=holds)
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


def _side_by_side(
    earlier: tuple[SideHold, ...], told: tuple[SideHold, ...]
) -> tuple[SideHold, ...]:
    """What was told of one side, beside what an answer tells of the other.

    A number alone is of the side that was missing; "no, 15 on the right" leaves the left as it was.
    """
    named = {hold.side for hold in told} - {None}
    if named in ({"both"}, {Side.LEFT, Side.RIGHT}) or len(told) > 1:
        return told
    known = {hold.side for hold in earlier} - {None}
    if named:
        side = next(iter(named))
        other = _OTHER_SIDE.get(side)
        kept = tuple(replace(hold, side=hold.side or other) for hold in earlier)
        return (*(hold for hold in kept if hold.side != side), *told)
    missing_side = _OTHER_SIDE.get(next(iter(known))) if len(known) == 1 else None
    if missing_side is None:
        return told
    return (*earlier, *(replace(hold, side=missing_side) for hold in told))


_OTHER_SIDE: dict[Side | Literal["both"] | None, Side] = {
    Side.LEFT: Side.RIGHT,
    Side.RIGHT: Side.LEFT,
}


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
    judged = judge_day(rung, replace(report, no_credit=""), target_s)
    if judged.verdict != "unfinished" or report.unconfirmed:
        return None
    if not any(hold.seconds is not None for hold in report.holds):
        return "seconds"
    if any(side not in judged.by_side for side in rung.sides):
        return "sides"
    if report.steadiness is None and not report.steadiness_by_side:
        return "steadiness"
    return None
