"""How cautious the rule is: the settings, their safe bounds and three named presets."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import ClassVar

from rungwise.errors import ImpossibleValue

# Lowest and highest value a trainer may set for a client. Common practice, no source.
SAFE_BOUNDS: Mapping[str, tuple[float, float]] = {
    "steady_days_step": (2, 14),
    "steady_days_landmark": (2, 21),
    "back_days": (1, 3),
    "back_window_days": (1, 7),
    "back_steps": (1, 3),
    "far_short_share": (0.3, 1.0),
    "stuck_backs": (1, 4),
    "stuck_window_days": (7, 60),
    "away_back_days": (3, 14),
    "away_rest_days": (7, 28),
    "least_chance": (0.3, 0.95),
}
WHOLE_DAYS = frozenset(SAFE_BOUNDS) - {"far_short_share", "least_chance"}


@dataclass(frozen=True, slots=True)
class Caution:
    """How cautious the rule is. See PRESETS for the three named settings.

    Up after `steady_days_step` steady days: in version 1 running, and `steady_days_landmark` before
    leaving a landmark; in version 2 (`climb.py`) among a few more judged days. Back `back_steps`
    rungs after `back_days` wobbly or short days in the last `back_window_days` practised on the
    rung, and to the landmark below after a hold under `far_short_share` of the target.
    `stuck_backs` backs from one rung in `stuck_window_days` hold the client below it. Away
    `away_back_days`: back one landmark; `away_rest_days`: rest. The second opinion holds back a
    move up to a rung whose chance of a steady hold is under `least_chance`; None leaves it out.
    Raises ImpossibleValue outside SAFE_BOUNDS.
    """

    BOUNDS: ClassVar[Mapping[str, tuple[float, float]]] = SAFE_BOUNDS

    name: str = "usual"
    steady_days_step: int = 2
    steady_days_landmark: int = 3
    back_days: int = 2
    back_window_days: int = 3
    far_short_share: float = 0.5
    stuck_backs: int = 2
    stuck_window_days: int = 14
    away_back_days: int = 7
    away_rest_days: int = 21
    least_chance: float | None = 0.6
    back_steps: int = 1

    def __post_init__(self) -> None:
        for field, (low, high) in self.BOUNDS.items():
            value = getattr(self, field)
            if value is None and field == "least_chance":
                continue
            whole = field in WHOLE_DAYS
            kinds = int if whole else (int, float)
            if isinstance(value, bool) or not isinstance(value, kinds) or not low <= value <= high:
                number = "a whole number" if whole else "a number"
                raise ImpossibleValue(field, value, f"{number} from {low:g} to {high:g}")
        if self.steady_days_landmark < self.steady_days_step:
            raise ImpossibleValue(
                "steady_days_landmark",
                self.steady_days_landmark,
                f"at least steady_days_step ({self.steady_days_step})",
            )
        if self.back_days > self.back_window_days:
            raise ImpossibleValue(
                "back_days", self.back_days, f"at most back_window_days ({self.back_window_days})"
            )
        if self.away_rest_days <= self.away_back_days:
            raise ImpossibleValue(
                "away_rest_days",
                self.away_rest_days,
                f"more than away_back_days ({self.away_back_days})",
            )


PRESETS: Mapping[str, Caution] = {
    "gentle": Caution(
        name="gentle",
        steady_days_step=3,
        steady_days_landmark=5,
        back_days=2,
        back_window_days=4,
        far_short_share=0.6,
        stuck_window_days=21,
        away_back_days=5,
        away_rest_days=14,
        least_chance=0.7,
    ),
    "usual": Caution(),
    "keen": Caution(
        name="keen",
        steady_days_step=2,
        steady_days_landmark=2,
        stuck_backs=3,
        least_chance=0.5,
    ),
}


def stricter(one: Caution, other: Caution, name: str) -> Caution:
    """Each setting as the more cautious of the two has it."""
    chances = [c for c in (one.least_chance, other.least_chance) if c is not None]
    return Caution(
        name=name,
        steady_days_step=max(one.steady_days_step, other.steady_days_step),
        steady_days_landmark=max(one.steady_days_landmark, other.steady_days_landmark),
        back_days=min(one.back_days, other.back_days),
        back_window_days=max(one.back_window_days, other.back_window_days),
        far_short_share=max(one.far_short_share, other.far_short_share),
        stuck_backs=min(one.stuck_backs, other.stuck_backs),
        stuck_window_days=max(one.stuck_window_days, other.stuck_window_days),
        away_back_days=min(one.away_back_days, other.away_back_days),
        away_rest_days=min(one.away_rest_days, other.away_rest_days),
        least_chance=max(chances, default=None),
        back_steps=max(one.back_steps, other.back_steps),
    )


class TrialCaution(Caution):
    """Settings for trying the rule out on virtual clients; never for a client.

    The same fields with far wider bounds, so that published rules can be reproduced.
    """

    BOUNDS: ClassVar[Mapping[str, tuple[float, float]]] = {
        **dict.fromkeys(SAFE_BOUNDS, (1, 1000000)),
        "far_short_share": (0.0, 1.0),
        "least_chance": (0.0, 1.0),
    }


def trial(base: Caution, **changes: object) -> TrialCaution:
    """`base` with changes that need not lie within the safe bounds."""
    settings = {field.name: getattr(base, field.name) for field in fields(base)}
    return TrialCaution(**(settings | changes))


def published_rule(steady_days: int = 1, back_steps: int = 1) -> TrialCaution:
    """The plain up-down rule of the literature: one rung harder after `steady_days` successes
    running, `back_steps` easier after one failure, and nothing else.
    """
    return TrialCaution(
        name=f"{steady_days} up, {back_steps} back",
        steady_days_step=steady_days,
        steady_days_landmark=steady_days,
        back_days=1,
        back_window_days=1,
        back_steps=back_steps,
        far_short_share=0.0,
        stuck_backs=1_000_000,
        stuck_window_days=1,
        away_back_days=999_999,
        away_rest_days=1_000_000,
        least_chance=None,
    )
