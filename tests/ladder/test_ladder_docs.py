"""docs/ladder.md says what the code does, and its pictures are what the code draws."""

import json
import re
from dataclasses import fields
from pathlib import Path

import pytest
from draw_pictures import FOLDER, drawn
from test_ladder_command import FIELDS

from rungwise.cli import main
from rungwise.ladder import (
    GATES,
    Body,
    Equipment,
    Limits,
    Narrowing,
    Profile,
    build_ladder,
    parse_key,
    profile_from_json,
    profile_to_json,
)
from rungwise.ladder.demand import FOAM_TERM, MAT_TERM

PAGE = (Path(__file__).parents[2] / "docs" / "ladder.md").read_text(encoding="utf-8")
EXAMPLE = re.search(r"```json\n(.*?)```", PAGE, re.DOTALL)[1]
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@pytest.mark.parametrize("name", sorted(drawn()))
def test_a_picture_is_what_the_code_draws(name):
    kept = (FOLDER / f"{name}.svg").read_text(encoding="utf-8")
    new = drawn()[name]
    assert NUMBER.sub("0", kept) == NUMBER.sub("0", new), "run tests/ladder/draw_pictures.py"
    numbers = [[float(one) for one in NUMBER.findall(text)] for text in (kept, new)]
    assert numbers[0] == pytest.approx(numbers[1], abs=0.11)


def test_every_picture_is_shown_and_described():
    shown = re.findall(r'<img src="pictures/(ladder-[\w-]+)\.svg" width="\d+" alt="[^"]+">', PAGE)
    assert sorted(shown) == sorted(drawn())


def test_the_example_profile_is_whole_and_right():
    profile = profile_from_json(json.loads(EXAMPLE))
    assert profile_to_json(profile) == json.loads(EXAMPLE)


def test_the_commands_run(tmp_path, monkeypatch, capsys):
    (tmp_path / "profile.json").write_text(EXAMPLE, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    commands = re.findall(r"^rungwise (.*)$", PAGE, re.MULTILINE)
    assert len(commands) == 2
    for command in commands:
        assert main(command.split()) == 0
        assert capsys.readouterr().out


def test_the_shortest_profile_runs():
    shortest = re.search(r"The shortest is `(.*?)`", PAGE)[1]
    assert profile_from_json(json.loads(shortest)).body.estimated


def test_every_field_is_listed():
    named = set(re.findall(r"`([a-z_]+)`", PAGE))
    for kind in (Body, Equipment, Limits, Narrowing, Profile):
        inner = {"body", "equipment", "limits", "narrowing"}
        assert {one.name for one in fields(kind)} - inner <= named
    assert set(FIELDS) <= named
    assert set(GATES) <= named


def test_every_landmark_is_listed():
    profile = profile_from_json(json.loads(EXAMPLE))
    ladder = build_ladder(profile.body, profile.equipment, profile.limits, profile.narrowing)
    named = set(re.findall(r"`([a-z_]+)`", PAGE))
    assert {rung.landmark for rung in ladder.rungs if rung.landmark} <= named


def test_the_keys_shown_are_keys():
    block = re.search(r"whose it is:\n\n```\n(.*?)```", PAGE, re.DOTALL)[1]
    keys = [line.split()[0] for line in block.splitlines()]
    assert len(keys) == 7
    for key in keys:
        parse_key(key)


def test_the_points_are_those_of_the_code():
    mat = ", ".join(f"{points:g}" for points in MAT_TERM.values())
    assert f"layers: {mat};" in PAGE
    for lies, points in FOAM_TERM.items():
        assert f"{lies.replace('_', ' ')} {points:g}" in PAGE
