"""Writes the sheet of named values for pages and the docs site, from `concepts.look`.

`python -m rungwise.web.ui.values_sheet > service/rungwise/web/static/values.css`
"""

import sys
from collections.abc import Iterator

from rungwise.concepts.look import (
    COLOURS,
    FACES,
    LETTERS_PX,
    PRESS_PX,
    PRESS_WITH_MOUSE_PX,
    SPACES_PX,
)

PX_A_REM = 16


def values_css() -> str:
    """The whole sheet: one `:root` for light, and what dark and paper change."""
    return "\n".join(_lines()) + "\n"


def _lines() -> Iterator[str]:
    yield "/* Every named value. Written by rungwise.web.ui.values_sheet from concepts/look.py. */"
    yield ""
    yield ":root {"
    yield "  color-scheme: light dark;"
    yield from _colours("light", "  ")
    # What is paper on a screen keeps paper's colours, in the dark too.
    for name in ("sheet", "ink", "soft"):
        yield f"  --print-{name}: {COLOURS[name].print};"
    for name, faces in FACES.items():
        yield f"  --{name}: {', '.join(_face(face) for face in faces)};"
    for name, px in LETTERS_PX.items():
        yield f"  --t-{name}: {_rem(px)};"
    for name, px in SPACES_PX.items():
        yield f"  --s{name}: {_rem(px)};"
    yield f"  --press: {_rem(PRESS_PX)};"
    yield "  --round: 3px;"
    yield "  --page: 76rem;"
    yield "}"
    yield ""
    yield "@media (prefers-color-scheme: dark) {"
    yield "  :root {"
    yield from _colours("dark", "    ")
    yield "  }"
    yield "}"
    mouse = f"--press: {_rem(PRESS_WITH_MOUSE_PX)};"
    yield f"@media (min-width: 60rem) and (pointer: fine) {{ :root {{ {mouse} }} }}"
    yield "@media print {"
    yield "  :root {"
    yield "    color-scheme: light;"
    yield from _colours("print", "    ")
    yield "  }"
    yield "}"


def _colours(theme: str, margin: str) -> Iterator[str]:
    for name, colour in COLOURS.items():
        yield f"{margin}--{name}: {getattr(colour, theme)};"


def _face(name: str) -> str:
    return f'"{name}"' if " " in name else name


def _rem(px: int) -> str:
    return f"{px / PX_A_REM:g}rem"


if __name__ == "__main__":
    sys.stdout.write(values_css())
