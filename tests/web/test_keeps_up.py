"""At the ceiling what is held goes round: the texts, what is told of them, and replay."""

import pytest
from editing import differences
from test_web_plan import LADDER, address, save, situation_of
from web_world import World

from rungwise.ladder.rotation import kept_up

SEMI = next(rung.key for rung in LADDER.rungs if rung.landmark == "semi_tandem")


@pytest.fixture
def at_the_ceiling(world: World) -> World:
    browser = world.signed_in()
    page = browser.page(address(world, "/plan"))
    version = page.split('name="version" value="')[1].split('"')[0]
    placed = {"version": version, "rung_key": SEMI, "reason": "Seen.", "meant": "true"}
    assert browser.post(address(world, "/override"), **placed).status_code == 303
    assert save(world, browser, ceiling=SEMI, keeps_up="true").status_code == 303
    assert situation_of(world).settings.keeps_up
    return world


def test_the_texts_go_round_and_nothing_moves(at_the_ceiling: World) -> None:
    world = at_the_ceiling
    round_ = {rung.key for rung in kept_up(situation_of(world).ladder)}
    assert len(round_) > 1
    world.pass_time(hours=6)
    for words in ("20 steady", "20 and 20 steady", "20 20 steady", "20 and 20 steady"):
        world.reply("ada", words)
        assert situation_of(world).placement.rung_key == SEMI
        world.pass_time(days=1)
    asked = {text.rung_key for text in world.sent("ada", "prompt")}
    assert asked == round_
    assert differences(world) == []


def test_an_easier_one_is_easier_than_what_was_asked(at_the_ceiling: World) -> None:
    world = at_the_ceiling
    ladder = situation_of(world).ladder
    world.pass_time(hours=6)
    for _ in range(len(kept_up(ladder))):
        asked = world.sent("ada", "prompt")[-1].rung_key
        world.reply("ada", "an easier one today please")
        easier = world.sent("ada")[-1].rung_key
        assert easier is not None
        assert ladder.index(easier) == ladder.index(asked) - 1
        world.pass_time(days=1)


def test_what_follows_shows_the_very_next_text(at_the_ceiling: World) -> None:
    world = at_the_ceiling
    seen = save(world, world.signed_in(), ceiling=SEMI, keeps_up="true", target_s=15, step="look")
    save(world, world.signed_in(), ceiling=SEMI, keeps_up="true", target_s=15)
    world.pass_time(hours=6)
    told = world.sent("ada", "prompt")[-1].body
    assert told in seen.text.replace("&#39;", "'")
