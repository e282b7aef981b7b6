"""The few SVG elements that the drawings are made of. Presentation attributes only.

No style attribute, style element, script or link is ever written, so that a page with a strict
content security policy can hold the drawing as it is.
"""

from collections.abc import Iterable
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

# The letters of every picture and PDF; their licence lies beside them.
FONTS = Path(__file__).parent / "fonts"
FONT = "DejaVu Sans, Verdana, sans-serif"

Attribute = str | float | None
Point = tuple[float, float]


def element(name: str, inner: str = "", /, **attributes: Attribute) -> str:
    """One element; `_` in an attribute's name stands for `-`, and None leaves it out."""
    written = "".join(
        f" {key.rstrip('_').replace('_', '-')}={quoteattr(_plain(value))}"
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{written}>{inner}</{name}>" if inner else f"<{name}{written}/>"


def words(text: str, x: float, y: float, /, **attributes: Attribute) -> str:
    """A line of text, anchored in its middle unless told otherwise."""
    settings: dict[str, Attribute] = {
        "x": x,
        "y": y,
        "text_anchor": "middle",
        "font_family": FONT,
        "font_size": 32,
    }
    return element("text", escape(text), **(settings | attributes))


def line(start: Point, end: Point, /, **attributes: Attribute) -> str:
    (x1, y1), (x2, y2) = start, end
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, **attributes)


def closed_path(points: Iterable[Point]) -> str:
    """Path data of a polygon."""
    return "M" + "L".join(f"{_plain(x)} {_plain(y)}" for x, y in points) + "Z"


def png(drawing: str, width_px: int = 760) -> bytes:
    """A drawing as PNG, `width_px` wide, with the same letters on every machine."""
    import resvg_py  # noqa: PLC0415  # only who wants a PNG waits for it

    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=drawing,
            width=width_px,
            skip_system_fonts=True,
            font_files=[str(FONTS / name) for name in ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")],
            font_family="DejaVu Sans",
            sans_serif_family="DejaVu Sans",
        )
    )


def _plain(value: Attribute) -> str:
    if isinstance(value, str):
        return value
    return f"{value:.1f}".removesuffix(".0") if value is not None else ""
