"""Which landmark a rung lies at or beyond, from its key and the client's body alone. Pure.

Building every client's ladder would take long; the order of rungs on the path follows from a key.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from rungwise.errors import ImpossibleValue
from rungwise.ladder.body import Body
from rungwise.ladder.places import Order, order_of

# On firm ground, in the order practised; then anything soft.
LANDMARKS: Mapping[str, str] = {
    "feet_together": "Feet together",
    "semi_tandem": "Heel beside big toe",
    "tandem": "Heel to toe, one line",
    "single_leg": "One leg",
    "soft_surface": "A soft surface",
}
BEFORE = "Before feet together"


@dataclass(slots=True)
class Path:
    """One body's landmarks and the order of the rungs asked about."""

    body: Body
    _orders: dict[str, Order | None] = field(default_factory=dict)
    _landmarks: dict[str, Order] = field(default_factory=dict)

    def __post_init__(self) -> None:
        together_mm, touching_mm = self.body.narrowest_mm, self.body.touching_mm
        keys = {
            "feet_together": f"firm/parallel/o{together_mm}/hover",
            "semi_tandem": f"firm/semi_tandem/o{touching_mm}/hover",
            "tandem": "firm/tandem/hover",
            "single_leg": "firm/single_leg/beside/hover",
        }
        self._landmarks = {name: order_of(key, self.body) for name, key in keys.items()}
        self._landmarks["soft_surface"] = (1,)

    def order(self, key: str) -> Order | None:
        """Where a rung lies on the path; None for a key that names no rung."""
        if key not in self._orders:
            try:
                self._orders[key] = order_of(key, self.body)
            except ImpossibleValue:
                self._orders[key] = None
        return self._orders[key]

    def has_reached(self, landmark: str, key: str) -> bool:
        """Whether a rung is the landmark's own or lies beyond it."""
        order = self.order(key)
        return order is not None and order >= self._landmarks[landmark]

    def landmark_of(self, key: str) -> str | None:
        """The last landmark at or below a rung; None before feet together."""
        reached = [name for name in LANDMARKS if self.has_reached(name, key)]
        return reached[-1] if reached else None
