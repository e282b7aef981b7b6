"""A client's usual pain: recorded by page and API, audited, shown, and heeded by the next text."""

import re

import pytest
from api_calls import program
from sqlmodel import select
from web_world import World

from rungwise.coach.plan.usual_pain import USUAL_PLACES
from rungwise.coach.record.situation import load
from rungwise.coach.rule.replay import replay
from rungwise.store.tables import Audit
from rungwise.wording.texts import LANGUAGES, place_words


def address(world: World, more: str = "") -> str:
    return f"/clients/{world.clients['ada']}{more}"


def usual_of(world: World):
    with world.store.read() as session:
        situation = load(session, world.client("ada"))
        assert situation is not None
        return situation.settings.usual_pain


def test_it_is_recorded_shown_audited_and_heeded(world: World) -> None:
    world.pass_time(hours=2)
    browser = world.signed_in()
    assert "none recorded" in browser.page(address(world))
    page = browser.page(address(world, "/usual-pain"))
    version = re.search(r'name="version" value="(\d+)"', page)
    assert version
    form = {"version": version[1], "place": "knee", "score": "3"}
    assert browser.post(address(world, "/usual-pain"), **form).status_code == 303
    assert (usual_of(world).place, usual_of(world).score) == ("knee", 3)
    assert "knee, 3 of 10" in browser.page(address(world))
    assert "Usual pain: none, then knee, 3 of 10." in browser.page(address(world, "/history"))
    with world.store.read() as session:
        line = session.exec(select(Audit).where(Audit.action == "plan changed")).one()
    assert line.detail["changed"] == {"usual_pain": [None, {"place": "knee", "score": 3}]}
    assert browser.post(address(world, "/usual-pain"), **form).status_code == 409
    world.reply("ada", "20 steady, knee a bit sore, same as ever")
    assert world.client("ada").state == "active"
    assert [alert.urgency for alert in world.alerts("ada")] == ["note"]
    # What a day that is entered says of it is heard alike.
    assert "The usual pain (knee)" in browser.page(address(world, "/day"))
    world.pass_time(days=1)
    world.reply("ada", "20 steady, my hip hurts")
    assert world.client("ada").state == "resting"
    with world.store.read() as session:
        assert list(replay(session)) == []


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"place": "chest", "score": "2"}, "a bone, joint or muscle"),
        ({"place": "calf", "score": "2"}, "a bone, joint or muscle"),
        ({"place": "head", "score": "2"}, "a bone, joint or muscle"),
        ({"place": "knee", "score": "6"}, "from 0 to 5"),
        ({"place": "knee", "score": "bad"}, "a whole number"),
    ],
)
def test_no_other_place_and_no_worse_pain(world: World, given: dict[str, str], told: str) -> None:
    browser = world.signed_in()
    form = {"version": str(world.client("ada").version), **given}
    refused = browser.post(address(world, "/usual-pain"), **form)
    assert refused.status_code == 400
    assert told in refused.text
    assert usual_of(world) is None


def test_the_api_records_it_and_takes_it_away(calm: World) -> None:
    tess, path = program(calm), f"/clients/{calm.clients['ada']}"
    version = calm.client("ada").version
    kept = tess.post(f"{path}/usual-pain", version=version, place="knee", score=4).json()
    assert kept["plan"]["usual_pain"] == {"place": "knee", "score": 4}
    refused = tess.post(f"{path}/usual-pain", version=kept["version"], place="head", score=4)
    assert refused.status_code == 422
    gone = tess.post(f"{path}/usual-pain", version=kept["version"], place=None).json()
    assert gone["plan"]["usual_pain"] is None


def test_every_place_has_words_and_none_is_a_sign_of_its_own() -> None:
    assert all(place_words(place, language) for place in USUAL_PLACES for language in LANGUAGES)
    assert not {"chest", "head", "calf"} & set(USUAL_PLACES)
