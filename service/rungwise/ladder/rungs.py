"""Rungs and the ladder: what one task is, and a client's own ordered tasks."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from rungwise.ladder.body import Body
from rungwise.ladder.stance import FreeFoot, Side, Stance, Support, Surface, Task, Under


@dataclass(frozen=True, slots=True)
class Rung:
    """One exact task. Lengths in whole mm.

    `offset_mm` is side to side between the feet's centre lines, `step_mm` front to back between
    the heels. `sides` is empty when the stance is the same for both feet, else the sides practised
    in one day: the foot in front, or the standing foot on one leg. `gate` names the gate the
    trainer must open before a client may step on to this rung. `demand` orders rungs; it is not a
    clinical measure. `gap_mm` is between the inner edges of the feet, `ahead_mm` how far the front
    heel is ahead of the other foot's toes, each None where it means nothing; `on_foam` says that
    the resting foot of a toe touch lies on half foam with a sore big toe free of its edge; `task`
    is what is done beside standing, on a landmark that the trainer opened it for.
    """

    key: str
    stance: Stance
    offset_mm: int
    step_mm: int
    surface: Surface
    support: Support
    round: str
    layers: int = 0
    orientation: str | None = None
    under: Under | None = None
    free_foot: FreeFoot | None = None
    moved_foot: Side | None = None
    sides: tuple[Side, ...] = ()
    gate: str | None = None
    landmark: str | None = None
    demand: float = 0.0
    gap_mm: int | None = None
    ahead_mm: int | None = None
    on_foam: bool = False
    task: Task | None = None

    @property
    def sided(self) -> bool:
        """Whether the day's practice is done once for each side."""
        return bool(self.sides)


@dataclass(frozen=True, slots=True)
class Ladder:
    """A client's ordered rungs in the order practised. Keys are unique.

    `body` is what it was computed from, kept for drawing and for keeping a place in it.
    """

    rungs: tuple[Rung, ...]
    body: Body | None = None
    _index: Mapping[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        index = {rung.key: place for place, rung in enumerate(self.rungs)}
        object.__setattr__(self, "_index", index)

    @property
    def measured(self) -> Body:
        """The body it was computed from; ValueError for a ladder put together without one."""
        if self.body is None:
            raise ValueError("this ladder was not made by build_ladder, so it has no body")
        return self.body

    def __len__(self) -> int:
        return len(self.rungs)

    def __contains__(self, key: object) -> bool:
        return key in self._index

    def __getitem__(self, key: str) -> Rung:
        return self.rungs[self._index[key]]

    def index(self, key: str) -> int:
        """The rung's place from the bottom, 0 first; KeyError if the ladder has no such rung."""
        return self._index[key]

    def above(self, key: str) -> Rung | None:
        place = self._index[key] + 1
        return self.rungs[place] if place < len(self.rungs) else None

    def below(self, key: str) -> Rung:
        """The next easier rung; the lowest rung is its own answer."""
        return self.rungs[max(self._index[key] - 1, 0)]

    def landmark_below(self, key: str) -> Rung:
        """The last landmark strictly easier than this rung, or the lowest rung."""
        for rung in reversed(self.rungs[: self._index[key]]):
            if rung.landmark:
                return rung
        return self.rungs[0]
