"""The lead's page of tokens and webhooks: made, shown once, used, revoked, tried and ended."""

import re
from dataclasses import replace

import pytest
from api_calls import Program
from sqlmodel import col, select
from web_world import World

from rungwise.app import create_app
from rungwise.carriers.hooks import HookAnswer, HookCall
from rungwise.meters import Meters
from rungwise.store.tables import ApiToken, Audit, Practice, Webhook, WebhookCall
from rungwise.ticks.webhooks import webhook_tick

PAGE = "/practice/programs"
FORM = {"name": "Records", "trainer_id": 1, "scopes": ["clients:read"], "lasts_days": 90}
HOOK = "https://1.2.3.4/alerts"  # kept, and never called: tests are refused every other machine


def shown(text: str, field: str) -> str:
    (value,) = re.findall(rf'<input id="{field}"[^>]* value="([^"]*)"', text)
    return value


def test_a_token_is_shown_once_works_and_is_revoked(world: World) -> None:
    lead = world.signed_in("lena")
    made = lead.post(f"{PAGE}/tokens", **FORM)
    token = shown(made.text, "token")
    assert token.startswith("rungwise_")
    assert made.headers["cache-control"] == "no-store"
    page = lead.page(PAGE)
    assert token not in page
    assert "Records" in page
    assert "Tess Example" in page
    assert "never" in page
    program = Program(world, token)
    assert program.get("/clients").status_code == 200
    assert program.get("/alerts").status_code == 403
    assert ">never<" not in lead.page(PAGE)
    with world.store.read() as session:
        row = session.exec(select(ApiToken)).one()
    assert lead.post(f"{PAGE}/tokens/{row.id}/revoke").headers["location"] == PAGE
    assert program.get("/clients").status_code == 401
    assert "Records, revoked" in lead.page(PAGE)
    assert lead.post(f"{PAGE}/tokens/{row.id}/revoke").status_code == 404
    with world.store.read() as session:
        rows = select(Audit).where(Audit.trainer_id == world.trainers["lena"])
        lines = session.exec(rows.order_by(col(Audit.id))).all()
    assert [line.action for line in lines][-2:] == ["token made", "token revoked"]


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"name": " "}, "name is"),
        ({"scopes": []}, "scopes is"),
        ({"scopes": ["everything"]}, "scopes is"),
        ({"trainer_id": 99}, "trainer is"),
        ({"lasts_days": 9999}, "days is"),
    ],
)
def test_a_token_that_cannot_be_is_refused_and_what_was_filled_in_stays(
    calm: World, wrong: dict, told: str
) -> None:
    answer = calm.signed_in("lena").post(f"{PAGE}/tokens", **{**FORM, **wrong})
    assert answer.status_code == 400
    assert told in answer.text
    assert 'id="token"' not in answer.text
    if "name" not in wrong:
        assert 'name="name" required maxlength="80" autocomplete="off" value="Records"' in (
            answer.text
        )


def test_trainers_see_neither_the_page_nor_what_it_does(world: World) -> None:
    lead, tess = world.signed_in("lena"), world.signed_in("tess")
    lead.post(f"{PAGE}/tokens", **FORM)
    lead.post(f"{PAGE}/webhooks", hook_address=HOOK)
    assert tess.get(PAGE).status_code == 400
    assert "Other programs" not in tess.page("/practice")
    for path, form in (("tokens", FORM), ("webhooks", {"hook_address": HOOK})):
        answer = tess.post(f"{PAGE}/{path}", **form)
        assert answer.status_code == 400, path
        assert "Only the practice lead" in answer.text
    for path in ("tokens/1/revoke", "webhooks/1/try", "webhooks/1/end"):
        assert tess.post(f"{PAGE}/{path}").status_code == 404, path
    with world.store.read() as session:
        (token,) = session.exec(select(ApiToken)).all()
        (hook,) = session.exec(select(Webhook)).all()
        assert session.exec(select(WebhookCall)).all() == []
    assert (token.revoked_at, hook.ended_at) == (None, None)


def test_another_practices_lead_cannot_touch_them(world: World) -> None:
    lead = world.signed_in("lena")
    lead.post(f"{PAGE}/tokens", **FORM)
    lead.post(f"{PAGE}/webhooks", hook_address=HOOK)
    with world.store.write() as session:
        for row in (*session.exec(select(ApiToken)).all(), *session.exec(select(Webhook)).all()):
            row.practice_id = _another_practice(session)
            session.add(row)
    page = lead.page(PAGE)
    assert "Records" not in page
    assert "1.2.3.4" not in page
    for path in ("tokens/1/revoke", "webhooks/1/try", "webhooks/1/end"):
        assert lead.post(f"{PAGE}/{path}").status_code == 404, path


def _another_practice(session) -> int:
    other = session.exec(select(Practice).where(Practice.id != 1)).first()
    if other is None:
        mine = session.get_one(Practice, 1)
        other = Practice(name="Other", phone="+12025550188", created_at=mine.created_at)
        session.add(other)
        session.flush()
    return other.id


def test_a_webhook_is_made_tried_told_and_ended(world: World) -> None:
    lead = world.signed_in("lena")
    made = lead.post(f"{PAGE}/webhooks", hook_address=HOOK, urgent_only="true")
    secret = shown(made.text, "secret")
    assert secret.startswith("whsec_")
    page = lead.page(PAGE)
    assert secret not in page
    assert f"{HOOK}, urgent alerts only" in page
    lead.post(f"{PAGE}/webhooks/1/try")
    world.reply("ada", "I fell in the kitchen")
    called: list[HookCall] = []

    def answer(call: HookCall) -> HookAnswer:
        called.append(call)
        return HookAnswer() if len(called) == 1 else HookAnswer("It answered 503.")

    webhook_tick(world.store, world.clock, answer, Meters())
    assert {call.secret for call in called} == {secret}
    page = lead.page(PAGE)
    assert "taken" in page
    assert "alert opened" in page
    assert "It answered 503." in page
    assert "kitchen" not in page
    assert lead.post(f"{PAGE}/webhooks/1/end").headers["location"] == PAGE
    page = lead.page(PAGE)
    assert "given up" in page
    assert "urgent alerts only" not in page
    with world.store.read() as session:
        actions = [line.action for line in session.exec(select(Audit).order_by(Audit.id)).all()]
    assert [action for action in actions if "webhook" in action] == [
        "webhook made",
        "webhook tried",
        "webhook ended",
    ]


@pytest.mark.parametrize(
    "address", ["http://1.2.3.4/", "https://127.0.0.1/", "https://localhost:8780/", "nonsense", ""]
)
def test_a_webhook_into_a_private_network_or_in_clear_is_refused(calm: World, address: str) -> None:
    answer = calm.signed_in("lena").post(f"{PAGE}/webhooks", hook_address=address)
    assert answer.status_code == 400
    assert "address is" in answer.text
    assert "whsec_" not in answer.text


def test_a_setting_allows_private_addresses_for_rehearsals(world: World) -> None:
    settings = world.parts.settings.model_copy(update={"webhook_private": True})
    world.parts = replace(world.parts, settings=settings)
    world.app = create_app(parts=world.parts)
    answer = world.signed_in("lena").post(f"{PAGE}/webhooks", hook_address="http://127.0.0.1:9/x")
    assert shown(answer.text, "secret").startswith("whsec_")


def test_the_description_is_for_whoever_is_signed_in(calm: World) -> None:
    signed_out = calm.browser().get(f"{PAGE}/openapi.json")
    assert signed_out.headers["location"].startswith("/sign-in")
    tess = calm.signed_in("tess")
    described = tess.get(f"{PAGE}/openapi.json").json()
    assert tess.get(f"{PAGE}/openapi.json").json() == described, "the same however often"
    assert described["openapi"].startswith("3.1")
    assert "/clients/{client_id}/override" in described["paths"]
    for path in ("/openapi.json", "/api/v1/openapi.json", "/docs", "/api/v1/docs"):
        assert calm.browser().get(path).status_code in (401, 404), path
