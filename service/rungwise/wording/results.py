"""What was understood of a result, first in every answer: "Right 20, left 14 seconds."."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rungwise.wording.texts import fill, word

if TYPE_CHECKING:
    from rungwise.ladder.day import SideHold
    from rungwise.ladder.stance import Side, Steadiness

_MOST_LISTED = 3


def understood(
    language: str,
    holds: "Sequence[SideHold]",
    steadiness: "Steadiness | None",
    by_side: "Mapping[Side, Steadiness] | None" = None,
    leads: "Sequence[Side]" = (),
) -> str:
    """The result in one sentence, sides in the order asked; empty when there is none of it."""
    told_by_side = {str(side): how for side, how in (by_side or {}).items()}
    differ = len(set(told_by_side.values())) > 1
    parts = []
    for side in (None, "both", *[str(side) for side in (leads or ("left", "right"))]):
        seconds = [hold.seconds for hold in holds if hold.seconds is not None and _is(hold, side)]
        how = told_by_side.get(side or "") if differ else None
        if seconds or how:
            named = [word(side, language)] if side else []
            named += [_listed(language, seconds)] if seconds else []
            named += [word(how, language)] if how else []
            parts.append(" ".join(named))
    told = word("joiner", language).join(parts)
    if any(hold.seconds is not None for hold in holds):
        one = told == "1"
        told = fill("seconds", word("second" if one else "seconds", language), {"seconds": told})
    overall = steadiness or next(iter(told_by_side.values()), None)
    if overall and not differ:
        told = word("joiner", language).join([*([told] if told else []), word(overall, language)])
    return f"{told[:1].upper()}{told[1:]}." if told else ""


def _is(hold: "SideHold", side: str | None) -> bool:
    return (None if hold.side is None else str(hold.side)) == side


def _listed(language: str, seconds: Sequence[float]) -> str:
    shown = [number(language, value) for value in seconds]
    if len(shown) > _MOST_LISTED:
        low, high = number(language, min(seconds)), number(language, max(seconds))
        values = {"count": len(shown), "low": low, "high": high}
        return fill("several", word("several", language), values)
    joined = word("joiner", language).join(shown[:-1])
    return f"{joined} {word('and', language)} {shown[-1]}" if joined else shown[-1]


def number(language: str, value: float) -> str:
    """A number as people write it in that language, with at most one decimal."""
    return f"{round(value, 1):g}".replace(".", word("decimal_point", language))
