"""The main job through HTTP alone, with time under the test's control.

Texts go out at the client's hour, answers come in by the carrier's callback, and the trainer reads
and acts on the pages.
"""

import re

from screened import UNHURT_FORM
from web_world import TOKEN, World

HANDSET = {"X-Handset-Token": TOKEN}


def text_in(world: World, who: str, words: str, token: str = TOKEN) -> int:
    answer = world.browser().post(
        "/in/handset",
        data={"from": world.client(who).phone, "to": "+12025550100", "text": words},
        headers={"X-Handset-Token": token},
    )
    world.tick()
    return answer.status_code


def test_a_week_of_the_main_job(world: World) -> None:
    trainer = world.signed_in("tess")
    client = f"/clients/{world.clients['ada']}"

    # The text goes out at the client's hour and not before.
    world.pass_time(minutes=30)
    assert world.sent("ada", "prompt") == []
    world.pass_time(minutes=30)
    first = world.sent("ada", "prompt")[0]
    assert first.body in trainer.page(client).replace("&#39;", "'")

    # Two steady days, in the client's own words, and the ladder moves with a reason.
    below = world.rung_of("ada")
    assert text_in(world, "ada", "Did 20 seconds, steady as a rock") == 200
    world.pass_time(days=1)
    text_in(world, "ada", "twenty secs steady again")
    assert world.rung_of("ada") != below
    up = world.moves("ada")[-1]
    # A browser is signed out after half a day.
    assert trainer.get(client).status_code == 303
    trainer = world.signed_in("tess")
    assert up.because in trainer.page(client)
    world.pass_time(days=1)
    assert world.sent("ada", "prompt")[-1].rung_key == up.to_key

    # A wobbly day is answered and moves nothing by itself.
    text_in(world, "ada", "14 and wobbly")
    assert world.rung_of("ada") == up.to_key

    # A fall is in front of the trainer at once, and no text asks for practice any more.
    world.pass_time(days=1)
    text_in(world, "ada", "fell in the kitchen")
    trainer = world.signed_in("tess")
    inbox = trainer.page("/")
    assert "Fell" in inbox or "fell" in inbox
    assert "Ada Sample" in inbox
    assert "911" in world.sent("ada", "safety")[0].body
    prompts = len(world.sent("ada", "prompt"))
    world.pass_time(days=2)
    assert len(world.sent("ada", "prompt")) == prompts

    # The trainer handles it and says where the client resumes.
    text_in(world, "ada", "No, not hurt")
    trainer = world.signed_in("tess")
    fall = world.alerts("ada", "new") + world.alerts("ada", "seen")
    page = trainer.page(f"/alerts/{fall[0].id}")
    resume = re.search(r'<option value="(firm[^"]+)"', page) or re.search(
        r'name="resume_key"[^>]*value="(firm[^"]+)"', page
    )
    assert resume, page
    for alert in fall:
        answer = trainer.post(
            f"/alerts/{alert.id}/handle",
            what_done="Phoned, not hurt",
            resume_key=below,
            **UNHURT_FORM,
        )
        assert answer.status_code == 303, answer.text
    assert world.client("ada").state == "active"

    # An override in the form, with a reason, is followed by the right text.
    form = trainer.page(f"{client}/override")
    version = re.search(r'name="version" value="(\d+)"', form)
    assert version, form
    chosen = up.to_key
    answer = trainer.post(
        f"{client}/override",
        rung_key=chosen,
        reason="Steady at my visit",
        version=version[1],
        step="place",
    )
    assert answer.status_code == 303, answer.text
    world.pass_time(days=1)
    assert world.sent("ada", "prompt")[-1].rung_key == chosen

    # STOP ends texts at once.
    text_in(world, "ada", "STOP")
    sent = len(world.sent("ada"))
    world.pass_time(days=3)
    assert len(world.sent("ada")) == sent


def test_a_text_with_a_wrong_token_is_refused_and_not_stored(world: World) -> None:
    assert text_in(world, "ada", "fell", token="a-guess-at-the-token") == 403
    assert world.alerts("ada") == []


def test_a_text_larger_than_any_is_refused(world: World) -> None:
    assert text_in(world, "ada", "x" * 70_000) == 413


def test_an_unknown_carrier_has_no_callback(world: World) -> None:
    assert world.browser().post("/in/pigeon", data={}).status_code == 404
