"""The JSON API: the same actions as the pages, for whoever has a token, and nothing more."""

import json
from datetime import timedelta

import pytest
from api_calls import EVERYTHING, program, token_for
from screened import harmless, unhurt
from sqlmodel import col, select
from web_world import World, make_world

from rungwise.app import create_app
from rungwise.coach.accounts.api_tokens import NewToken, make_token, revoke_token, tokens_of
from rungwise.coach.record.access import OnlyTheLead
from rungwise.errors import ImpossibleValue
from rungwise.parts import Parts
from rungwise.store.tables import ApiAct, ApiToken, Audit, Client, Message, Trainer
from rungwise.ticks.webhooks import forget_tick
from rungwise.web.api.limits import Limits
from rungwise.web.api.pagination import cursor_of

INTAKE = {
    **harmless(),
    "name": "Dee Example",
    "called": "Dee",
    "phone": "+12025550209",
    "time_zone": "America/New_York",
    "sex": "female",
    "height_cm": "163",
    "agreed": "yes",
}


def problem(answer, status: int, kind: str) -> dict:
    """The problem that was answered, of this status and kind."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    found = answer.json()
    assert found["type"] == f"/api/v1/problems/{kind}", found
    assert found["status"] == status
    assert found["detail"].endswith((".", "them.")), found
    return found


def ok(answer, status: int = 200):
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/json"
    return answer.json()


# --- tokens ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "header", [None, "Bearer", "Bearer made-up", "Basic dGVzczp4", "Bearer \x7f"]
)
def test_without_a_token_that_works_there_is_nothing(calm: World, header: str | None) -> None:
    headers = {"Authorization": header} if header else {}
    answer = calm.browser().get("/api/v1/clients", headers=headers)
    problem(answer, 401, "no-token")
    assert answer.headers["WWW-Authenticate"] == "Bearer"


def test_a_signed_in_browser_is_no_token(calm: World) -> None:
    problem(calm.signed_in("lena").get("/api/v1/clients"), 401, "no-token")


def test_only_a_hash_of_the_token_is_kept(world: World) -> None:
    token = token_for(world, "tess")
    with world.store.read() as session:
        row = session.exec(select(ApiToken)).one()
        assert token not in json.dumps(row.model_dump(mode="json"))
        lines = session.exec(select(Audit).where(Audit.action == "token made")).all()
    assert [line.detail["token"] for line in lines] == [row.id]
    assert token not in json.dumps([line.detail for line in lines])


def test_a_token_ends_when_revoked_expired_or_its_trainer_may_not_sign_in(world: World) -> None:
    tess = program(world)
    ok(tess.get("/token"))
    with world.store.write() as session:
        session.get_one(Trainer, world.trainers["tess"]).active = False
    problem(tess.get("/token"), 401, "no-token")
    with world.store.write() as session:
        session.get_one(Trainer, world.trainers["tess"]).active = True
        lead = session.get_one(Trainer, world.trainers["lena"])
        (row,) = tokens_of(session, lead.practice_id)
        revoke_token(session, world.clock.now(), lead, row.id)
    problem(tess.get("/token"), 401, "no-token")
    later = program(world)
    world.clock.advance(timedelta(days=30))
    problem(later.get("/token"), 401, "no-token")


def test_its_last_use_is_noted_once_a_minute(world: World) -> None:
    tess = program(world)

    def last_used():
        with world.store.read() as session:
            return session.exec(select(ApiToken.last_used_at)).one()

    assert last_used() is None
    ok(tess.get("/token"))
    first = world.clock.now()
    assert last_used() == first
    world.clock.advance(timedelta(seconds=30))
    ok(tess.get("/token"))
    assert last_used() == first
    world.clock.advance(timedelta(seconds=31))
    ok(tess.get("/token"))
    assert last_used() == first + timedelta(seconds=61)


def test_a_use_that_cannot_be_noted_keeps_nobody_from_reading(world: World) -> None:
    world.reply("ada", "I fell in the kitchen")
    tess, browser = program(world), world.signed_in("tess")
    with world.store.engine.begin() as connection:
        for table in ("api_token", "sign_in"):
            connection.exec_driver_sql(
                f"CREATE TRIGGER full_{table} BEFORE UPDATE ON {table} "
                "BEGIN SELECT RAISE(FAIL, 'database or disk is full'); END"
            )
    world.clock.advance(timedelta(minutes=2))
    kinds = [one["kind"] for one in ok(tess.get("/alerts", urgency="urgent"))["items"]]
    assert "fall" in kinds
    assert "kitchen" in browser.page("/")
    with world.store.read() as session:
        assert session.exec(select(ApiToken.last_used_at)).one() is None


def test_only_the_lead_makes_tokens_and_only_of_what_there_is(world: World) -> None:
    with world.store.write() as session:
        now = world.clock.now()
        tess = session.get_one(Trainer, world.trainers["tess"])
        lena = session.get_one(Trainer, world.trainers["lena"])
        good = NewToken("Records", tess.id, ["clients:read"], 30)
        with pytest.raises(OnlyTheLead):
            make_token(session, now, tess, good)
        for bad in (
            NewToken("", tess.id, ["clients:read"], 30),
            NewToken("Records", 99, ["clients:read"], 30),
            NewToken("Records", tess.id, [], 30),
            NewToken("Records", tess.id, ["clients:read", "everything"], 30),
            NewToken("Records", tess.id, ["clients:read"], 3650),
        ):
            with pytest.raises(ImpossibleValue):
                make_token(session, now, lena, bad)
        assert list(tokens_of(session, lena.practice_id)) == []


CALLS = [
    ("GET", "/clients", "clients:read"),
    ("GET", "/clients/1", "clients:read"),
    ("GET", "/clients/1/ladder", "clients:read"),
    ("POST", "/clients/preview", "clients:write"),
    ("POST", "/clients", "clients:write"),
    ("GET", "/clients/1/reports", "reports:read"),
    ("POST", "/clients/1/days", "reports:write"),
    ("POST", "/clients/1/messages/1/reading", "reports:write"),
    ("GET", "/reports", "reports:read"),
    ("GET", "/clients/1/messages", "messages:read"),
    ("POST", "/clients/1/messages", "messages:write"),
    ("POST", "/clients/1/override", "overrides:write"),
    ("POST", "/clients/1/pause", "plans:write"),
    ("POST", "/clients/1/resume", "plans:write"),
    ("POST", "/clients/1/usual-pain", "plans:write"),
    ("GET", "/alerts", "alerts:read"),
    ("GET", "/alerts/1", "alerts:read"),
    ("POST", "/alerts/1/handle", "alerts:write"),
]


def test_each_scope_opens_its_own_calls_and_no_others(calm: World) -> None:
    for scope in EVERYTHING:
        one = program(calm, "tess", [scope])
        for method, path, needed in CALLS:
            answer = one.ask(method, path)
            lacks = answer.status_code == 403
            assert lacks == (scope != needed), (scope, method, path, answer.text)
            if lacks:
                assert needed in problem(answer, 403, "scope-missing")["detail"]


def test_a_token_sees_what_its_trainer_sees(world: World) -> None:
    world.reply("cy", "20 steady but my knee hurts")
    (theirs,) = world.alerts("cy")
    tess, omar, lena = (program(world, who) for who in ("tess", "omar", "lena"))
    named = [
        [one["called"] for one in ok(each.get("/clients"))["items"]] for each in (tess, omar, lena)
    ]
    assert named == [["Ada", "Bo"], ["Cy"], ["Ada", "Bo", "Cy"]]
    assert [len(ok(each.get("/alerts"))["items"]) for each in (tess, omar, lena)] == [0, 1, 1]
    cy = world.clients["cy"]
    version = {"version": world.client("cy").version}
    for answer in (
        tess.get(f"/clients/{cy}"),
        tess.get(f"/clients/{cy}/ladder"),
        tess.get(f"/clients/{cy}/reports"),
        tess.get(f"/clients/{cy}/messages"),
        tess.post(f"/clients/{cy}/messages", body="Hello"),
        tess.post(f"/clients/{cy}/override", rung_key="x", reason="x", **version),
        tess.post(f"/clients/{cy}/pause", **version),
        tess.get(f"/alerts/{theirs.id}"),
        tess.post(f"/alerts/{theirs.id}/handle", what_done="Phoned"),
        tess.get("/clients/999"),
    ):
        assert "Cy" not in answer.text
        problem(answer, 404, "not-found")
    assert [alert.state for alert in world.alerts("cy")] == ["new"]


def test_a_token_tells_what_it_may(calm: World) -> None:
    told = ok(program(calm, "omar", ["alerts:read"]).get("/token"))
    assert told["scopes"] == ["alerts:read"]
    assert (told["name"], told["practice"]) == ("Records", "Harbour Balance")
    assert told["whole_practice"] is False


# --- reading --------------------------------------------------------------------------------------


def test_going_through_clients_misses_none_and_doubles_none(calm: World) -> None:
    lena = program(calm, "lena")
    seen, cursor = [], ""
    for _ in range(5):
        page = ok(lena.get("/clients", limit=1, cursor=cursor))
        seen += [one["id"] for one in page["items"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert seen == sorted(calm.clients.values())
    assert ok(lena.get("/clients", state="paused"))["items"] == []
    assert len(ok(lena.get("/clients", state="active"))["items"]) == 3


@pytest.mark.parametrize("cursor", ["x", "5", "after-0", "after-05", cursor_of(5) + " ", "é"])
def test_a_cursor_that_is_none_is_refused(calm: World, cursor: str) -> None:
    found = problem(program(calm).get("/clients", cursor=cursor), 422, "impossible-value")
    assert found["errors"][0]["field"] == "cursor"


def test_one_client_has_rung_plan_and_version(calm: World) -> None:
    told = ok(program(calm).get(f"/clients/{calm.clients['ada']}"))
    assert told["rung"]["key"] == calm.rung_of("ada")
    assert told["plan"]["prompt_at"] == "09:00"
    assert told["plan"]["target_s"] == 20
    assert told["version"] == calm.client("ada").version
    assert told["next_text_at"] is not None
    rungs = ok(program(calm).get(f"/clients/{calm.clients['ada']}/ladder"))
    assert rungs[0]["key"] == told["rung"]["key"]


def test_reports_and_texts_come_latest_first(world: World) -> None:
    world.pass_time(hours=2)
    for words in ("20 steady", "14 wobbly"):
        world.reply("ada", words)
        world.pass_time(days=1)
    ada = f"/clients/{world.clients['ada']}"
    tess = program(world)
    reports = ok(tess.get(f"{ada}/reports"))["items"]
    assert [one["steadiness"] for one in reports] == ["wobbly", "steady"]
    assert reports[1]["holds"] == [{"side": None, "seconds": 20.0}]
    assert reports[1]["move"]["kind"] == "stay"
    assert reports[1]["move"]["because"]
    texts, cursor = [], ""
    while cursor is not None:
        page = ok(tess.get(f"{ada}/messages", limit=2, cursor=cursor))
        texts += page["items"]
        cursor = page["next"]
    ids = [text["id"] for text in texts]
    assert ids == sorted(ids, reverse=True)
    with world.store.read() as session:
        rows = session.exec(select(Message).where(Message.client_id == world.clients["ada"])).all()
    assert sorted(ids) == sorted(row.id for row in rows)
    assert "14 wobbly" in [text["body"] for text in texts]


def test_reading_an_alert_does_not_stop_the_paging(world: World) -> None:
    world.reply("ada", "I fell in the kitchen")
    tess = program(world)
    listed = ok(tess.get("/alerts", urgency="urgent"))["items"]
    (fall,) = [one for one in listed if one["kind"] == "fall"]
    assert [said["body"] for said in fall["said"]] == ["I fell in the kitchen"]
    one = ok(tess.get(f"/alerts/{fall['id']}"))
    assert (one["state"], one["seen_at"]) == ("new", None)
    assert ok(tess.get("/alerts", kind="pain"))["items"] == []
    assert ok(tess.get("/alerts", state="handled"))["items"] == []


def test_a_misspelt_question_is_refused(calm: World) -> None:
    tess = program(calm)
    for path in ("/clients", "/token", f"/clients/{calm.clients['ada']}"):
        answer = tess.get(path, curser="x")
        assert problem(answer, 422, "impossible-value")["errors"][0]["field"] == "curser"


# --- doing ----------------------------------------------------------------------------------------


def test_a_client_is_added_only_as_it_was_looked_at(world: World) -> None:
    tess = program(world)
    looked = ok(tess.post("/clients/preview", fields=INTAKE))
    assert (looked["outcome"], looked["begins"]) == ("start", False)
    assert looked["waits_for"]
    assert looked["first_text"].startswith("Hello Dee, this is Harbour Balance.")
    with world.store.read() as session:
        assert len(session.exec(select(Client)).all()) == 3
    other = {**INTAKE, "phone": "+12025550208"}
    problem(tess.post("/clients", fields=other, seen=looked["seen"]), 409, "looked-at-other")
    answer = tess.post("/clients", fields=INTAKE, seen=looked["seen"])
    added = ok(answer, 201)
    assert (added["name"], added["trainer_id"]) == ("Dee Example", world.trainers["tess"])
    assert ok(tess.get(f"/clients/{added['id']}"))["phone"] == "+12025550209"
    again = tess.post("/clients", fields=INTAKE, seen=looked["seen"])
    assert problem(again, 422, "impossible-value")["errors"][0]["field"] == "phone"


def test_what_is_wrong_with_a_form_is_told_field_by_field(calm: World) -> None:
    tess = program(calm)
    answer = tess.post("/clients/preview", fields={**INTAKE, "phone": "12", "height_cm": "7"})
    found = ok(answer)
    assert found["problems"].keys() >= {"phone", "height_cm"}
    assert found["seen"] is None
    answer = tess.post("/clients/preview", fields={**INTAKE, "shoe": "7"})
    assert problem(answer, 422, "impossible-value")["errors"][0]["field"] == "shoe"


def test_a_text_is_written_once_under_one_key(world: World) -> None:
    tess = program(world)
    ada = f"/clients/{world.clients['ada']}/messages"
    first = tess.post(ada, key="visit-2026-03-02", body="See you at three.")
    assert ok(first, 201)["kind"] == "own"
    again = tess.post(ada, key="visit-2026-03-02", body="See you at three.")
    assert ok(again, 201) == first.json()
    assert again.headers["Idempotency-Replayed"] == "true"
    assert "Idempotency-Replayed" not in first.headers
    other = tess.post(ada, key="visit-2026-03-02", body="See you at four.")
    problem(other, 409, "key-reused")
    # Another token's key is another key.
    ok(program(world).post(ada, key="visit-2026-03-02", body="See you at five."), 201)
    world.tick()
    assert [text.body for text in world.sent("ada", "own")] == [
        "See you at three.",
        "See you at five.",
    ]


def test_what_failed_keeps_no_key(world: World) -> None:
    tess = program(world)
    ada = f"/clients/{world.clients['ada']}"
    problem(tess.post(f"{ada}/pause", key="pause-ada", version=99), 409, "edited-meanwhile")
    done = tess.post(f"{ada}/pause", key="pause-ada", version=world.client("ada").version)
    assert ok(done)["state"] == "paused"
    with world.store.read() as session:
        (act,) = session.exec(select(ApiAct)).all()
    assert (act.client_id, act.status) == (world.clients["ada"], 200)


def test_keys_are_forgotten_after_a_day(world: World) -> None:
    tess = program(world)
    ada = f"/clients/{world.clients['ada']}"
    ok(tess.post(f"{ada}/messages", key="same-key", body="One"), 201)
    world.clock.advance(timedelta(hours=24, minutes=1))
    answer = tess.post(f"{ada}/messages", key="same-key", body="Two")
    # The text itself was queued under this key: it is never sent a second time.
    problem(answer, 422, "impossible-value")
    ok(tess.post(f"{ada}/messages", key="other-key", body="Two"), 201)
    with world.store.read() as session:
        assert len(session.exec(select(ApiAct)).all()) == 1


def test_what_was_answered_is_forgotten_after_a_day_also_by_itself(world: World) -> None:
    ok(program(world).post(f"/clients/{world.clients['ada']}/messages", body="Widget"), 201)

    def kept() -> int:
        forget_tick(world.store, world.clock)
        with world.store.read() as session:
            return len(session.exec(select(ApiAct)).all())

    world.clock.advance(timedelta(hours=24))
    assert kept() == 1
    world.clock.advance(timedelta(seconds=1))
    assert kept() == 0


@pytest.mark.parametrize("key", [None, "", "short", "x" * 65, "with space", "Zoë-Zoë-1"])
def test_an_action_without_a_proper_key_is_refused(calm: World, key: str | None) -> None:
    headers = {} if key is None else {"Idempotency-Key": key.encode()}
    version = {"version": calm.client("ada").version}
    path = f"/clients/{calm.clients['ada']}/pause"
    answer = program(calm).ask("POST", path, json=version, headers=headers)
    assert problem(answer, 422, "impossible-value")["errors"][0]["field"] == "Idempotency-Key"
    assert calm.client("ada").state == "active"


def test_an_override_needs_a_rung_a_reason_and_the_latest_version(world: World) -> None:
    tess = program(world)
    ada = f"/clients/{world.clients['ada']}"
    rungs = [one["key"] for one in ok(tess.get(f"{ada}/ladder"))]
    version = world.client("ada").version
    known = {"reason": "Steady at the visit.", "version": version}
    problem(tess.post(f"{ada}/override", rung_key="x", **known), 422, "impossible-value")
    answer = tess.post(f"{ada}/override", rung_key=rungs[1], reason=" ", version=version)
    problem(answer, 422, "impossible-value")
    problem(tess.post(f"{ada}/override", rung_key=rungs[-1], **known), 409, "many-landmarks")
    told = ok(tess.post(f"{ada}/override", rung_key=rungs[1], **known))
    assert (told["rung"]["key"], told["version"]) == (rungs[1], version + 1)
    assert world.rung_of("ada") == rungs[1]
    problem(tess.post(f"{ada}/override", rung_key=rungs[0], **known), 409, "edited-meanwhile")
    assert world.moves("ada")[-1].because == "Steady at the visit."


def test_handling_an_alert_says_where_a_resting_client_goes_on(world: World) -> None:
    world.reply("ada", "I fell in the kitchen")
    tess = program(world)
    (fall,) = [one for one in world.alerts("ada") if one.kind == "fall"]
    assert world.client("ada").state == "resting"
    done = {
        "what_done": "Phoned: not hurt",
        "note": "Rug taken up.",
        "resume_key": world.rung_of("ada"),
    }
    path = f"/alerts/{fall.id}/handle"
    problem(tess.post(path, **done), 409, "checklist-first")
    told_of_head = {**unhurt(), "head": "unknown"}
    problem(tess.post(path, **done, after_fall=told_of_head), 409, "word-first")
    told = ok(tess.post(path, **done, after_fall=unhurt()))
    assert (told["state"], told["what_done"]) == ("handled", "Phoned: not hurt")
    assert (told["handled_by"], told["resumed_on"]) == ("Tess Example", world.rung_of("ada"))
    assert world.client("ada").state == "active"
    again = tess.post(f"/alerts/{fall.id}/handle", what_done="Again")
    problem(again, 409, "alert-handled")


def test_the_trail_names_the_program_beside_the_trainer(world: World) -> None:
    tess = program(world)
    ada = world.clients["ada"]
    ok(tess.post(f"/clients/{ada}/pause", version=world.client("ada").version))
    ok(tess.post(f"/clients/{ada}/resume", version=world.client("ada").version))
    with world.store.read() as session:
        rows = select(Audit).where(Audit.client_id == ada).order_by(col(Audit.id))
        lines = session.exec(rows).all()
        token = session.exec(select(ApiToken)).one()
    told = [(line.action, line.trainer_id) for line in lines[-4:]]
    mine = world.trainers["tess"]
    assert told == [("pause", mine), ("by program", mine), ("resume", mine), ("by program", mine)]
    assert lines[-1].detail == {"token": token.id, "did": f"resume client {ada}"}
    page = world.signed_in("tess").page(f"/clients/{ada}/history")
    assert "Done by another program" in page


# --- manners --------------------------------------------------------------------------------------


def test_too_many_calls_are_told_to_wait(tmp_path) -> None:
    world = make_world(tmp_path)
    parts = world.parts
    settings = parts.settings.model_copy(update={"api_per_minute": 3})
    world.app = create_app(parts=Parts(settings, parts.store, parts.clock, parts.carriers))
    tess, omar = program(world, "tess"), program(world, "omar")
    assert [tess.get("/token").status_code for _ in range(4)] == [200, 200, 200, 429]
    answer = tess.get("/token")
    problem(answer, 429, "too-often")
    assert 1 <= int(answer.headers["Retry-After"]) <= 20
    ok(omar.get("/token"))
    world.store.close()


def test_calls_come_back_at_a_steady_rate() -> None:
    now = [0.0]
    limits = Limits(60, clock=lambda: now[0])
    assert all(limits.wait_s(1) == 0 for _ in range(60))
    assert limits.wait_s(1) == pytest.approx(1.0)
    assert limits.wait_s(2) == 0
    now[0] += 2.0
    assert [limits.wait_s(1) == 0 for _ in range(3)] == [True, True, False]
    now[0] += 3600
    assert sum(limits.wait_s(1) == 0 for _ in range(100)) == 60


def test_what_is_not_json_not_there_or_too_large_is_a_problem_too(calm: World) -> None:
    tess = program(calm)
    headers = {"Idempotency-Key": "some-key-1", "Content-Type": "application/json"}
    path = f"/clients/{calm.clients['ada']}/pause"
    problem(tess.ask("POST", path, content=b"{", headers=headers), 400, "malformed")
    problem(tess.ask("POST", path, content=b"x" * 200_000, headers=headers), 413, "too-large")
    problem(tess.get("/nowhere"), 404, "not-found")
    problem(tess.get("/clients/none"), 404, "not-found")
    problem(tess.get(f"/clients/{2**31}"), 404, "not-found")
    answer = tess.ask("DELETE", "/clients")
    problem(answer, 405, "not-allowed")
    # RFC 9110, section 10.2.1: the methods that the address takes, all of them.
    assert answer.headers["Allow"] == "GET, POST"
    assert tess.ask("OPTIONS", "/clients/preview").headers["Allow"] == "POST"


def test_a_value_that_was_sent_is_not_sent_back_by_checks(calm: World) -> None:
    tess = program(calm)
    answer = tess.post(f"/clients/{calm.clients['ada']}/pause", version="quartz note")
    assert "quartz" not in problem(answer, 422, "impossible-value")["detail"]
    assert "quartz" not in answer.text


def test_every_kind_of_problem_can_be_looked_up(calm: World) -> None:
    described = calm.app.state.api_document()
    kinds = described["components"]["schemas"]["Problem"]["properties"]["type"]["examples"]
    assert len(kinds) > 15
    for kind in kinds:
        told = calm.browser().get(kind)
        assert told.status_code == 200, kind
        assert told.text.strip().endswith("."), kind
    assert calm.browser().get("/api/v1/problems/other").status_code == 404


# --- days told otherwise than by text -------------------------------------------------------------


def test_a_day_told_by_phone_is_entered_once_and_put_right(calm: World) -> None:
    tess, ada = program(calm), calm.clients["ada"]
    day = calm.clock.now().date().isoformat()
    told = {
        "version": calm.client("ada").version,
        "day": day,
        "by": "phone",
        "practised": "result",
        "holds": [{"seconds": 20}],
        "steadiness": "steady",
    }
    first = ok(tess.post(f"/clients/{ada}/days", key="one-and-only", **told), 201)
    assert first["report"]["holds"][0]["seconds"] == 20
    assert first["report"]["move"]["kind"] == "stay"
    assert ok(tess.post(f"/clients/{ada}/days", key="one-and-only", **told), 201) == first
    problem(tess.post(f"/clients/{ada}/days", **told), 409, "edited-meanwhile")
    told |= {"version": first["version"], "signs": ["fall"]}
    assert ok(tess.post(f"/clients/{ada}/days", **told), 201)["state"] == "resting"
    told |= {"version": first["version"] + 1, "day": "2020-01-01"}
    problem(tess.post(f"/clients/{ada}/days", **told), 422, "impossible-value")
    told |= {"day": day, "practised": "skipped"}
    problem(tess.post(f"/clients/{ada}/days", **told), 422, "impossible-value")
    told |= {"practised": "result", "signs": ["pain"], "place": "elsewhere"}
    problem(tess.post(f"/clients/{ada}/days", **told), 422, "impossible-value")


def test_a_reading_is_put_right_and_no_sign_goes_while_its_alert_is_open(calm: World) -> None:
    tess, ada = program(calm), calm.clients["ada"]
    calm.reply("ada", "I fell")
    (said,) = [
        one for one in ok(tess.get(f"/clients/{ada}/messages"))["items"] if one["body"] == "I fell"
    ]
    path = f"/clients/{ada}/messages/{said['id']}/reading"
    right = {
        "version": calm.client("ada").version,
        "practised": "result",
        "holds": [{"seconds": 20}],
    }
    problem(tess.post(path, **right), 409, "sign-still-open")
    kept = ok(tess.post(path, **{**right, "signs": ["fall"]}), 201)
    assert kept["state"] == "resting"
    assert kept["report"]["fall"] == "yes"
    assert kept["report"]["holds"][0]["seconds"] == 20
    right["version"] = kept["version"]
    problem(tess.post(f"/clients/{ada}/messages/99999/reading", **right), 404, "not-found")


# --- following ------------------------------------------------------------------------------------


def test_changes_since_a_cursor_are_given_as_they_are_now(world: World) -> None:
    lena = program(world, "lena")
    began = ok(lena.get("/changes"))
    assert (began["items"], began["more"]) == ([], False)
    world.reply("ada", "20 steady")
    found = ok(lena.get("/changes", cursor=began["next"]))
    day, move = found["items"]
    assert (day["kind"], move["kind"]) == ("day", "move")
    assert day["item"]["holds"] == [{"side": None, "seconds": 20.0}]
    assert day["item"]["client_id"] == day["client_id"] == world.clients["ada"]
    assert move["item"]["day_id"] == day["id"]
    world.reply("ada", "I fell in the kitchen")
    later = ok(lena.get("/changes", cursor=found["next"]))
    now = {one["kind"]: one["item"] for one in later["items"]}
    assert now["client"]["state"] == "resting"
    assert now["alert"]["kind"] == "fall"
    assert ok(lena.get("/changes", cursor=later["next"]))["items"] == []


def test_changes_come_page_by_page_and_none_is_missed(world: World) -> None:
    lena = program(world, "lena")
    cursor = ok(lena.get("/changes"))["next"]
    world.reply("ada", "20 steady")
    world.reply("cy", "I fell")
    whole = ok(lena.get("/changes", cursor=cursor))
    seen, more = [], True
    while more:
        page = ok(lena.get("/changes", cursor=cursor, limit=1))
        assert len(page["items"]) <= 1
        seen += [(one["kind"], one["id"]) for one in page["items"]]
        cursor, more = page["next"], page["more"]
    # What changed again in between comes again, as it then is.
    assert set(seen) == {(one["kind"], one["id"]) for one in whole["items"]}
    assert len(set(seen)) >= 5


def test_changes_are_of_the_kinds_and_clients_that_the_token_may_see(world: World) -> None:
    only_alerts = program(world, "omar", ["alerts:read"])
    cursor = ok(only_alerts.get("/changes"))["next"]
    for name in world.clients:
        world.reply(name, "I fell")
    found = ok(only_alerts.get("/changes", cursor=cursor))["items"]
    assert {one["kind"] for one in found} == {"alert"}
    theirs = {one["id"] for one in ok(program(world, "omar").get("/clients"))["items"]}
    assert {one["client_id"] for one in found} == theirs
    problem(only_alerts.get("/changes", cursor="after-999"), 409, "read-anew")


def test_reports_of_all_clients_by_their_dates(world: World) -> None:
    world.reply("ada", "20 steady")
    world.reply("cy", "14 wobbly")
    lena = program(world, "lena")
    found = ok(lena.get("/reports"))["items"]
    assert {one["client_id"] for one in found} == {world.clients["ada"], world.clients["cy"]}
    day = found[0]["local_date"]
    assert ok(lena.get("/reports", since=day, until=day))["items"] == found
    assert ok(lena.get("/reports", until="2001-01-01"))["items"] == []
    problem(lena.get("/reports", since="soon"), 422, "impossible-value")


def test_the_description_is_served_to_a_token(calm: World) -> None:
    described = ok(program(calm).get("/openapi.json"))
    assert described["openapi"].startswith("3.1")
    assert described == calm.app.state.api_document()
    problem(calm.browser().get("/api/v1/openapi.json"), 401, "no-token")
