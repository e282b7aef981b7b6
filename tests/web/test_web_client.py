"""One client's page, placing on a rung, and the practice phone."""

import re
from datetime import timedelta

import pytest
from web_world import PROFILE, TOKEN, World, make_world

from rungwise.coach.plan.placement_preview import landmarks_up
from rungwise.coach.record.codec import ladder_of
from rungwise.store.tables import Practice

LADDER = ladder_of(PROFILE)
LOWEST = LADDER.rungs[0].key
LANDMARKS = [rung.key for rung in LADDER.rungs if rung.landmark]


def page_of(world: World, who: str = "ada", more: str = "") -> str:
    return f"/clients/{world.clients[who]}{more}"


def version_of(page: str) -> str:
    found = re.search(r'name="version" value="(\d+)"', page)
    assert found
    return found[1]


def test_the_page_shows_rung_drawing_next_step_moves_and_thread(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")
    page = world.signed_in().page(page_of(world))
    assert 'role="img"' in page
    assert "Feet side by side, 17.7 cm between their centre lines" in page
    assert "Next: feet apart, after one more steady day" in page
    assert "Steady on 1 day; 2 are needed" in page
    assert "<p>20 steady</p>" in re.sub("</?mark>", "", page)
    assert "1 segment" in page
    assert "Rung 1 of 57" in page
    assert "Next text: <time" in page


def test_times_are_the_clients_and_name_their_zone(world: World) -> None:
    world.pass_time(hours=2)
    page = world.signed_in().page(page_of(world))
    assert '<time datetime="2026-03-02T09:00:00-05:00">Mon 2 Mar, 09:00 EST</time>' in page


def test_a_client_without_a_name_of_ours_is_not_found(world: World) -> None:
    browser = world.signed_in()
    assert browser.get("/clients/12345").status_code == 404
    assert browser.get(page_of(world, "cy")).status_code == 404
    assert browser.get(page_of(world, "cy", "/override")).status_code == 404


def test_the_preview_is_the_very_text_that_then_goes(world: World) -> None:
    world.pass_time(hours=2)
    to = LANDMARKS[1]
    browser = world.signed_in()
    page = browser.page(page_of(world, more=f"/override?rung_key={to}"))
    shown = re.search(r'<p class="sent">(.*?)</p>', page)
    assert shown
    assert "1 segment" in page
    assert "What the rule would do then" in page
    placed = browser.post(
        page_of(world, more="/override"),
        rung_key=to,
        reason="Held it well at the visit",
        version=version_of(page),
        meant="true",
    )
    assert (placed.status_code, placed.headers["location"]) == (303, page_of(world))
    assert world.rung_of("ada") == to
    world.pass_time(days=1)
    assert world.sent("ada", "prompt")[-1].body == shown[1]
    after = world.signed_in().page(page_of(world))
    assert "Held it well at the visit" in after
    assert "(Tess Example)" in after


def test_a_reason_is_needed_and_what_was_typed_is_kept(world: World) -> None:
    browser = world.signed_in()
    to = LADDER.rungs[1].key
    page = browser.page(page_of(world, more=f"/override?rung_key={to}"))
    refused = browser.post(
        page_of(world, more="/override"), rung_key=to, reason=" ", version=version_of(page)
    )
    assert refused.status_code == 400
    assert "needs a reason" in refused.text
    assert f'name="rung_key" value="{to}"' in refused.text
    assert world.rung_of("ada") == LOWEST


def test_a_change_in_between_is_shown_and_not_overwritten(world: World) -> None:
    browser, lead = world.signed_in("tess"), world.signed_in("lena")
    first, second = LADDER.rungs[1].key, LADDER.rungs[2].key
    page = browser.page(page_of(world, more=f"/override?rung_key={second}"))
    lead.post(
        page_of(world, more="/override"),
        rung_key=first,
        reason="Seen today",
        version=version_of(page),
    )
    late = browser.post(
        page_of(world, more="/override"),
        rung_key=second,
        reason="My reason",
        version=version_of(page),
    )
    assert late.status_code == 409
    assert world.rung_of("ada") == first
    assert "Somebody changed this client" in late.text
    assert "Lena Placeholder" in late.text
    assert "Seen today" in late.text
    assert 'value="My reason"' in late.text
    again = browser.post(
        page_of(world, more="/override"),
        rung_key=second,
        reason="My reason",
        version=version_of(late.text),
    )
    assert again.status_code == 303
    assert world.rung_of("ada") == second


def test_going_up_more_than_one_landmark_asks_twice(world: World) -> None:
    browser = world.signed_in()
    to = LANDMARKS[2]
    page = browser.page(page_of(world, more=f"/override?rung_key={to}"))
    assert 'name="meant"' in page
    form = {"rung_key": to, "reason": "Held it at the visit", "version": version_of(page)}
    refused = browser.post(page_of(world, more="/override"), **form)
    assert refused.status_code == 400
    assert "more than one landmark" in refused.text
    assert world.rung_of("ada") == LOWEST
    assert browser.post(page_of(world, more="/override"), **form, meant="true").status_code == 303
    assert world.rung_of("ada") == to


@pytest.mark.parametrize(
    ("start", "to", "passed"),
    [(LOWEST, LANDMARKS[0], 1), (LOWEST, LANDMARKS[1], 2), (LANDMARKS[0], LANDMARKS[1], 1),
     (LANDMARKS[3], LANDMARKS[0], 0), (LANDMARKS[1], LANDMARKS[1], 0), ("gone", LANDMARKS[0], 1)],
)  # fmt: skip
def test_landmarks_on_the_way_up_are_counted(start: str, to: str, passed: int) -> None:
    assert len(landmarks_up(LADDER, start, to)) == passed


def test_a_gate_that_this_would_open_is_named(world: World) -> None:
    gated = next(rung.key for rung in LADDER.rungs if rung.gate == "single_leg")
    page = world.signed_in().page(page_of(world, more=f"/override?rung_key={gated}"))
    assert "This opens the gate single leg" in page


def test_a_rung_that_is_not_on_the_ladder_is_refused(world: World) -> None:
    browser = world.signed_in()
    page = browser.page(page_of(world, more="/override?rung_key=firm/parallel/o999/hover"))
    refused = browser.post(
        page_of(world, more="/override"), rung_key="firm/parallel/o999/hover", reason="x",
        version=version_of(page),
    )  # fmt: skip
    assert refused.status_code == 400
    assert world.rung_of("ada") == LOWEST


def test_a_resting_client_is_not_placed_higher(world: World) -> None:
    world.reply("ada", "I fell")
    browser = world.signed_in()
    to = LADDER.rungs[1].key
    page = browser.page(page_of(world, more=f"/override?rung_key={to}"))
    refused = browser.post(
        page_of(world, more="/override"), rung_key=to, reason="Fine again", version=version_of(page)
    )
    assert refused.status_code == 400
    assert "at most where they were" in refused.text


# --- the practice phone ----------------------------------------------------------------------


def answer_form(page: str) -> dict[str, str]:
    form = page[page.index('action="/in/handset"') :]
    return dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form))


def test_what_is_typed_goes_the_way_of_a_real_reply(world: World) -> None:
    world.pass_time(hours=2)
    browser = world.signed_in()
    page = browser.page(f"/phone?client={world.clients['ada']}")
    assert "Feet side by side" in page
    form = answer_form(page)
    assert form["token"] == TOKEN
    back = browser.browser.post("/in/handset", data={**form, "text": "20 steady"})
    assert (back.status_code, back.headers["location"]) == (303, form["back"])
    world.tick()
    assert world.moves("ada")[-1].rule == "gathering"
    assert "20 seconds, steady" in browser.page(form["back"])


def test_a_double_press_sends_one_text(world: World) -> None:
    world.pass_time(hours=2)
    browser = world.signed_in()
    form = answer_form(browser.page(f"/phone?client={world.clients['ada']}"))
    for _ in range(2):
        browser.browser.post("/in/handset", data={**form, "text": "20 steady"})
    assert len([m for m in world.moves("ada") if m.report_id]) == 1


@pytest.mark.parametrize("back", ["https://example.net", "//example.net", "/clients", "/phone?x=1"])
def test_the_phone_leads_nowhere_but_back_to_itself(world: World, back: str) -> None:
    browser = world.signed_in()
    form = answer_form(browser.page("/phone"))
    answer = browser.browser.post("/in/handset", data={**form, "text": "20", "back": back})
    assert answer.status_code == 200
    assert "location" not in answer.headers


def test_a_real_practice_has_no_practice_phone(world: World) -> None:
    with world.store.write() as session:
        session.get_one(Practice, 1).carrier = "kannel"
    browser = world.signed_in()
    assert browser.get("/phone").status_code == 404
    assert "Practice phone" not in browser.page("/")


def test_only_a_demos_clock_moves(world: World, tmp_path) -> None:
    refused = world.signed_in().post("/demo/forward", seconds=3600)
    assert refused.status_code == 400
    assert "clients are real" in refused.text
    (tmp_path / "demo").mkdir()
    demo = make_world(tmp_path / "demo", is_demo=True)
    before = demo.clock.now()
    browser = demo.signed_in()
    assert "Move the demo" in browser.page("/phone")
    moved = browser.post("/demo/forward", seconds=86_400, client=demo.clients["ada"])
    assert moved.status_code == 303
    assert demo.clock.now() - before >= timedelta(days=1)
    assert demo.sent("ada", "prompt")
    assert browser.post("/demo/forward", seconds=0).status_code == 400
    demo.store.close()
