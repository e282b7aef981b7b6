"""A client's facts changed by a program: every one of them, with what follows looked at first."""

import pytest
from api_calls import Program, program
from editing import CHANGES, NEW, SECOND, add_second_number, days_go_by, differences, stored
from test_api import ok, problem
from web_world import World

from rungwise.coach.enrolment.facts import FACTS


def look(asking: Program, client_id: int, **fields: str) -> dict:
    return ok(asking.post(f"/clients/{client_id}/preview", fields=fields))


def patch(asking: Program, client_id: int, seen: dict, key: str = "a-key-of-ours", **fields: str):
    body = {"fields": fields, "version": seen["version"], "seen": seen["seen"]}
    headers = {"Idempotency-Key": key}
    return asking.ask("PATCH", f"/clients/{client_id}", json=body, headers=headers)


@pytest.mark.parametrize("fact", CHANGES)
def test_a_fact_is_changed_and_the_next_text_follows(world: World, fact: str) -> None:
    add_second_number(world)
    asking, ada, given = program(world, "lena"), world.clients["ada"], CHANGES[fact]
    before = ok(asking.get(f"/clients/{ada}/facts"))
    assert before["fields"] == stored(world)
    seen = look(asking, ada, **given)
    assert stored(world) == before["fields"], "nothing is stored before it was looked at"
    assert seen["changed"] == {name: [before["fields"][name], given[name]] for name in given}
    assert ok(patch(asking, ada, seen, **given))["version"] > before["version"]
    assert {**before["fields"], **given} == stored(world)
    coming = [text["body"] for text in seen["texts"] if text["when"] == "the next day's text"]
    days_go_by(world, coming[0] if coming else None)


def test_a_new_phone_is_asked_through_a_program_too(world: World) -> None:
    asking, ada = program(world), world.clients["ada"]
    seen = look(asking, ada, phone="303 555 0142")
    assert f"{NEW} is asked first." in seen["follows"][0]
    assert [text["to_phone"] for text in seen["texts"]] == [NEW]
    assert ok(patch(asking, ada, seen, phone="303 555 0142"))["phone"] == "+12025550200"
    assert differences(world) == []


def test_what_was_not_looked_at_or_is_stale_is_refused(world: World) -> None:
    asking, ada = program(world), world.clients["ada"]
    seen = look(asking, ada, name="Ada Other")
    problem(patch(asking, ada, seen, name="Ada Another"), 409, "looked-at-other")
    found = problem(patch(asking, ada, seen, name=""), 409, "looked-at-other")
    assert found["errors"] == [{"field": "name", "message": "Fill in their name."}]
    world.signed_in().post(f"/clients/{ada}/pause", version=1)
    problem(patch(asking, ada, seen, name="Ada Other"), 409, "edited-meanwhile")
    assert world.client("ada").name == "Ada Sample"
    seen = look(asking, ada, name="Ada Other")
    assert ok(patch(asking, ada, seen, name="Ada Other"))["name"] == "Ada Other"
    again = patch(asking, ada, seen, name="Ada Other")
    assert again.headers["Idempotency-Replayed"] == "true"


def test_problems_stand_in_the_preview_and_unknown_facts_are_refused(world: World) -> None:
    asking, ada = program(world), world.clients["ada"]
    seen = look(asking, ada, foot_length_cm="99", time_zone="Moon/Base")
    assert set(seen["problems"]) == {"foot_length_cm", "time_zone"}
    assert (seen["seen"], seen["changed"]) == (None, {})
    answer = asking.post(f"/clients/{ada}/preview", fields={"feet": "measured"})
    assert problem(answer, 422, "impossible-value")["errors"][0]["field"] == "feet"


def test_only_with_the_scope_and_only_ones_own(world: World) -> None:
    reads = program(world, "tess", ["clients:read"])
    ada, cy = world.clients["ada"], world.clients["cy"]
    assert set(ok(reads.get(f"/clients/{ada}/facts"))["fields"]) == set(FACTS)
    problem(reads.post(f"/clients/{ada}/preview", fields={}), 403, "scope-missing")
    seen = {"version": 1, "seen": "x"}
    problem(patch(reads, ada, seen, name="X"), 403, "scope-missing")
    writes = program(world, "tess", ["clients:write"])
    problem(writes.post(f"/clients/{cy}/preview", fields={}), 404, "not-found")
    problem(patch(writes, cy, seen, name="X"), 404, "not-found")
    assert SECOND not in stored(world).values()
