"""The charts as SVG: every figure has its mark, at its height, in ink that fits the theme."""

from datetime import date, timedelta
from types import SimpleNamespace
from xml.etree import ElementTree

import pytest

from rungwise.coach.record.progress import DayHeld, Mark, Progress
from rungwise.evidence.landmarks import LANDMARKS
from rungwise.evidence.survival import curve
from rungwise.web.charts.evidence_pictures import draw_times, draw_weeks
from rungwise.web.charts.holds_picture import draw_holds, holds_png
from rungwise.web.charts.plot import INKS, Plot

SVG = "{http://www.w3.org/2000/svg}"
FIRST = date(2026, 9, 1)
DAYS = (
    DayHeld(FIRST, "k", {"both": 12.0}, 20, "steady"),
    DayHeld(FIRST + timedelta(2), "k", {"left": 18.0, "right": 24.0}, 20, "wobbly"),
    DayHeld(FIRST + timedelta(9), "k", {"left": 20.0, "right": 30.0}, 20, "steady"),
)


def progress(**changed) -> Progress:
    plain = {"days": DAYS, "moves": (), "alerts": (), "away": ()}
    return Progress(**(plain | changed), first=FIRST, last=FIRST + timedelta(27))


def drawn(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def texts(root: ElementTree.Element) -> list[str]:
    return [text.text or "" for text in root.iter(f"{SVG}text")]


def marks(root: ElementTree.Element) -> list[ElementTree.Element]:
    """What stands on the axes, not in the legend below them."""
    found = [*root.iter(f"{SVG}path"), *root.iter(f"{SVG}circle")]
    return [one for one in found if height(one) < 188]


def height(one: ElementTree.Element) -> float:
    if "cy" in one.attrib:
        return float(one.get("cy", ""))
    ups = [float(pair.split()[1]) for pair in one.get("d", "").strip("MZ").split("L")]
    return (min(ups) + max(ups)) / 2


def test_each_hold_is_a_mark_filled_on_steady_days() -> None:
    found = marks(drawn(draw_holds(progress())))
    assert len(found) == 5
    hollow = [one for one in found if one.get("fill") == INKS["light"].sheet]
    assert len(hollow) == 2


def test_a_longer_hold_stands_higher_by_as_much() -> None:
    found = sorted(height(one) for one in marks(drawn(draw_holds(progress()))))
    # 30, 24, 20, 18 and 12 s, from the top down; half a unit for the shapes' own middles.
    a_second = (found[-1] - found[0]) / 18
    told = [found[0] + a_second * (30 - seconds) for seconds in (30, 24, 20, 18, 12)]
    assert found == pytest.approx(told, abs=1)


def test_moves_alerts_and_days_away_are_marked_and_named() -> None:
    moves = tuple(Mark(FIRST + timedelta(at), kind, "x") for at, kind in enumerate(("up", "rest")))
    alerts = (Mark(FIRST, "fall", "urgent"), Mark(FIRST, "silent", "soon"))
    away = ((FIRST + timedelta(12), FIRST + timedelta(15)),)
    root = drawn(draw_holds(progress(moves=moves, alerts=alerts, away=away)))
    assert len(marks(root)) == 7
    names = {"up", "rest", "! urgent alert", "other alert", "away", "target", "left foot"}
    assert names <= set(texts(root))
    assert texts(root).count("!") == 1
    plain = set(texts(drawn(draw_holds(progress()))))
    assert not plain & {"up", "rest", "! urgent alert", "other alert", "away", "!"}


def test_nothing_leaves_the_sheet_and_each_theme_has_its_inks() -> None:
    for theme, inks in INKS.items():
        root = drawn(draw_holds(progress(), theme))
        assert {each.get("fill") for each in root.iter(f"{SVG}rect")} >= {inks.sheet}
        for one in root.iter():
            for name, most in (("x", 648), ("y", 259), ("x1", 648), ("y1", 259), ("cx", 648)):
                assert 0 <= float(one.get(name, 0)) <= most
    assert draw_holds(progress()) == draw_holds(progress())
    assert holds_png(progress()).startswith(b"\x89PNG")


def test_a_week_s_bars_are_as_high_as_its_days() -> None:
    weeks = [
        SimpleNamespace(
            clients=2, asked_days=8, days_a_client=done, monday=FIRST + timedelta(weeks=at)
        )
        for at, done in enumerate((1.0, 3.0, None))
    ]
    root = drawn(draw_weeks(weeks))
    filled = [one for one in root.iter(f"{SVG}rect") if one.get("fill") == INKS["light"].ink]
    tall = [float(one.get("height", "")) for one in filled[:3]]
    assert tall[1] == pytest.approx(3 * tall[0], abs=0.3)
    assert tall[2] == 0
    assert {"asked for", "practised", "3 days", "1 Sep"} <= set(texts(root))


def test_each_landmark_has_its_own_line_up_to_the_share_that_reached_it() -> None:
    names = list(LANDMARKS)[:2]
    half = curve([10, 20, 30, 40], [True, True, False, False])
    nobody = curve([], [])
    times = [
        SimpleNamespace(landmark=names[0], curve=half),
        SimpleNamespace(landmark=names[1], curve=nobody),
    ]
    root = drawn(draw_times(times))
    assert LANDMARKS[names[0]] in texts(root)
    assert LANDMARKS[names[1]] not in texts(root)
    ends = [line.get("points", "").split()[-1] for line in root.iter(f"{SVG}polyline")]
    plot = Plot("", (576, 245), (44, 8, 520, 184), (0, 40 * 1.03), (0, 102), INKS["light"])
    x, y = plot.at(40, 50)
    assert ends[-1] == f"{x:.1f},{y:.1f}"
