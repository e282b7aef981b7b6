"""The page of two settings compared: off, written down, lots, withdrawn, ended."""

from datetime import timedelta

import pytest
from web_world import World

GIVEN = {
    "first": "gentle", "second": "keen", "outcome": "steady", "days": "28", "clients": "8",
    "falls_apart": "3", "ethics": "The committee of the clinic agreed.",
}  # fmt: skip


def lock(world: World):
    return world.signed_in("lena").post("/comparison", step="lock", **GIVEN)


def draw(world: World, who: str, by: str = "tess", **more: str):
    given = {"client": str(world.clients[who]), "agreed_on": "2026-03-01"}
    ticked = {"agreed": "yes", "suits": "yes"}
    return world.signed_in(by).post("/comparison/lots", **{**given, **ticked, **more})


def test_it_is_off_until_the_lead_locks_one(world: World) -> None:
    assert "Nothing is compared." in world.signed_in().page("/comparison")
    assert world.signed_in().post("/comparison", step="lock", **GIVEN).status_code == 400
    lead = world.signed_in("lena")
    assert "ethics committee must approve it" in lead.page("/comparison")
    read = lead.post("/comparison", step="look", **GIVEN)
    assert "Not locked yet." in read.text
    assert "over the 28 days after" in read.text
    assert "Nothing is compared." in world.signed_in().page("/comparison")
    assert lock(world).status_code == 303
    page = world.signed_in().page("/comparison")
    assert "0 of 8 lots drawn" in page
    assert "The committee of the clinic agreed." in page
    assert "seed:" not in page


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"second": "gentle"}, "another than the first"),
        ({"days": "a month"}, "a whole number"),
        ({"clients": "3"}, "from 8 to 400"),
        ({"ethics": "-"}, "a few words"),
    ],
)
def test_what_cannot_be_locked_is_told_and_kept(world: World, wrong, told: str) -> None:
    lead = world.signed_in("lena")
    answer = lead.post("/comparison", step="lock", **{**GIVEN, **wrong})
    assert answer.status_code == 400
    assert told in answer.text
    assert 'value="3"' in answer.text
    assert "lots drawn" not in lead.page("/comparison")


def test_a_lot_needs_both_ticks_and_stands_on_the_page(world: World) -> None:
    lock(world)
    assert draw(world, "ada", suits="").status_code == 400
    assert draw(world, "ada").status_code == 303
    world_page = world.signed_in().page("/comparison")
    assert "1 of 8 lots drawn" in world_page
    assert "Tue 3 Mar to Mon 30 Mar" in world_page
    again = draw(world, "ada")
    assert "This client has a lot already." in again.text
    given = {"client": str(world.clients["bo"]), "agreed_on": "2026-03-01", "agreed": "yes"}
    refused = world.signed_in().post("/comparison/lots", **given)
    assert "either setting suits them" in refused.text
    assert "1 of 8 lots drawn" in refused.text


def test_withdrawn_and_ended_it_says_what_came_of_it_and_its_seed(world: World) -> None:
    lock(world)
    draw(world, "ada")
    world.clock.advance(timedelta(days=3))
    tess = world.signed_in()
    tess.post("/comparison/withdraw", client=str(world.clients["ada"]))
    assert "Withdrew" in tess.page("/comparison")
    assert tess.post("/comparison/end", why="Nobody else agreed to it.").status_code == 400
    lead = world.signed_in("lena")
    assert lead.post("/comparison/end", why="").status_code == 400
    lead.post("/comparison/end", why="Nobody else agreed to it.")
    page = lead.page("/comparison")
    assert "Nobody else agreed to it." in page
    assert "Too few figures for an interval." in page
    assert "seed:" in page
    assert "Write down another" in page


def test_nobody_draws_for_anothers_client_or_sees_them(world: World) -> None:
    lock(world)
    assert draw(world, "ada", by="omar").status_code == 404
    draw(world, "ada")
    page = world.signed_in("omar").page("/comparison")
    assert "Ada" not in page
    assert "And 1 client of colleagues." in page
    assert world.signed_in("omar").post("/comparison/withdraw", client="x").status_code == 404
    given = {"client": str(world.clients["ada"])}
    assert world.signed_in("omar").post("/comparison/withdraw", **given).status_code == 404
