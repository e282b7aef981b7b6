"""Distances as a client is told them: in words that need no ruler, or as marks of a tape.

A text never asks for less room than the rung has: of the words, the next wider one is taken, and a
mark is the next half centimetre or half inch. The widths of fingers and fist are common practice,
no source; docs/ladder.md says by how much a word may be too wide.
"""

from collections.abc import Mapping

# How far apart, from the narrowest; the last is as wide as words go without the hips.
ROOMS_MM: Mapping[str, int] = {
    "finger": 20,
    "fingers_2": 35,
    "fingers_3": 50,
    "fingers_4": 70,
    "fist": 90,
    "fists_2": 180,
}
HIPS = "hips"
# At average feet hip width is about a fist: of two words so near, only the client's own hips.
ALIKE_MM = 10


def room_word(gap_mm: int, hips_mm: int | None = None) -> tuple[str, int]:
    """The name of the narrowest word that is no narrower than `gap_mm`, and its width in mm.

    `hips_mm` is the gap at the client's hip width, where that may be said.
    """
    rooms = dict(ROOMS_MM)
    if hips_mm is not None:
        rooms = {n: mm for n, mm in rooms.items() if abs(mm - hips_mm) > ALIKE_MM or mm < gap_mm}
        rooms[HIPS] = hips_mm
    wide_enough = [(mm, name) for name, mm in rooms.items() if mm >= gap_mm]
    if not wide_enough:
        raise ValueError(f"no word is as wide as {gap_mm} mm")
    mm, name = min(wide_enough)
    return name, mm
