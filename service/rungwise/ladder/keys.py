"""Rung keys: readable, stable, and saying only what the rung is, so that they can be read back.

    firm/parallel/o177/hover          mat2/front/staggered/o160/a100/fingertips
    firm/semi_tandem/o93/hover        foam_flat_lengthways/tandem/one_hand
    firm/toe_touch/on_foam/hover      firm/single_leg/beside/hover
    firm/tandem/hover/head

The parts: the round, the foot on the soft surface if it is only one, the stance, `o` the offset
in mm, `a` how many mm the front heel is ahead of the other foot's toes (less than 0 where the feet
overlap), the free foot, the support, and what is done beside standing.
"""

import re
from dataclasses import dataclass
from functools import lru_cache

from rungwise.errors import ImpossibleValue
from rungwise.ladder.stance import FreeFoot, Stance, Support, Surface, Task, Under

ORIENTATIONS = ("flat_lengthways", "flat_crossways", "round_lengthways", "round_crossways")

_FORM = re.compile(
    r"(?:(?P<firm>firm)|mat(?P<layers>[1248])|foam_(?P<orientation>(?:flat|round)_\w+ways))"
    r"(?:/(?P<under>front|back))?"
    r"/(?P<stance>parallel|staggered|semi_tandem|tandem|toe_touch|single_leg)"
    r"(?:/o(?P<offset>\d{1,3}))?(?:/a(?P<ahead>-?\d{1,3}))?(?P<on_foam>/on_foam)?"
    r"(?:/(?P<free>beside|front|behind))?"
    r"/(?P<support>two_hands|one_hand|fingertips|hover)(?P<task>(?<=hover)/(?:shift|head|arms|count))?",
    re.ASCII,
)
# Which of offset, ahead, free foot and foam rest a stance's key carries.
_CARRIES = {
    Stance.PARALLEL: (True, False, False),
    Stance.STAGGERED: (True, True, False),
    Stance.SEMI_TANDEM: (True, False, False),
    Stance.TANDEM: (False, False, False),
    Stance.TOE_TOUCH: (False, False, False),
    Stance.SINGLE_LEG: (False, False, True),
}


@dataclass(frozen=True, slots=True)
class KeyParts:
    """What a key says. `offset_mm` and `ahead_mm` are None where the stance fixes them."""

    surface: Surface
    layers: int
    orientation: str | None
    under: Under | None
    stance: Stance
    offset_mm: int | None
    ahead_mm: int | None
    on_foam: bool
    free_foot: FreeFoot | None
    support: Support
    task: Task | None = None


def round_name(surface: Surface, layers: int, orientation: str | None, under: Under | None) -> str:
    """The round a rung belongs to: `firm`, `mat2`, `mat2/front`, `foam_round_crossways` ..."""
    if surface is Surface.FIRM:
        return "firm"
    name = f"mat{layers}" if surface is Surface.MAT else f"foam_{orientation}"
    return name if under in (None, Under.BOTH) else f"{name}/{under}"


def make_key(
    round_: str,
    stance: Stance,
    support: Support,
    *,
    offset_mm: int = 0,
    ahead_mm: int = 0,
    on_foam: bool = False,
    free_foot: FreeFoot | None = None,
    task: Task | None = None,
) -> str:
    """The key of one rung of the round `round_`."""
    has_offset, has_ahead, has_free = _CARRIES[stance]
    middle = f"/o{offset_mm}" if has_offset else ""
    if has_ahead:
        middle += f"/a{ahead_mm}"
    if on_foam:
        middle += "/on_foam"
    if has_free:
        middle += f"/{free_foot}"
    doing = f"/{task}" if task else ""
    return f"{round_}/{stance}{middle}/{support}{doing}"


def parse_key(key: str) -> KeyParts:
    """What `key` says; ImpossibleValue if it is no rung's key."""
    parts = _read(key)
    if parts is None:
        raise ImpossibleValue("key", key, "a rung's key, such as firm/parallel/o160/hover")
    return parts


def is_key(key: object) -> bool:
    """Whether `key` has the form of a rung's key."""
    return isinstance(key, str) and _read(key) is not None


# A page of clients reads hundreds of keys, most of them the same few.
@lru_cache(maxsize=4096)
def _read(key: str) -> KeyParts | None:
    found = _FORM.fullmatch(key)
    if found is None:
        return None
    stance = Stance(found["stance"])
    orientation, layers = found["orientation"], int(found["layers"] or 0)
    carried = (found["offset"] is not None, found["ahead"] is not None, found["free"] is not None)
    if carried != _CARRIES[stance]:
        return None
    if orientation is not None and orientation not in ORIENTATIONS:
        return None
    if found["on_foam"] and stance is not Stance.TOE_TOUCH:
        return None
    surface = Surface.FIRM if found["firm"] else Surface.MAT if layers else Surface.HALF_FOAM
    if found["under"] and surface is Surface.FIRM:
        return None
    soft = None if surface is Surface.FIRM else Under(found["under"] or "both")
    return KeyParts(
        surface=surface,
        layers=layers,
        orientation=orientation,
        under=soft,
        stance=stance,
        offset_mm=int(found["offset"]) if found["offset"] else None,
        ahead_mm=int(found["ahead"]) if found["ahead"] else None,
        on_foam=bool(found["on_foam"]),
        free_foot=FreeFoot(found["free"]) if found["free"] else None,
        support=Support(found["support"]),
        task=Task(found["task"][1:]) if found["task"] else None,
    )
