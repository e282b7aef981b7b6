"""The first rung, from the four-stage balance test: one landmark below what it showed. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

from rungwise.evidence.four_stage import HOLD_S, STAGES, FourStage
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.stance import Surface

# The landmarks of each stage that was held, hardest last. Stance order of the test and of the
# ladder agree: CDC STEADI, "The 4-Stage Balance Test", 2017.
SHOWN_BY_STAGE: tuple[tuple[str, ...], ...] = (
    ("feet_narrowest", "feet_together"),
    ("semi_tandem",),
    ("tandem",),
    ("single_leg",),
)
LANDMARK_WORDS = {
    "feet_apart": "feet apart",
    "feet_narrowest": "feet as close as is comfortable",
    "feet_together": "feet together",
    "staggered": "a step with inner edges in line",
    "semi_tandem": "semi-tandem",
    "tandem": "tandem",
    "toe_touch": "toe touch",
    "single_leg": "one leg",
}


@dataclass(frozen=True, slots=True)
class Suggestion:
    """Where to start, and why, in a sentence for the trainer."""

    rung: Rung
    because: str


def not_held(held_s: Sequence[float | None]) -> bool:
    """Whether feet together was tried and not held for the test's 10 s."""
    return held_s[0] is not None and held_s[0] < HOLD_S


def first_rung(ladder: Ladder, shown: FourStage | None) -> Suggestion:
    """One landmark below the hardest stage that was held; the lowest rung without one."""
    lowest = ladder.rungs[0]
    if shown is None:
        return Suggestion(lowest, "No baseline was taken, so practice starts on the lowest rung.")
    if shown.stages_held == 0 and shown.held_s[0] is None:
        because = "Feet together was not tried, so practice starts on the lowest rung."
        return Suggestion(lowest, because)
    if shown.stages_held == 0:
        because = "Feet together was not held for 10 s, so practice starts on the lowest rung."
        return Suggestion(lowest, because)
    held = STAGES[shown.stages_held - 1]
    landmark = _hardest(ladder, shown.stages_held)
    if landmark is None:
        because = (
            f"{held.capitalize()} was held for 10 s, but the ladder has no such landmark, so "
            f"practice starts on the lowest rung."
        )
        return Suggestion(lowest, because)
    rung = ladder.landmark_below(landmark.key)
    stopped = shown.stopped_at
    after = shown.stages_held
    not_held = ""
    if after < len(shown.held_s) and shown.held_s[after] is None:
        not_held = f" and {STAGES[after]} was not tried"
    elif stopped is not None:
        not_held = f" and {STAGES[stopped - 1]} was not"
    where = LANDMARK_WORDS.get(rung.landmark or "", "the lowest rung")
    because = (
        f"{held.capitalize()} was held for 10 s{not_held}. Practice starts one landmark lower: "
        f"{where}."
    )
    return Suggestion(rung, because)


def _hardest(ladder: Ladder, stages_held: int) -> Rung | None:
    """The landmark of the hardest stage held that this ladder has on firm ground."""
    firm = {rung.landmark: rung for rung in ladder.rungs if rung.surface is Surface.FIRM}
    for names in reversed(SHOWN_BY_STAGE[:stages_held]):
        for name in reversed(names):
            if name in firm:
                return firm[name]
    return None
