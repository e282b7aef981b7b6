"""Each alert shows the one or two acts that solve it; each is done and handled in one press."""

from datetime import date, timedelta

import pytest
from web_world import World

from rungwise.coach.alerting.alerts import Raised, raise_alert
from rungwise.coach.record.situation import load
from rungwise.store.tables import Alert, Client, Practice


def opened(world: World, kind: str, who: str = "ada") -> int:
    """An alert of that kind as the service opens it."""
    with world.store.write() as session:
        client = session.get_one(Client, world.clients[who])
        practice = session.get_one(Practice, client.practice_id)
        raised = Raised(kind, "The service did this.")
        return raise_alert(session, world.clock.now(), practice, client, raised).id


def handled(world: World, alert_id: int) -> Alert:
    with world.store.read() as session:
        return session.get_one(Alert, alert_id)


def settings(world: World, who: str = "ada"):
    with world.store.read() as session:
        return load(session, session.get_one(Client, world.clients[who])).settings


@pytest.mark.parametrize("kind", ["silence", "away"])
def test_away_for_now_pauses_with_a_date(world: World, kind: str) -> None:
    alert = opened(world, kind)
    browser = world.signed_in()
    page = browser.page(f"/alerts/{alert}")
    assert page.index("What solves it") < page.index("Handle it")
    assert page.index('href="tel:+12025550200"') < page.index("No texts until then")
    for wrong in ("", "2026-02-01", "soon"):
        refused = browser.post(f"/alerts/{alert}/solve", act="away", until=wrong)
        assert refused.status_code == 400
        assert 'role="alert"' in refused.text
    assert handled(world, alert).state != "handled"
    done = browser.post(f"/alerts/{alert}/solve", act="away", until="2026-03-12")
    assert (done.status_code, done.headers["location"]) == (303, "/")
    assert handled(world, alert).what_done == "Away until 12 March 2026."
    assert settings(world).away == ((date(2026, 3, 2), date(2026, 3, 12)),)
    before = len(world.sent("ada", "prompt"))
    world.pass_time(days=5)
    assert len(world.sent("ada", "prompt")) == before


def test_the_gate_alert_opens_the_gate_and_shows_the_text_behind_it(world: World) -> None:
    alert = opened(world, "gate_reached")
    browser = world.signed_in()
    closed = settings(world).open_gates
    page = browser.page(f"/alerts/{alert}")
    assert "gets this text on the first rung behind it" in page
    shown = page.partition('<blockquote class="consent" lang="en"><p>')[2].partition("</p>")[0]
    assert "Stop if you have pain or feel dizzy." in shown
    here = world.rung_of("ada")
    assert browser.post(f"/alerts/{alert}/solve", act="open_gate").status_code == 303
    assert len(settings(world).open_gates) == len(closed) + 1
    what = handled(world, alert).what_done
    assert what.startswith("Opened the gate: ")
    assert what.endswith("Nobody had seen them stand.")
    # By the rule, not by this press.
    assert world.rung_of("ada") == here


def test_a_gate_opened_unseen_says_so_and_after_a_visit_does_not(world: World) -> None:
    alert = opened(world, "gate_reached")
    browser = world.signed_in()
    assert "Nobody has seen Ada stand" in browser.page(f"/alerts/{alert}")
    browser.post(f"/clients/{world.clients['ada']}/visited", back="/visits")
    assert "Nobody has seen Ada stand" not in browser.page(f"/alerts/{alert}")
    browser.post(f"/alerts/{alert}/solve", act="open_gate")
    assert "Nobody" not in handled(world, alert).what_done


def test_the_stuck_alert_goes_one_rung_down_places_or_leaves(world: World) -> None:
    for _ in range(4):
        world.pass_time(hours=1)
        world.reply("ada", "20 steady")
        world.pass_time(hours=23)
    with world.store.read() as session:
        ladder = load(session, session.get_one(Client, world.clients["ada"])).ladder
    place = ladder.index(world.rung_of("ada"))
    assert place > 0
    alert = opened(world, "stuck")
    browser = world.signed_in()
    page = browser.page(f"/alerts/{alert}")
    assert f'href="/clients/{world.clients["ada"]}/override"' in page.partition('id="solve"')[2]
    assert browser.post(f"/alerts/{alert}/solve", act="one_down").status_code == 303
    assert ladder.index(world.rung_of("ada")) == place - 1
    assert world.moves("ada")[-1].kind == "override"
    again = opened(world, "stuck")
    assert browser.post(f"/alerts/{again}/solve", act="leave").status_code == 303
    assert handled(world, again).what_done == "Left as it is."
    assert ladder.index(world.rung_of("ada")) == place - 1


def test_nobody_is_put_below_the_lowest_rung(world: World) -> None:
    with world.store.read() as session:
        ladder = load(session, session.get_one(Client, world.clients["ada"])).ladder
    assert ladder.index(world.rung_of("ada")) == 0
    alert = opened(world, "stuck")
    browser = world.signed_in()
    assert "One rung down" not in browser.page(f"/alerts/{alert}")
    assert browser.post(f"/alerts/{alert}/solve", act="one_down").status_code == 400
    assert browser.post(f"/alerts/{alert}/solve", act="open_gate").status_code == 400


def test_a_text_that_did_not_arrive_leads_to_the_number(world: World) -> None:
    alert = opened(world, "undeliverable")
    browser = world.signed_in()
    page = browser.page(f"/alerts/{alert}").partition("What solves it")[2]
    address = f"/clients/{world.clients['ada']}/facts"
    assert f'href="{address}#phone"' in page
    assert 'id="phone"' in browser.page(address)


def test_what_is_handled_or_anothers_is_not_solved(world: World) -> None:
    alert = opened(world, "silence")
    until = (world.clock.now().date() + timedelta(days=3)).isoformat()
    other = world.signed_in("omar")
    assert other.post(f"/alerts/{alert}/solve", act="away", until=until).status_code == 404
    browser = world.signed_in()
    browser.post(f"/alerts/{alert}/solve", act="away", until=until)
    again = browser.post(f"/alerts/{alert}/solve", act="away", until=until)
    assert again.status_code == 400


def test_after_all_is_well_nothing_says_that_an_answer_is_awaited(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "felt a bit strange in the head")
    (alert,) = world.alerts("ada")
    browser = world.signed_in()
    ada = f"/clients/{world.clients['ada']}"
    assert "is still awaited" in browser.page(ada)
    browser.post(
        f"/incidents/{alert.incident_id}/handle",
        quick="Phoned: all is well",
        resume_key=world.rung_of("ada"),
    )
    for address in (ada, "/", f"/incidents/{alert.incident_id}"):
        page = browser.page(address).lower()
        for words in ("waiting for an answer", "waits for an answer", "is still awaited"):
            assert words not in page, address


def test_news_of_a_hospital_stay_is_handled_in_its_own_words(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "I'm in hospital")
    alert = next(one for one in world.alerts("ada") if one.kind == "health_news")
    browser = world.signed_in()
    page = browser.page(f"/alerts/{alert.id}")
    assert "Phoned: in hospital, rests until home again" in page
    assert "Phoned: all is well" not in page
    said = "Phoned: in hospital, rests until home again"
    done = browser.post(f"/incidents/{alert.incident_id}/handle", quick=said)
    # What is to be done before practice goes on is shown at once.
    assert done.headers["location"] == f"/incidents/{alert.incident_id}"
    assert "Ask the screening" in browser.page(f"/incidents/{alert.incident_id}")
    assert world.client("ada").state == "resting"
