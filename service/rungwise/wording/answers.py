"""Texts composed from parts: the day's prompt, and the answer that says what was understood."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Literal

from rungwise.wording.segments import fits_one, segments, to_gsm7
from rungwise.wording.texts import fill, render, table, weekday_name, word

if TYPE_CHECKING:
    from rungwise.ladder.progression import SideHold
    from rungwise.ladder.stance import Side, Steadiness
    from rungwise.reply.reading import Hold

Follows = Literal["up", "stay", "back", "rest", "unfinished", "gate"]
Missing = Literal["seconds", "steadiness", "sides", "other_side", "same"]

MOST_WITH_LINK = 2

_MOST_LISTED = 3
_SIDES = ("left", "right", "both")


def prompt_text(
    task: str,
    language: str,
    *,
    target_s: int,
    sided: bool,
    wording: Mapping[str, str] | None = None,
    link: str = "",
) -> str:
    """The day's prompt: the task's own words, how to reply, and a short caution.

    It takes the short caution where only that keeps to one segment, and is never without one. A
    `link` to the picture comes last, and is left out where it would take a third segment.
    """
    hint = reply_hint(language, target_s=target_s, sided=sided, wording=wording)
    picture = fill("prompt", word("picture", language), {"link": link}) if link else ""

    def with_caution(name: str, *, linked: bool) -> str:
        caution = render(name, language, wording)
        text = render("prompt", language, wording, task=task.strip(), hint=hint, caution=caution)
        return to_gsm7(f"{text} {picture}") if linked else text

    linked = bool(picture)
    full = with_caution("caution", linked=linked)
    if linked and segments(full).count > MOST_WITH_LINK:
        linked = False
        full = with_caution("caution", linked=False)
    if fits_one(full):
        return full
    short = with_caution("caution_short", linked=linked)
    return short if fits_one(short) else full


def reply_hint(
    language: str, *, target_s: int, sided: bool, wording: Mapping[str, str] | None = None
) -> str:
    """How to reply to a prompt, with the target as the example."""
    name = "hint_sided" if sided else "hint_same"
    return render(name, language, wording, target_s=target_s)


def answer_text(
    language: str,
    *,
    holds: "Sequence[SideHold | Hold]",
    steadiness: "Steadiness | None",
    move_kind: Follows = "unfinished",
    steadiness_by_side: "Mapping[Side, Steadiness] | Mapping[str, Steadiness] | None" = None,
    corrected: bool = False,
    late_weekday: int | None = None,
    ask: Missing | None = None,
    sided: bool = False,
    other_side: str | None = None,
    wording: Mapping[str, str] | None = None,
) -> str:
    """What was understood from a report, and what follows from it, in GSM-7.

    With `ask`, a question for what is missing stands in place of what follows: `sided` chooses its
    example, and `other_side` ("left" or "right") is the side asked for. `late_weekday` (Monday 0)
    is the day the report was for, when that is not today.
    """
    told = understood(language, holds, steadiness, steadiness_by_side or {})
    if ask is not None:
        question = ask_text(language, ask, sided=sided, other_side=other_side, wording=wording)
        said = fill("answer", word("understood_only", language), {"told": told})
        text = f"{_sentence(said)} {question}"
    else:
        follows = table(language)["follows"][move_kind]
        text = fill("answer", word("understood", language), {"told": told, "follows": follows})
    if late_weekday is not None:
        weekday = weekday_name(late_weekday, language)
        text = fill("answer", word("late", language), {"weekday": weekday, "answer": text})
    if corrected:
        text = fill("answer", word("corrected", language), {"answer": _sentence(text)})
    return to_gsm7(_sentence(text))


def ask_text(
    language: str,
    ask: Missing,
    *,
    sided: bool = False,
    other_side: str | None = None,
    wording: Mapping[str, str] | None = None,
) -> str:
    """The question for one missing thing, on its own."""
    if ask == "other_side" and other_side is not None:
        return render("ask_other_side", language, wording, side=word(other_side, language))
    if ask == "seconds":
        return render("ask_seconds_sided" if sided else "ask_seconds", language, wording)
    name = "ask_sides" if ask == "other_side" else f"ask_{ask}"
    return render(name, language, wording)


def understood(
    language: str,
    holds: "Sequence[SideHold | Hold]",
    steadiness: "Steadiness | None",
    steadiness_by_side: "Mapping[Side, Steadiness] | Mapping[str, Steadiness]",
) -> str:
    """What was understood: "left 20 s, right 14 s, wobbly". Without any of it, "noted"."""
    by_side = {str(side): how for side, how in steadiness_by_side.items()}
    differ = len(set(by_side.values())) > 1
    told: list[str] = []
    for side in (None, *_SIDES):
        seconds = [h.seconds for h in holds if h.seconds is not None and _side(h) == side]
        parts = [word(side, language)] if side else []
        if seconds:
            parts.append(_seconds(language, seconds))
        if differ and side in by_side:
            parts.append(word(by_side[side], language))
        if seconds or (differ and side in by_side):
            told.append(" ".join(parts))
    overall = steadiness or next(iter(by_side.values()), None)
    if overall and not differ:
        told.append(word(overall, language))
    return word("joiner", language).join(told) or word("noted", language)


def _side(hold: "SideHold | Hold") -> str | None:
    return None if hold.side is None else str(hold.side)


def _seconds(language: str, seconds: Sequence[float]) -> str:
    shown = [_number(language, value) for value in seconds]
    if len(shown) <= _MOST_LISTED:
        return fill("answer", word("seconds", language), {"seconds": " + ".join(shown)})
    low, high = _number(language, min(seconds)), _number(language, max(seconds))
    values = {"count": len(seconds), "low": low, "high": high}
    return fill("answer", word("several", language), values)


def _number(language: str, value: float) -> str:
    return f"{round(value, 1):g}".replace(".", word("decimal_point", language))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
