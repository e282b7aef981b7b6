"""The day's prompt, composed from its parts."""

from collections.abc import Mapping, Sequence

from rungwise.ladder.stance import Side
from rungwise.wording.segments import fits_one, segments, to_gsm7
from rungwise.wording.texts import fill, render, word

MOST_WITH_LINK = 2

_PAIR = ("left", "right")


def prompt_text(
    task: str,
    language: str,
    *,
    sides: Sequence[Side] = (),
    wording: Mapping[str, str] | None = None,
    link: str = "",
) -> str:
    """The day's prompt: the task's own words, how to reply, and a short caution.

    `sides` are those practised, in order; none where both feet do the same. It takes the short
    caution where only that keeps to one segment, and is never without one. A `link` to the picture
    comes last, and is left out where it would take a third segment.
    """
    hint = reply_hint(language, sides=sides, wording=wording)
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
    return short if fits_one(short) or segments(full).count > MOST_WITH_LINK else full


def reply_hint(
    language: str, *, sides: Sequence[Side] = (), wording: Mapping[str, str] | None = None
) -> str:
    """How to reply to a prompt: no figures, so that nobody copies the target."""
    if len(sides) < len(_PAIR):
        return render("hint_same", language, wording)
    first, second = (word(side, language) for side in sides)
    return render("hint_sided", language, wording, first=first, second=second)
