"""What a changed plan leads to, seen before it is stored, on the page and by the API."""

import pytest
from api_calls import program
from test_api import ok, problem
from test_web_plan import address, form_of, save, situation_of
from web_world import World

from rungwise.ladder import Support


def test_the_next_text_is_seen_first_and_then_sent(world: World) -> None:
    browser = world.signed_in()
    seen = save(world, browser, sets=3, target_s=15, step="look")
    assert seen.status_code == 200
    assert situation_of(world).settings.sets == 1, "nothing is stored by looking"
    assert "Holds a day: 1, then 3." in seen.text
    assert "Hold 15 seconds, 3 times" in seen.text
    assert 'value="3" selected' in seen.text
    save(world, browser, sets=3, target_s=15)
    assert situation_of(world).settings.sets == 3
    world.pass_time(hours=6)
    told = world.sent("ada", "prompt")[-1].body
    assert "Hold 15 seconds, 3 times" in told
    assert told in seen.text.replace("&#39;", "'")
    assert "15 s, 3 times a day" in browser.page(address(world))


def test_looking_refuses_what_saving_would(world: World) -> None:
    browser = world.signed_in()
    for changed in ({"sets": 4}, {"sets": 0}, {"target_s": 31}, {"weekdays": []}):
        assert save(world, browser, **changed, step="look").status_code == 400
    assert "Nothing is changed" in save(world, browser, step="look").text


def test_the_plan_page_tells_tape_and_mat_and_leads_to_them(world: World) -> None:
    page = world.signed_in().page(address(world, "/plan"))
    assert "No tape lies on the floor." in page
    assert f'{address(world, "/facts")}#part-home"' in page


def test_a_program_sees_what_follows_and_changes_the_plan(world: World) -> None:
    asking, ada = program(world), world.clients["ada"]
    before = ok(asking.get(f"/clients/{ada}"))
    seen = ok(asking.post(f"/clients/{ada}/plan/preview", sets=2, prompt_at="10:30"))
    assert seen["changed"] == {"prompt_at": ["09:00", "10:30"], "sets": [1, 2]}
    assert "2 times" in seen["text"]
    assert ok(asking.get(f"/clients/{ada}")) == before
    given = {"version": seen["version"], "plan": {"sets": 2, "prompt_at": "10:30"}}
    headers = {"Idempotency-Key": "a-key-of-ours"}
    done = ok(asking.ask("PATCH", f"/clients/{ada}/plan", json=given, headers=headers))
    assert done["plan"] == {**before["plan"], "sets": 2, "prompt_at": "10:30"}
    assert done["rung"] == before["rung"], "a plan moves nobody"
    stale = {"Idempotency-Key": "another-key"}
    answer = asking.ask("PATCH", f"/clients/{ada}/plan", json=given, headers=stale)
    problem(answer, 409, "edited-meanwhile")


@pytest.mark.parametrize(
    ("plan", "field"),
    [
        ({"sets": 4}, "sets"),
        ({"target_s": 31}, "target_s"),
        ({"prompt_at": "23:00"}, "prompt hour"),
        ({"ceiling_key": "firm/parallel/o999/hover"}, "ceiling"),
        ({"open_gates": ["the_garden"]}, "gate"),
        ({"rule_version": 7}, "rule"),
    ],
)
def test_a_program_cannot_plan_what_cannot_be(world: World, plan: dict, field: str) -> None:
    asking, ada = program(world), world.clients["ada"]
    answer = asking.post(f"/clients/{ada}/plan/preview", **plan)
    assert field in problem(answer, 422, "impossible-value")["errors"][0]["field"]


def test_only_with_the_scope_and_only_ones_own(world: World) -> None:
    ada, cy = world.clients["ada"], world.clients["cy"]
    reads = program(world, "tess", ["clients:read"])
    problem(reads.post(f"/clients/{ada}/plan/preview", sets=2), 403, "scope-missing")
    writes = program(world, "tess", ["plans:write"])
    problem(writes.post(f"/clients/{cy}/plan/preview", sets=2), 404, "not-found")


def test_both_hands_stay_on_whatever_is_told_or_placed(world: World) -> None:
    asking, ada = program(world), world.clients["ada"]
    seen = ok(asking.post(f"/clients/{ada}/preview", fields={"two_hands": "yes"}))
    given = {"fields": {"two_hands": "yes"}, "version": seen["version"], "seen": seen["seen"]}
    headers = {"Idempotency-Key": "a-key-of-ours"}
    ok(asking.ask("PATCH", f"/clients/{ada}", json=given, headers=headers))
    browser = world.signed_in()
    assert "both hands stay on the counter" in browser.page(address(world))
    world.pass_time(hours=6)
    for words in ("20 steady", "easier please", "20 steady", "too easy", "20 steady"):
        world.reply("ada", words)
        assert situation_of(world).rung.support is Support.TWO_HANDS
        world.pass_time(days=1)
    asked = [text.body for text in world.sent("ada") if "Hold " in text.body]
    assert len(asked) > 3
    assert all("Both hands on the counter" in text for text in asked)
    form = form_of(world, browser)
    hover = {"version": form["version"], "rung_key": "firm/parallel/o177/hover", "reason": "Try"}
    assert browser.post(address(world, "/override"), **hover).status_code == 400
