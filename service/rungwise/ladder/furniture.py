"""What is around the feet in a drawing: the counter with the hands, mats and half foam."""

from collections.abc import Iterator

from rungwise.ladder import svg
from rungwise.ladder.body import Body
from rungwise.ladder.footprint import BALL, Foot, Placement
from rungwise.ladder.rungs import Rung
from rungwise.ladder.sheet import COUNTER_MM, LARGE, NORMAL, SMALL, Piece, Sheet, soft_names
from rungwise.ladder.stance import Side, Stance, Support, Surface, Task, Under

HAND_X_MM = 275
MAT_EDGE_MM = 35
# A usual half foam: 90 cm long, 15 cm across its flat side (from memory); cut in two, 45 cm each.
FOAM_ACROSS_MM = 150
FOAM_CUT_MM = 450
FOAM_WHOLE_MM = 900


def soft_pieces(rung: Rung, body: Body, placement: Placement) -> tuple[Piece, ...]:
    """Where mat or half foam lies under the feet."""
    if rung.on_foam:
        resting = placement.foot(placement.front.other)
        return (*_soft(rung, body, placement), _toe_rest(body, resting))
    return _soft(rung, body, placement)


def _soft(rung: Rung, body: Body, placement: Placement) -> tuple[Piece, ...]:
    if rung.surface is Surface.FIRM:
        return ()
    front = placement.foot(placement.front)
    back = placement.foot(placement.front.other)
    on_it = {Under.FRONT: [front], Under.BACK: [back]}.get(rung.under or Under.BOTH, [back, front])
    on_it = [foot for foot in on_it if foot.touch != "none"]
    if rung.surface is Surface.MAT:
        return (_mat(rung, body, on_it),)
    if rung.stance is Stance.TANDEM:
        spare_mm = (FOAM_WHOLE_MM - 2 * body.foot_length_mm) / 2
        half_mm = FOAM_ACROSS_MM / 2
        return (Piece(-half_mm, half_mm, -spare_mm, 2 * body.foot_length_mm + spare_mm),)
    return tuple(_cut_foam(rung, body, on_it, front))


def _mat(rung: Rung, body: Body, on_it: list[Foot]) -> Piece:
    half_mm, length_mm = body.foot_breadth_mm / 2, body.foot_length_mm
    left_mm = min(foot.x_mm for foot in on_it) - half_mm - MAT_EDGE_MM
    right_mm = max(foot.x_mm for foot in on_it) + half_mm + MAT_EDGE_MM
    back_mm = front_mm = float(MAT_EDGE_MM)
    # With one foot on the mat, its edge must not reach under the other foot.
    if rung.under is not Under.BOTH and rung.ahead_mm is not None:
        free_mm = min(MAT_EDGE_MM, rung.ahead_mm / 2)
        if free_mm < 0:  # the feet lie beside each other
            left_mm, right_mm = (left_mm, 0.0) if on_it[0].x_mm < 0 else (0.0, right_mm)
        elif rung.under is Under.FRONT:
            back_mm = free_mm
        else:
            front_mm = free_mm
    return Piece(
        left_mm,
        right_mm,
        min(foot.y_mm for foot in on_it) - back_mm,
        max(foot.y_mm for foot in on_it) + length_mm + front_mm,
    )


def _cut_foam(rung: Rung, body: Body, on_it: list[Foot], front: Foot) -> Iterator[Piece]:
    length_mm = body.foot_length_mm
    across_mm, along_mm = FOAM_ACROSS_MM, FOAM_CUT_MM
    if str(rung.orientation).endswith("crossways"):
        centres = [0.0] if rung.stance is Stance.PARALLEL else [foot.x_mm for foot in on_it]
        for foot, x_mm in zip(on_it, centres, strict=False):
            middle_mm = foot.y_mm + length_mm / 2
            low_mm, high_mm = middle_mm - across_mm / 2, middle_mm + across_mm / 2
            yield Piece(x_mm - along_mm / 2, x_mm + along_mm / 2, low_mm, high_mm)
        return
    if rung.stance is Stance.PARALLEL:
        across_mm = min(across_mm, rung.offset_mm)
    for foot in on_it:
        # Side by side the foot stands in the middle; in a step each piece ends between the feet.
        spare_mm = (along_mm - length_mm) / 2
        if rung.ahead_mm is not None:
            short_mm = min(rung.ahead_mm / 2, spare_mm)
            spare_mm = short_mm if foot is front else along_mm - length_mm - short_mm
        low_mm = foot.y_mm - spare_mm
        half_mm = across_mm / 2
        yield Piece(foot.x_mm - half_mm, foot.x_mm + half_mm, low_mm, low_mm + along_mm)


def _toe_rest(body: Body, resting: Foot) -> Piece:
    edge_mm = resting.y_mm + BALL[1] * body.foot_length_mm
    inner_mm, outer_mm = body.foot_breadth_mm / 2, 130.0
    left_mm, right_mm = (outer_mm, inner_mm) if resting.side is Side.LEFT else (inner_mm, outer_mm)
    return Piece(resting.x_mm - left_mm, resting.x_mm + right_mm, edge_mm - FOAM_ACROSS_MM, edge_mm)


def draw_pieces(sheet: Sheet) -> Iterator[str]:
    """The soft pieces, and a line saying what they are."""
    for piece in sheet.pieces:
        yield from _piece(sheet, piece)
    names = soft_names(sheet.rung, sheet.words)
    longest = max(map(len, names), default=0)
    x = sheet.width / 2 - (54 + 0.54 * NORMAL * longest) / 2
    for row, name in enumerate(names):
        yield from _legend(sheet, name, x, sheet.legend_y(row))


def _legend(sheet: Sheet, name: str, x: float, y: float) -> Iterator[str]:
    """A swatch and the name of what is soft, at the foot of the sheet."""
    palette = sheet.palette
    yield svg.element(
        "rect",
        x=x,
        y=y - 22,
        width=40,
        height=28,
        fill=palette.soft,
        fill_opacity=palette.soft_opacity,
        stroke=palette.soft_edge,
        stroke_width=3,
    )
    yield svg.words(name, x + 54, y + 5, text_anchor="start", fill=palette.ink, font_size=NORMAL)


def _piece(sheet: Sheet, piece: Piece) -> Iterator[str]:
    palette = sheet.palette
    x, y = sheet.at(piece.left_mm, piece.front_mm)
    width, height = piece.right_mm - piece.left_mm, piece.front_mm - piece.back_mm
    yield svg.element(
        "rect",
        x=x,
        y=y,
        width=width,
        height=height,
        rx=14 if sheet.rung.surface is Surface.MAT else 4,
        class_="soft",
        fill=palette.soft,
        fill_opacity=palette.soft_opacity,
        stroke=palette.soft_edge,
        stroke_width=3,
    )
    thin: dict[str, svg.Attribute] = {"stroke": palette.soft_edge, "stroke_width": 2}
    if sheet.rung.surface is not Surface.HALF_FOAM:
        return
    # A round top is shaded with lines along it, closer at the edges; a flat one shows only the
    # line on which it rocks, dashed because it is underneath.
    round_up = str(sheet.rung.orientation).startswith("round")
    shares = (0.05, 0.16, 0.31, 0.5, 0.69, 0.84, 0.95) if round_up else (0.5,)
    dashes = None if round_up else "14 10"
    for share in shares:
        if str(sheet.rung.orientation).endswith("lengthways"):
            ends = (x + share * width, y), (x + share * width, y + height)
        else:
            ends = (x, y + share * height), (x + width, y + share * height)
        yield svg.line(*ends, stroke_dasharray=dashes, **thin)


def draw_counter(sheet: Sheet) -> Iterator[str]:
    """The counter in front, with what the hands do on or above it."""
    palette, words, support = sheet.palette, sheet.words, sheet.rung.support
    task = sheet.rung.task
    edge = COUNTER_MM - 20
    yield svg.element(
        "rect",
        width=sheet.width,
        height=edge,
        class_="counter",
        fill=palette.counter,
        fill_opacity=palette.counter_opacity,
    )
    ink = palette.ink
    yield svg.line((0, edge), (sheet.width, edge), stroke=ink, stroke_width=4)
    middle = sheet.width / 2
    yield svg.words(words.counter, middle, 48, fill=ink, font_size=LARGE, font_weight="bold")
    hands = str(getattr(words, f"task_{task}" if task else support))
    yield svg.words(hands, middle, 94, fill=ink, font_size=SMALL if task else NORMAL)
    sides: tuple[int, ...] = (1,) if support is Support.ONE_HAND else (-1, 1)
    if task is Task.ARMS:
        sides = ()
    for side in sides:
        yield from _hand(sheet, side, edge)


# A right hand from above, fingers away from the client: x to the right, y up from the wrist. Drawn
# smaller than life, to fit the counter's band. Each finger from knuckle to tip, then the thumb.
_FINGERS = (
    ((-27, 44), (-33, 84)),
    ((-9, 50), (-11, 95)),
    ((9, 48), (11, 89)),
    ((26, 42), (32, 74)),
)
_THUMB = ((-22, 18), (-50, 46))
# The outline round fingers and thumb, 9 mm each way, and a palm: reckoned once, to the millimetre.
_HAND = (
    (-27, -3), (-31, -1), (-34, 3), (-35, 6), (-35, 18), (-57, 40), (-59, 44), (-58, 49),
    (-56, 52), (-54, 54), (-52, 55), (-48, 55), (-44, 53), (-36, 45), (-42, 84), (-41, 87),
    (-40, 90), (-38, 92), (-34, 93), (-29, 92), (-27, 91), (-25, 88), (-20, 57), (-18, 57),
    (-20, 96), (-18, 101), (-16, 103), (-12, 104), (-10, 104), (-6, 103), (-4, 100),
    (-2, 97), (0, 57), (3, 92), (4, 95), (7, 97), (11, 98), (14, 97), (18, 95), (20, 90),
    (18, 57), (20, 57), (23, 77), (26, 81), (31, 83), (35, 82), (39, 80), (41, 76), (41, 72),
    (35, 41), (35, 6), (34, 3), (32, -1), (27, -3),
)  # fmt: skip


def _hand(sheet: Sheet, side: int, edge: float) -> Iterator[str]:
    """A hand: whole on the counter, its fingertips only, or held above it (dashed)."""
    support, palette = sheet.rung.support, sheet.palette
    x0 = sheet.width / 2 + side * HAND_X_MM
    # Fingertips reach just over the edge; a whole hand lies on the counter.
    y0 = edge + (70 if support is Support.FINGERTIPS else 4)
    above = support is Support.HOVER
    yield svg.element(
        "path",
        d=svg.closed_path((x0 + side * x, y0 - y) for x, y in _HAND),
        class_="hand",
        fill="none" if above else palette.other,
        fill_opacity=palette.other_opacity,
        stroke=palette.ink,
        stroke_width=3,
        stroke_dasharray="7 6" if above else None,
    )
    if support is Support.FINGERTIPS:
        for _, (x, y) in _FINGERS:
            yield svg.element("circle", cx=x0 + side * x, cy=y0 - y, r=8, fill=palette.ink)
