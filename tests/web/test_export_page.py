"""What leaves as open formats is whole and valid; what is erased is gone, to the last byte."""

import csv
import io
import json
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
from api_calls import program
from fhir.resources.R4B import get_fhir_model_class
from fhirclient.models.bundle import Bundle
from fhirclient.models.fhirabstractbase import FHIRValidationError
from screened import unhurt
from sqlalchemy import inspect
from sqlmodel import SQLModel, select
from test_intake_page import add as take_in
from web_world import START, World, make_world

from rungwise.app import create_app
from rungwise.clock import HandClock
from rungwise.coach.data import erase
from rungwise.coach.data.export_rows import LEFT_OUT, cell, rows_of
from rungwise.coach.record.after_fall import Word, record_word, store_check
from rungwise.coach.record.audit import broken_at, last_hash
from rungwise.coach.record.fall_records import FallRecord, record_fall
from rungwise.coach.reviews.retests import NewRetest, record_retest
from rungwise.store import Store
from rungwise.store.tables import (
    Audit,
    Client,
    ClientPhone,
    ClientTag,
    ComparedClient,
    ComparisonRow,
    CourseLine,
    Due,
    GroupAct,
    GroupActClient,
    HomeVisit,
    Incident,
    Message,
    Practice,
    Tag,
    Trainer,
)
from rungwise.ticks.jobs import HANDLERS

FORMS = ("csv", "json", "fhir")
# Whatever is on the client's forms and in their texts, and must not outlive them.
SECRETS = ("Zelphina", "Quorridge", "555 0166", "+12025550166", "Widget-word", "Uncle Ferdl")


def taken_out(world: World, who: str, form: str, by: str = "tess"):
    answer = world.signed_in(by).post(f"/clients/{world.clients[who]}/export/{form}")
    assert answer.status_code == 200, answer.text
    assert "attachment" in answer.headers["content-disposition"]
    return answer


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """A client with something in every table: intake, practice, a fall, a retest, notes, links."""
    world = make_world(tmp_path_factory.mktemp("full"))
    landed = take_in(
        world,
        name="Zelphina Quorridge",
        phone="202 555 0166",
        someone="Uncle Ferdl",
        home=["counter", "floor", "phone"],
    )
    world.clients["zel"] = int(landed.split("/")[2])
    browser = world.signed_in()
    world.signed_in("lena").post(
        "/practice/programs/webhooks", hook_address="https://1.2.3.4/alerts"
    )
    path = f"/clients/{world.clients['zel']}"
    assert program(world).get("/changes").status_code == 200, "from now on changes are kept"
    written = program(world).post(f"{path}/messages", body="Widget-word from a program.")
    assert written.status_code == 201, written.text
    browser.post(f"{path}/picture", days=7)
    browser.post(f"{path}/notes", body="Widget-word: Zelphina likes mornings.")
    browser.post(f"{path}/summary", to_colleagues="Zelphina does well.", to_client="Widget-word.")
    world.pass_time(hours=2)
    world.reply("zel", "L20 R20 steady Widget-word")
    world.pass_time(days=1)
    world.reply("zel", "12 wobbly then I fell, Widget-word")
    world.pass_time(minutes=40)
    with world.store.write() as session:
        client = session.get_one(Client, world.clients["zel"])
        trainer = session.get_one(Trainer, world.trainers["tess"])
        day = date(2026, 3, 3)
        for kind, measured in (
            ("four_stage", {"held_s": [10.0, 10.0, 4.0]}),
            ("five_stands", {"time_s": None}),
        ):
            new = NewRetest(kind, day, 80, measured, "female", "Widget-word")
            record_retest(session, world.clock.now(), trainer, client, new)
        now = world.clock.now()
        told = FallRecord(day, day, {"place": "home"}, note="Widget-word")
        record_fall(session, now, trainer, client, told)
        incident = session.exec(
            select(Incident).where(Incident.client_id == world.clients["zel"])
        ).one()
        store_check(session, now, trainer, incident, unhurt())
        word = Word("Dr Quince", day, "call", "Widget-word", allows=False)
        record_word(session, now, trainer, incident, word)
        tag = Tag(trainer_id=trainer.id, name="Tuesdays", made_at=now)
        act = GroupAct(trainer_id=trainer.id, kind="pause", asked={}, once="once-1", at=now)
        session.add_all([tag, act])
        session.flush()
        row = ComparisonRow(
            practice_id=client.practice_id, first="gentle", second="keen", outcome="gain", days=28,
            lots=8, falls_apart=3, ethics="None.", seed="x", locked_by=trainer.id, locked_at=now,
        )  # fmt: skip
        session.add(row)
        session.flush()
        session.add(
            ComparedClient(
                comparison_id=row.id, client_id=client.id, place=0, arm="keen", agreed_on=day,
                drawn_by=trainer.id, drawn_on=day, drawn_at=now,
            )
        )  # fmt: skip
        session.add(CourseLine(client_id=client.id, looked_on=day))
        session.add(HomeVisit(client_id=client.id, trainer_id=trainer.id, day=day, planned_at=now))
        session.add(ClientTag(tag_id=tag.id, client_id=client.id))
        session.add(GroupActClient(act_id=act.id, client_id=client.id, place=1))
        session.add(
            ClientPhone(
                practice_id=client.practice_id,
                client_id=client.id,
                phone="+12025550199",
                whose="Uncle Ferdl",
                added_at=now,
            )
        )
    yield world
    world.store.close()


@pytest.fixture
def doomed(full: World, tmp_path: Path) -> Iterator[World]:
    """A copy of that practice, to erase from."""
    file = tmp_path / "pages.sqlite3"
    with closing(sqlite3.connect(file)) as copy, closing(sqlite3.connect(file_of(full))) as source:
        source.backup(copy)
    store = Store(f"sqlite:///{file}")
    clock = HandClock(full.clock.now())
    parts = replace(full.parts, store=store, clock=clock)
    yield replace(full, parts=parts, app=create_app(parts=parts), clock=clock)
    store.close()


# --- CSV and JSON ---------------------------------------------------------------------------------


def test_the_json_holds_every_table_and_every_row(full: World) -> None:
    held = json.loads(taken_out(full, "zel", "json").content)
    assert (held["format"], held["version"]) == ("rungwise", 1)
    (client,) = held["clients"]
    assert client["client"][0]["name"] == "Zelphina Quorridge"
    with full.store.read() as session:
        names = {table.name for table in rows_of([1])} | {"audit"}
        assert set(client) == names
        for table, condition in rows_of([full.clients["zel"]]).items():
            count = len(session.execute(table.select().where(condition)).all())
            assert len(client[table.name]) == count, table.name
    empty = {name for name, rows in client.items() if not rows}
    assert empty <= {"inbound_part", "review_rhythm", "stranger_text"}, (
        "the test's client should have of everything"
    )
    bodies = [row["body"] for row in client["message"]]
    assert "L20 R20 steady Widget-word" in bodies
    assert "token_hash" not in client["picture_link"][0]


def test_every_table_about_a_client_is_found_by_its_foreign_keys() -> None:
    """A column that names a client without a foreign key would be left out and left behind."""
    tables = {table.name for table in rows_of([1])}
    loose = {
        table.name
        for table in SQLModel.metadata.sorted_tables
        if table.name not in tables and any("client" in one.name for one in table.c)
    }
    # The trail of changes and the days' hashes are blanked instead.
    assert loose == {"audit", "day_seal"}


def test_the_csv_files_hold_the_same_rows_and_a_line_a_day(full: World) -> None:
    client = json.loads(taken_out(full, "zel", "json").content)["clients"][0]
    with ZipFile(io.BytesIO(taken_out(full, "zel", "csv").content)) as held:
        files = {name: held.read(name).decode() for name in held.namelist()}
    assert set(files) == {f"{name}.csv" for name in client} | {"days.csv"}
    for name, rows in client.items():
        lines = list(csv.DictReader(io.StringIO(files[f"{name}.csv"])))
        # The two exports are themselves on record, so the second holds a line more.
        assert len(lines) == len(rows) + (name == "audit"), name
    days = list(csv.DictReader(io.StringIO(files["days.csv"])))
    practised = next(day for day in days if day["left_s"])
    assert (practised["left_s"], practised["right_s"], practised["verdict"]) == (
        "20.0",
        "20.0",
        "steady",
    )
    assert practised["rung"] == "A step, inner edges in line, hover"
    assert any(day["fall"] == "yes" and day["move"] == "rest" for day in days)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("=1+1", "'=1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("-2+3", "'-2+3"),
        ("+12025550166", "+12025550166"),
        (" =1+1", "' =1+1"),
        ("\u200b=1+1", "'\u200b=1+1"),
        ("\uff1d1+1", "'\uff1d1+1"),
        ("20 steady; =HYPERLINK(1)", "20 steady;' =HYPERLINK(1)"),
        ("a;@SUM(A1);-1+2", "a;'@SUM(A1);'-1+2"),
        ("\t=1", "'\t=1"),
        ("20 - steady; fine + well", "20 - steady; fine + well"),
        ("plain", "plain"),
        (["a", 1], '["a", 1]'),
        (None, None),
        (3, 3),
    ],
)
def test_a_cell_is_never_a_formula(value: object, shown: object) -> None:
    assert cell(value) == shown


def test_the_lead_takes_out_the_practice_and_a_trainer_their_own(full: World) -> None:
    for who, names in (
        ("lena", {"Ada Sample", "Bo Specimen", "Cy Instance", "Zelphina Quorridge"}),
        ("omar", {"Cy Instance"}),
    ):
        browser = full.signed_in(who)
        assert f"{len(names)} client" in browser.page("/export")
        for form in FORMS:
            answer = browser.post(f"/export/{form}")
            assert answer.status_code == 200
            if form == "json":
                clients = json.loads(answer.content)["clients"]
                assert {one["client"][0]["name"] for one in clients} == names
            elif form == "csv":
                with ZipFile(io.BytesIO(answer.content)) as held:
                    rows = list(csv.DictReader(io.StringIO(held.read("client.csv").decode())))
                assert {row["name"] for row in rows} == names
            else:
                entries = json.loads(answer.content)["entry"]
                patients = [
                    e["resource"] for e in entries if e["resource"]["resourceType"] == "Patient"
                ]
                assert {one["name"][0]["text"] for one in patients} == names


def test_taking_out_is_on_record(full: World) -> None:
    taken_out(full, "zel", "fhir")
    full.signed_in("lena").post("/export/csv")
    with full.store.read() as session:
        rows = select(Audit).where(Audit.action == "exported").order_by(Audit.id)  # type: ignore[arg-type]
        lines = session.exec(rows).all()
    assert [(line.client_id, line.detail["form"]) for line in lines[-2:]] == [
        (full.clients["zel"], "fhir"),
        (None, "csv"),
    ]


def test_no_other_format_and_no_other_trainers_client(full: World) -> None:
    browser = full.signed_in("omar")
    assert browser.post(f"/clients/{full.clients['zel']}/export/json").status_code == 404
    assert browser.post("/export/xlsx").status_code == 404
    assert full.signed_in().post(f"/clients/{full.clients['zel']}/export/xlsx").status_code == 404


# --- FHIR -----------------------------------------------------------------------------------------


def bundle(world: World) -> dict[str, Any]:
    answer = taken_out(world, "zel", "fhir")
    assert answer.headers["content-type"] == "application/fhir+json"
    return json.loads(answer.content)


def of_type(held: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    found = [entry["resource"] for entry in held["entry"]]
    return [resource for resource in found if resource["resourceType"] == kind]


def check(held: dict[str, Any]) -> dict[str, Any]:
    """The bundle as fhirclient reads it back; an error if either library finds it invalid.

    fhirclient's models are generated from R4 4.0.1 and refuse what these don't name. fhir.resources
    checks values too; its R4B differs from R4 in none of the resources here.
    """
    get_fhir_model_class("Bundle").model_validate(held)
    for entry in held["entry"]:
        resource = entry["resource"]
        get_fhir_model_class(resource["resourceType"]).model_validate(resource)
    return dict(Bundle(held, strict=True).as_json())


def test_the_bundle_is_valid_r4_by_two_libraries(full: World) -> None:
    held = bundle(full)
    assert check(held) == held


@pytest.mark.parametrize(
    "spoil",
    [
        lambda one: one.pop("status"),
        lambda one: one.update(code="hold"),
        lambda one: one.update(effectiveDateTime="yesterday"),
        lambda one: one.update(seconds=20),
    ],
)
def test_the_check_finds_what_is_not_valid(full: World, spoil) -> None:
    held = bundle(full)
    spoil(of_type(held, "Observation")[0])
    with pytest.raises((ValueError, TypeError, FHIRValidationError)):
        check(held)


def test_the_bundle_says_what_happened(full: World) -> None:
    held = bundle(full)
    assert held["type"] == "transaction"
    by_type: dict[str, list[dict[str, Any]]] = {}
    for entry in held["entry"]:
        by_type.setdefault(entry["resource"]["resourceType"], []).append(entry["resource"])
    assert by_type.keys() == {
        *("Organization", "Device", "Practitioner", "Patient", "Goal", "CarePlan", "Observation"),
        *("Provenance", "CodeSystem"),
    }
    (patient,), (plan,) = by_type["Patient"], by_type["CarePlan"]
    assert patient["name"] == [{"text": "Zelphina Quorridge"}]
    assert plan["status"] == "on-hold", "after the fall"
    now, *earlier = plan["activity"]
    assert now["detail"]["scheduledTiming"]["repeat"] == {
        "dayOfWeek": ["mon", "tue", "wed", "thu", "fri", "sat", "sun"],
        "timeOfDay": ["09:00:00"],
    }
    reasons = [one["progress"][0]["text"] for one in earlier]
    assert reasons[0].startswith("override: ")
    assert reasons[-1].startswith("rest: ")
    seen = by_type["Observation"]
    assert all(one["subject"] == plan["subject"] for one in seen)
    hold = next(one for one in seen if one.get("component"))
    assert hold["effectiveDateTime"] == "2026-03-02"
    assert hold["performer"] == [plan["subject"]]
    twenty = {"value": 20.0, "unit": "s", "system": "http://unitsofmeasure.org", "code": "s"}
    assert [part["valueQuantity"] for part in hold["component"]] == [twenty, twenty]
    assert any(one["code"]["text"] == "Fall told by text" and one["valueBoolean"] for one in seen)
    exams = (one for one in seen if one["category"][0]["coding"][0]["code"] == "exam")
    tests = {one["code"]["text"]: one for one in exams}
    assert tests["Four-stage balance test"]["valueQuantity"]["unit"] == "stages held of 4"
    assert tests["Five times sit to stand"]["dataAbsentReason"] == {"text": "could not be done"}
    tester = tests["Four-stage balance test"]["performer"][0]["reference"]
    named = {one["fullUrl"]: one["resource"] for one in held["entry"]}
    assert named[tester]["resourceType"] == "Practitioner"


def test_every_reference_leads_to_an_entry(full: World) -> None:
    held = bundle(full)
    urls = {entry["fullUrl"] for entry in held["entry"]}
    asked = re.findall(r'"reference": "([^"]+)"', json.dumps(held))
    assert len(asked) > 20
    assert set(asked) <= urls


def test_each_resource_replaces_the_one_with_its_own_identifier(full: World) -> None:
    """A transaction by conditional update: FHIR R4, section 3.1.0.4.3."""
    for entry in bundle(full)["entry"]:
        resource, request = entry["resource"], entry["request"]
        kind = resource["resourceType"]
        if kind == "Provenance":
            assert request == {"method": "POST", "url": kind}
        elif kind == "CodeSystem":
            assert request == {"method": "PUT", "url": f"CodeSystem?url={resource['url']}"}
        else:
            (named,) = resource["identifier"]
            value = named["value"].replace(" ", "%20")
            wanted = f"{kind}?identifier={named['system']}|{value}"
            assert request == {"method": "PUT", "url": wanted}


def test_a_rung_is_a_code_whose_concept_the_bundle_holds(full: World) -> None:
    held = bundle(full)
    (system,) = of_type(held, "CodeSystem")
    concepts = {one["code"]: one for one in system["concept"]}
    coded = [one["method"]["coding"][0] for one in of_type(held, "Observation") if "method" in one]
    (goal,) = of_type(held, "Goal")
    coded += goal["description"]["coding"]
    assert coded
    for one in coded:
        assert one["system"] == system["url"]
        assert concepts[one["code"]]["display"] == one["display"]
        assert len(concepts[one["code"]]["definition"]) > 20


def test_missed_days_have_their_reason_and_pain_its_place_and_score(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    world = make_world(tmp_path_factory.mktemp("pain"))
    world.reply("ada", "not today")
    world.pass_time(days=1)
    world.reply("ada", "my left knee hurts, 4 out of 10")
    answer = taken_out(world, "ada", "fhir")
    held = json.loads(answer.content)
    assert check(held) == held
    reasons = {one["performedDateTime"]: one["statusReason"] for one in of_type(held, "Procedure")}
    assert reasons["2026-03-02"] == {"text": "The client said: not on this day."}
    (pain,) = (one for one in of_type(held, "Observation") if "Pain" in one["code"]["text"])
    assert (pain["valueInteger"], pain["bodySite"]["text"]) == (4, "knee")
    assert pain["code"]["coding"] == [{"system": "http://loinc.org", "code": "72514-3"}]
    told, *_ = of_type(held, "Provenance")
    agents = {one["type"]["coding"][0]["code"]: one["who"] for one in told["agent"]}
    assert agents["author"] == pain["subject"]
    world.store.close()


def test_addresses_are_unique_and_the_same_every_time(full: World) -> None:
    first, second = bundle(full), bundle(full)
    urls = [entry["fullUrl"] for entry in first["entry"]]
    assert len(urls) == len(set(urls))
    assert urls == [entry["fullUrl"] for entry in second["entry"]]


# --- erasing --------------------------------------------------------------------------------------


def erase_as(world: World, who: str = "zel", by: str = "tess", name: str = "Zelphina Quorridge"):
    """Both steps; the last answer."""
    browser = world.signed_in(by)
    path = f"/clients/{world.clients[who]}/erase"
    asked = browser.post(path, name=name, understood="yes")
    sure = re.search(r'name="sure" value="(\w+)"', asked.text)
    if sure is None:
        return asked
    return browser.post(path, name=name, understood="yes", sure=sure[1])


def file_of(world: World) -> Path:
    return Path(world.store.url.removeprefix("sqlite:///"))


def file_bytes(world: World) -> bytes:
    path = file_of(world)
    return b"".join(one.read_bytes() for one in path.parent.glob(f"{path.name}*"))


def test_erasing_leaves_nothing_of_the_client_in_any_table_or_byte(doomed: World) -> None:
    held = file_bytes(doomed)
    assert all(secret.encode() in held for secret in ("Zelphina", "+12025550166", "Widget-word"))
    client_id = doomed.clients["zel"]
    done = erase_as(doomed)
    assert (done.status_code, done.headers["location"]) == (303, "/clients/erased")
    with doomed.store.read() as session:
        for table, condition in rows_of([client_id]).items():
            assert session.execute(table.select().where(condition)).all() == [], table.name
        assert session.exec(select(Audit).where(Audit.client_id == client_id)).all() == []
        left = session.exec(select(Due)).all()
        assert {one.subject_id for one in left if one.kind == "prompt"} == {
            doomed.clients[who] for who in ("ada", "bo", "cy")
        }
        pages = session.exec(select(Message).where(Message.kind == "page")).all()
        assert pages
        assert all("Zelphina" not in page.body for page in pages)
    # The database itself has no row that points nowhere.
    with doomed.store.engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
    rest = file_bytes(doomed)
    for secret in SECRETS:
        assert secret.encode() not in rest, secret


def test_that_something_was_erased_is_on_record_and_the_trail_still_holds(doomed: World) -> None:
    with doomed.store.read() as session:
        practice = session.get_one(Practice, 1)
        noted = last_hash(session, practice)
        lines = len(session.exec(select(Audit)).all())
    erase_as(doomed)
    with doomed.store.read() as session:
        practice = session.get_one(Practice, 1)
        assert broken_at(session, practice) is None
        rows = session.exec(select(Audit).order_by(Audit.number)).all()  # type: ignore[arg-type]
        last = rows[-1]
        assert (last.action, last.client_id, last.trainer_id) == (
            "client erased",
            None,
            doomed.trainers["tess"],
        )
        assert len(rows) == lines + 1
        blank = [row for row in rows if row.detail == {"erased": True}]
        assert blank
        assert last.detail == {"emptied": [row.number for row in blank], "days": 0}
        # The lines keep their hashes: a hash noted before still leads to a line.
        assert broken_at(session, practice, noted) is None
        assert all(row.client_id is None for row in blank)


def test_other_clients_keep_everything(doomed: World) -> None:
    doomed.reply("ada", "I fell, Widget-wood")
    before = json.loads(taken_out(doomed, "ada", "json").content)["clients"]
    erase_as(doomed)
    after = json.loads(taken_out(doomed, "ada", "json").content)["clients"]
    for held in (before, after):
        for line in held[0].pop("audit"):
            assert line["client_id"] == doomed.clients["ada"]
    assert before == after
    doomed.pass_time(days=2)
    assert doomed.sent("bo", "prompt")


def test_texts_from_the_phone_before_and_after_are_a_strangers(doomed: World) -> None:
    phone = doomed.client("zel").phone
    with doomed.store.write() as session:
        session.add(
            Message(
                practice_id=1, direction="in", kind="reply", body="Zelphina here", from_phone=phone,
                to_phone="+12025550100", carrier="handset", state="set_aside", created_at=START,
            )
        )  # fmt: skip
    erase_as(doomed)
    with doomed.store.read() as session:
        assert not [
            m for m in session.exec(select(Message)).all() if phone in (m.from_phone, m.to_phone)
        ]


def test_it_asks_twice_and_wants_the_whole_name(doomed: World) -> None:
    path = f"/clients/{doomed.clients['zel']}/erase"
    browser = doomed.signed_in()
    wrong = browser.post(path, name="Zelphina", understood="yes")
    assert wrong.status_code == 400
    assert 'id="wrong-name"' in wrong.text
    unticked = browser.post(path, name="Zelphina Quorridge")
    assert 'id="wrong-understood"' in unticked.text
    asked = browser.post(path, name=" Zelphina  Quorridge ", understood="yes")
    assert "Once more: erase Zelphina Quorridge for ever?" in asked.text
    made_up = browser.post(path, name="Zelphina Quorridge", understood="yes", sure="0" * 32)
    assert "Once more" in made_up.text
    assert doomed.client("zel").name == "Zelphina Quorridge"


def test_a_change_in_between_asks_again(doomed: World) -> None:
    browser = doomed.signed_in()
    path = f"/clients/{doomed.clients['zel']}/erase"
    form = {"name": "Zelphina Quorridge", "understood": "yes"}
    sure = re.search(r'name="sure" value="(\w+)"', browser.post(path, **form).text)
    assert sure
    with doomed.store.write() as session:
        session.get_one(Client, doomed.clients["zel"]).version += 1
    assert "Once more" in browser.post(path, **form, sure=sure[1]).text


def test_only_ones_own_client_or_the_lead(doomed: World) -> None:
    path = f"/clients/{doomed.clients['zel']}/erase"
    omar = doomed.signed_in("omar")
    assert omar.get(path).status_code == 404
    assert omar.post(path, name="Zelphina Quorridge", understood="yes").status_code == 404
    assert erase_as(doomed, by="lena").status_code == 303


def test_a_text_that_is_just_leaving_stops_it(doomed: World) -> None:
    with doomed.store.write() as session:
        rows = select(Message).where(Message.client_id == doomed.clients["zel"])
        message = session.exec(rows).first()
        assert message is not None
        message.state, message.lease_until = "sending", doomed.clock.now() + timedelta(minutes=1)
    answer = erase_as(doomed)
    assert answer.status_code == 400
    assert "leaving at this moment" in answer.text
    assert doomed.client("zel").name == "Zelphina Quorridge"


def test_every_kind_of_due_thing_is_known_to_the_erasure() -> None:
    known = {
        *erase.DUE_OF_CLIENT,
        *erase.DUE_OF_ALERT,
        *erase.DUE_OF_INCIDENT,
        *erase.DUE_OF_QUESTION,
        *erase.DUE_OF_MESSAGE,
        *erase.DUE_OF_PART,
        *erase.DUE_OF_PRACTICE,
        *erase.DUE_OF_STRANGER,
    }
    assert set(HANDLERS) == known


def test_left_out_columns_exist() -> None:
    for name, columns in LEFT_OUT.items():
        assert columns <= set(inspect(SQLModel.metadata.tables[name]).columns.keys())
