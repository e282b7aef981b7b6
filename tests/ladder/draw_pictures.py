"""The pictures in docs/ladder.md: `python tests/ladder/draw_pictures.py` draws them anew.

test_ladder_docs.py fails when a picture in docs/pictures is not what this draws.
"""

from pathlib import Path

from rungwise.ladder import Body, Equipment, Limits, Side, build_ladder
from rungwise.wording.rung_words import rung_picture

FOLDER = Path(__file__).parents[2] / "docs" / "pictures"
BODY = Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177, weaker=Side.RIGHT)
SORE = Body(246, 93, 177, weaker=Side.RIGHT, big_toe_pain=True)
HOME = Equipment(mat_layers=8, half_foam_whole=True, half_foam_cut=True)

# File name, rung, and whether it is the client's drawing.
PICTURES = {
    "ladder-1-feet-apart": ("firm/parallel/o177/fingertips", False),
    "ladder-1-feet-together": ("firm/parallel/o93/hover", False),
    "ladder-2-staggered": ("firm/staggered/o137/a100/hover", False),
    "ladder-3-semi-tandem": ("firm/semi_tandem/o73/hover", False),
    "ladder-4-almost-tandem": ("firm/semi_tandem/o40/hover", False),
    "ladder-4-tandem": ("firm/tandem/hover", False),
    "ladder-5-toe-touch": ("firm/toe_touch/hover", False),
    "ladder-5-sore-toe": ("firm/toe_touch/on_foam/hover", False),
    "ladder-6-one-leg": ("firm/single_leg/beside/two_hands", False),
    "ladder-7-mat": ("mat4/front/staggered/o137/a100/hover", True),
    "ladder-8-half-foam-cut": ("foam_round_lengthways/staggered/o177/a100/one_hand", True),
    "ladder-8-half-foam-whole": ("foam_flat_lengthways/tandem/fingertips", True),
}


def drawn() -> dict[str, str]:
    """Every picture's SVG by file name without its ending."""
    ladders = {body: build_ladder(body, HOME, Limits()) for body in (BODY, SORE)}
    pictures = {}
    for name, (key, for_client) in PICTURES.items():
        body = SORE if "on_foam" in key else BODY
        pictures[name] = rung_picture(ladders[body][key], body, for_client=for_client) + "\n"
    return pictures


if __name__ == "__main__":
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, picture in drawn().items():
        (FOLDER / f"{name}.svg").write_text(picture, encoding="utf-8")
        print(f"docs/pictures/{name}.svg")
