"""Drawings: well formed, to scale, described in words, allowed by a strict policy, and as PNG."""

import io
import re
from itertools import product
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ladder_cases import FULL_HOME, MEAN_MAN, MEAN_WOMAN, bodies
from PIL import Image, ImageFont

from rungwise.ladder import Body, Limits, Side, Stance, Support, Under, build_ladder, svg
from rungwise.ladder.drawing import draw_rung
from rungwise.ladder.footprint import outline, place
from rungwise.wording.rung_words import rung_picture, rung_sentence, rung_short

SVG = "{http://www.w3.org/2000/svg}"
SORE = Body(246, 93, 177, big_toe_pain=True)
LADDER = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())


def _draw(key, **options):
    return ElementTree.fromstring(rung_picture(LADDER[key], MEAN_WOMAN, **options))


def _points(path):
    numbers = [float(number) for number in re.findall(r"-?[\d.]+", path.get("d"))]
    return np.array(numbers).reshape(-1, 2)


def _foot(root, side):
    (path,) = [p for p in root.iter(f"{SVG}path") if p.get("class") == f"foot {side}"]
    return _points(path)


def _texts(root):
    return [text.text for text in root.iter(f"{SVG}text")]


def _length(text):
    """How long a line of text is in its own letters."""
    bold = "-Bold" if text.get("font-weight") == "bold" else ""
    name = f"DejaVuSans{bold}.ttf"
    return ImageFont.truetype(svg.FONTS / name, int(text.get("font-size"))).getlength(text.text)


def _box(points):
    return points.min(axis=0), points.max(axis=0)


def test_every_rung_is_drawn_well_formed_with_words_for_those_who_do_not_see_it():
    for ladder, body in ((LADDER, MEAN_WOMAN), (build_ladder(SORE, FULL_HOME, Limits()), SORE)):
        for rung, client in product(ladder.rungs[::2], (False, True)):
            root = ElementTree.fromstring(rung_picture(rung, body, for_client=client))
            assert root.tag == f"{SVG}svg"
            assert root.get("role") == "img"
            title, desc = root[0], root[1]
            assert (title.tag, title.text) == (f"{SVG}title", rung_short(rung))
            assert (desc.tag, desc.text) == (f"{SVG}desc", rung_sentence(rung))
            assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"


@settings(max_examples=60, deadline=None)
@given(st.data(), bodies(), st.sampled_from(["light", "dark", "auto"]))
def test_nothing_that_a_strict_policy_would_block(data, body, theme):
    rung = data.draw(st.sampled_from(build_ladder(body, FULL_HOME, Limits()).rungs))
    drawn = draw_rung(rung, body, title="<b>&\"'", theme=theme)
    root = ElementTree.fromstring(drawn)
    assert root[0].text == "<b>&\"'"
    for one in root.iter():
        assert one.tag.removeprefix(SVG) in {
            "svg", "title", "desc", "rect", "path", "line", "circle", "text",
        }  # fmt: skip
        names = set(one.attrib)
        assert "style" not in names
        assert not [name for name in names if name.lower().startswith("on") or "href" in name]
        assert not [value for value in one.attrib.values() if "url(" in value]


@settings(max_examples=60, deadline=None)
@given(st.data(), bodies())
def test_everything_lies_on_the_sheet(data, body):
    rung = data.draw(st.sampled_from(build_ladder(body, FULL_HOME, Limits()).rungs))
    root = ElementTree.fromstring(draw_rung(rung, body, title="x"))
    _, _, width, height = (float(number) for number in root.get("viewBox").split())
    for one in root.iter(f"{SVG}path"):
        low, high = _box(_points(one))
        assert low.min() >= 0
        assert high[0] <= width
        assert high[1] <= height
    for one in root.iter(f"{SVG}text"):
        reach = _length(one)
        x = float(one.get("x"))
        left = {"start": x, "middle": x - reach / 2, "end": x - reach}[one.get("text-anchor")]
        assert left >= 0, one.text
        assert left + reach <= width, one.text


@pytest.mark.parametrize("lead", list(Side))
@pytest.mark.parametrize(
    "key",
    [
        "firm/parallel/o147/hover",
        "firm/staggered/o127/a100/hover",
        "firm/semi_tandem/o40/hover",
        "firm/tandem/hover",
    ],
)
def test_feet_are_to_scale_one_unit_a_millimetre(key, lead):
    rung, root = LADDER[key], _draw(key, lead=lead)
    (left_low, left_high), (right_low, right_high) = (_box(_foot(root, side)) for side in Side)
    for low, high in ((left_low, left_high), (right_low, right_high)):
        assert high - low == pytest.approx([93, 246], abs=0.2)
    assert (right_low + right_high)[0] / 2 - (left_low + left_high)[0] / 2 == pytest.approx(
        rung.offset_mm, abs=0.2
    )
    # Up on the sheet is forward.
    heels = {Side.LEFT: left_high[1], Side.RIGHT: right_high[1]}
    assert heels[lead.other] - heels[lead] == pytest.approx(rung.step_mm, abs=0.2)


def test_the_drawn_distance_is_as_long_as_it_says():
    root = _draw("firm/staggered/o147/a100/hover")
    lengths = []
    for one in root.iter(f"{SVG}line"):
        if one.get("class") == "distance":
            x1, y1, x2, y2 = (float(one.get(name)) for name in ("x1", "y1", "x2", "y2"))
            lengths.append(abs(x2 - x1) + abs(y2 - y1))
    assert lengths == pytest.approx([147, 346], abs=0.2)
    assert {"14.7 cm, middle to middle", "34.6 cm", "heel to heel"} <= set(_texts(root))


def test_the_client_sees_the_gap_and_the_text_s_rounding():
    root = _draw("firm/parallel/o147/hover", for_client=True)
    assert "5.5 cm apart" in _texts(root)
    assert not [p for p in root.iter(f"{SVG}path") if p.get("class") == "base"]
    assert "touching" in _texts(_draw("firm/parallel/o93/hover", for_client=True))
    assert {"4 cm", "ahead"} <= set(_texts(_draw("firm/staggered/o93/a40/hover", for_client=True)))
    assert "2 cm off one line" in _texts(_draw("firm/semi_tandem/o20/hover", for_client=True))


def test_the_trainer_sees_the_base_of_support():
    root = _draw("firm/tandem/hover")
    (base,) = [p for p in root.iter(f"{SVG}path") if p.get("class") == "base"]
    feet = np.concatenate([_foot(root, side) for side in Side])
    assert _box(_points(base))[0] == pytest.approx(_box(feet)[0], abs=0.2)
    assert _box(_points(base))[1] == pytest.approx(_box(feet)[1], abs=0.2)


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("firm/parallel/o147/hover", {"Left", "Right"}),
        ("firm/tandem/hover", {"Left", "Right", "in front"}),
        ("firm/toe_touch/hover", {"stand on it", "toes only"}),
        ("firm/single_leg/front/hover", {"stand on it", "lifted"}),
        ("mat4/front/tandem/hover", {"Mat, 4 layers"}),
        ("mat1/tandem/hover", {"Mat"}),
        ("foam_round_lengthways/tandem/hover", {"Half foam, round side up"}),
        ("foam_flat_crossways/parallel/o93/hover", {"Half foam, flat side up"}),
    ],
)
def test_what_each_foot_does_is_written(key, words):
    assert words <= set(_texts(_draw(key)))


@pytest.mark.parametrize(
    ("support", "hands", "words"),
    [
        (Support.TWO_HANDS, 2, "both hands on it"),
        (Support.ONE_HAND, 1, "one hand on it"),
        (Support.FINGERTIPS, 2, "fingertips on it"),
        (Support.HOVER, 2, "hands just above it"),
    ],
)
def test_the_hands_are_drawn_and_named(support, hands, words):
    root = _draw(f"firm/single_leg/beside/{support}")
    drawn = [path for path in root.iter(f"{SVG}path") if path.get("class") == "hand"]
    assert len(drawn) == hands
    assert words in _texts(root)
    hovering = support is Support.HOVER
    assert all((path.get("stroke-dasharray") is not None) == hovering for path in drawn)


def test_the_free_foot_and_the_lifted_heel_are_only_dashed():
    for key, whole in (("firm/single_leg/beside/hover", 1), ("firm/tandem/hover", 2)):
        feet = [p for p in _draw(key).iter(f"{SVG}path") if "foot" in (p.get("class") or "")]
        assert len([foot for foot in feet if foot.get("fill") != "none"]) == whole


def test_what_is_soft_lies_under_the_feet_it_says_and_no_other():
    for rung in LADDER.rungs:
        if rung.under is None or rung.stance is Stance.SINGLE_LEG:
            continue
        root = _draw(rung.key)
        soft = [
            [float(rect.get(name)) for name in ("x", "y", "width", "height")]
            for rect in root.iter(f"{SVG}rect")
            if rect.get("class") == "soft"
        ]
        front = place(rung, MEAN_WOMAN).front
        for side in Side:
            low, high = _box(_foot(root, side))
            on_it = any(
                x < (low + high)[0] / 2 < x + wide and y < (low + high)[1] / 2 < y + deep
                for x, y, wide, deep in soft
            )
            is_front = side is front
            wanted = rung.under is Under.BOTH or (rung.under is Under.FRONT) == is_front
            assert on_it == wanted, (rung.key, side)
            if not wanted:
                inside = [
                    min(x + wide, high[0]) - max(x, low[0]) > 1
                    and min(y + deep, high[1]) - max(y, low[1]) > 1
                    for x, y, wide, deep in soft
                ]
                assert not any(inside), f"{rung.key}: it reaches under the {side} foot"


def test_feet_on_a_mat_stand_wholly_on_it():
    for rung in LADDER.rungs:
        if rung.round != "mat2":
            continue
        root = _draw(rung.key)
        (mat,) = [rect for rect in root.iter(f"{SVG}rect") if rect.get("class") == "soft"]
        x, y, wide, deep = (float(mat.get(name)) for name in ("x", "y", "width", "height"))
        placement = place(rung, MEAN_WOMAN)
        for foot in (placement.left, placement.right):
            if foot.touch != "whole":
                continue
            low, high = _box(_foot(root, foot.side))
            assert x <= low[0]
            assert y <= low[1]
            assert high[0] <= x + wide
            assert high[1] <= y + deep


def test_the_sore_toe_lies_beyond_the_half_foam_s_edge():
    rung = build_ladder(SORE, FULL_HOME, Limits())["firm/toe_touch/on_foam/hover"]
    root = ElementTree.fromstring(rung_picture(rung, SORE))
    (foam,) = [rect for rect in root.iter(f"{SVG}rect") if rect.get("class") == "soft"]
    resting = place(rung, SORE).front.other
    low, _ = _box(_foot(root, resting))
    edge = float(foam.get("y"))
    assert edge - low[1] > 0.15 * SORE.foot_length_mm
    assert "Half foam, big toe off its edge" in _texts(root)


def test_words_can_be_in_another_language():
    root = _draw("firm/semi_tandem/o20/hover", language="es", for_client=True)
    assert {"Izq.", "Der.", "Encimera", "a 2 cm de una línea"} <= set(_texts(root))
    exact = _draw("firm/parallel/o147/hover", language="es")
    assert "14,7 cm entre centros" in _texts(exact)


def test_the_same_rung_draws_the_same_and_sides_are_told_apart():
    one, two = (rung_picture(LADDER["firm/tandem/hover"], MEAN_WOMAN) for _ in range(2))
    assert one == two
    right = _draw("firm/tandem/hover", lead=Side.RIGHT)
    left = _draw("firm/tandem/hover", lead=Side.LEFT)
    assert left[0].get("id") != right[0].get("id")
    assert _foot(left, "left")[:, 1].mean() < _foot(left, "right")[:, 1].mean()


def test_a_wide_body_gets_a_wider_sheet():
    wide = Body(foot_length_mm=330, foot_breadth_mm=150, hip_width_mm=280)
    rung = build_ladder(wide, FULL_HOME, Limits()).rungs[0]
    root = ElementTree.fromstring(rung_picture(rung, wide))
    assert float(root.get("viewBox").split()[2]) > 720
    assert max(x for x, _ in outline(wide, place(rung, wide).right)) == pytest.approx(215)


def _luminance(colour):
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one, other):
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_letters_and_lines_stand_out(theme):
    # WCAG 2.2: 7 to 1 for the letters (AAA), 3 to 1 for the shapes that carry meaning.
    from rungwise.ladder.palette import PALETTES  # noqa: PLC0415

    p = PALETTES[theme]
    for behind in (p.paper, p.counter, p.soft):
        assert _contrast(p.ink, behind) >= 7
    assert _contrast(p.lead, p.paper) >= 3
    assert _contrast(p.lead, p.other) >= 2.5
    assert _contrast(p.soft_edge, p.paper) >= 3


def test_the_page_s_own_ink_is_used_where_asked():
    drawn = rung_picture(LADDER["firm/tandem/hover"], MEAN_WOMAN, theme="auto")
    assert "currentColor" in drawn
    assert 'class="paper"' not in drawn


def _decoded(drawn, width):
    image = Image.open(io.BytesIO(svg.png(drawn, width)))
    assert image.format == "PNG"
    return image.convert("RGB")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_png_is_the_same_drawing(theme):
    drawn = rung_picture(LADDER["firm/tandem/hover"], MEAN_WOMAN, theme=theme)
    image = _decoded(drawn, 380)
    _, _, width, height = (float(n) for n in ElementTree.fromstring(drawn).get("viewBox").split())
    assert image.width == 380
    assert image.height == pytest.approx(380 * height / width, abs=1)
    # In the middle of the front foot is the lead colour.
    front = _foot(ElementTree.fromstring(drawn), "left").mean(axis=0) * 380 / width
    lead = {"light": (0x2B, 0x6B, 0x66), "dark": (0x86, 0xCF, 0xC4)}[theme]
    assert image.getpixel(tuple(int(c) for c in front)) == pytest.approx(lead, abs=3)


def test_the_png_has_its_letters_without_any_font_of_the_machine():
    blank = draw_rung(LADDER["firm/tandem/hover"], MEAN_WOMAN, title="x")
    without = re.sub(r"<text.*?</text>", "", blank)
    dark = [np.asarray(_decoded(svg, 760).convert("L")) < 90 for svg in (blank, without)]
    assert dark[0].sum() > dark[1].sum() + 2000


def test_the_png_is_small_enough_for_a_picture_message():
    # Carriers commonly take 300 kB and more; no source, so stay well below.
    sizes = [
        len(svg.png(rung_picture(LADDER[key], MEAN_WOMAN)))
        for key in ("firm/tandem/hover", "foam_round_lengthways/tandem/hover")
    ]
    assert max(sizes) < 150_000


def test_men_s_and_women_s_feet_are_drawn_at_one_scale():
    man = build_ladder(MEAN_MAN, FULL_HOME, Limits())["firm/tandem/hover"]
    drawn = ElementTree.fromstring(rung_picture(man, MEAN_MAN))
    low, high = _box(_foot(drawn, "left"))
    assert high - low == pytest.approx([102, 271], abs=0.2)
