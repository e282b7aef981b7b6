"""Texts dealt with together leave the very rows that they leave one by one, whatever they say."""

import asyncio
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

import httpx
import pytest
from sqlmodel import Session, SQLModel, select
from stored_practice import lives, store_clients, store_practice
from stores import empty

import rungwise.coach.daily.receive as receiving
from rungwise.app import create_app
from rungwise.carriers.base import Heard, InboundText
from rungwise.carriers.handset import Handset
from rungwise.clock import HandClock
from rungwise.coach.daily.receive import Arrival, receive, receive_together
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.record.codec import PlanSettings, ladder_of
from rungwise.coach.record.situation import HISTORY_DAYS, past, read_pasts
from rungwise.coach.record.verdict import verdict
from rungwise.ladder.body import Body, Profile
from rungwise.ladder.caution import PRESETS
from rungwise.ladder.estimate import next_chance
from rungwise.ladder.moves import PastDay, Plan
from rungwise.ladder.progression import decide
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.tables import Client, Incident, Message, MoveRow, Practice, Report, Trainer
from rungwise.ticks import jobs
from rungwise.ticks.jobs import due_tick
from rungwise.web.callbacks.inbound_batch import Arriving, Call, store_calls

pytestmark = pytest.mark.both_databases

START = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)
PROFILE = Profile(Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177))
FIRST = ladder_of(PROFILE).rungs[6].key
PRACTICE = "+12025550100"
TOKEN = "x" * 20
CLIENTS = 9
STRANGER = "+12025550199"
SAID = (
    *("20 steady", "14 wobbly", "20", "steady") * 4, "sorry, 15 wobbly", "skipped today",
    "I fell", "nearly fell", "yes", "no", "my hip hurts", "7", "dizzy", "STOP", "START", "HELP",
    "what time do you open?", "same as before", "too hard", "qwerty", "chest pain",
)  # fmt: skip


def a_practice(store: Store, clients: int = CLIENTS) -> None:
    with store.write() as session:
        practice = Practice(name="Harbour Balance", phone=PRACTICE, created_at=START)
        session.add(practice)
        session.flush()
        trainer = Trainer(
            practice_id=practice.id, name="Tess Example", email="t@example.org",
            phone="+12025550101", password_hash="none", created_at=START, page_answered_at=START,
        )  # fmt: skip
        session.add(trainer)
        session.flush()
        for number in range(clients):
            new = NewClient(
                name=f"Client {number}", called=f"C{number}", phone=phone_of(number),
                profile=PROFILE, time_zone="America/New_York", agreed=number != 0, first_key=FIRST,
                settings=PlanSettings(
                    reminder_at=datetime(2026, 1, 1, 18, tzinfo=UTC).time(),
                    rule_version=1 + number % 2,
                ),
            )  # fmt: skip
            add_client(session, START, trainer, new)


def phone_of(number: int) -> str:
    return f"+1202555011{number}"


def some_days(seed: int) -> list[list[list[Arrival]]]:
    """Two days of three handfuls of texts each, some of them carried twice."""
    luck = Random(seed)
    days: list[list[list[Arrival]]] = []
    for day in range(2):
        handfuls = []
        for handful in range(3):
            texts = [
                InboundText(
                    f"{day}-{handful}-{number}",
                    luck.choice([*map(phone_of, range(CLIENTS)), STRANGER]),
                    PRACTICE,
                    luck.choice(SAID),
                    pictures=("https://carrier.example/1",) if luck.random() < 0.1 else (),
                )
                for number in range(luck.randrange(1, 9))
            ]
            texts += luck.sample(texts, luck.randrange(2))
            if handful == 1:
                texts += [replace(text, carrier_id=f"{text.carrier_id}b") for text in texts[:3]]
            handfuls.append([Arrival("handset", text) for text in texts])
        days.append(handfuls)
    return days


def one_by_one(session: Session, now: datetime, arrivals: Sequence[Arrival]) -> None:
    for arrival in arrivals:
        receive(session, now, arrival.carrier, arrival.text)


def play(store: Store, seed: int, deal: Any) -> dict[str, list[dict[str, Any]]]:
    """The practice's rows after those days. Rows that only differ in their order are the same."""
    a_practice(store)
    clock = HandClock(START)
    for handfuls in some_days(seed):
        clock.advance(timedelta(hours=3))
        due_tick(store, clock)
        for handful in handfuls:
            with store.write() as session:
                deal(session, clock.now(), handful)
            clock.advance(timedelta(seconds=40))
        clock.advance(timedelta(hours=21))
        due_tick(store, clock)
    held = rows_of(store)
    empty(store)
    return held


def rows_of(store: Store) -> dict[str, list[dict[str, Any]]]:
    """Every row, a reference to a text by what the text says: numbers follow the order.

    An incident's code and link are drawn by chance, and stand as such.
    """
    drawn: dict[str, str] = {}
    with store.read() as session:
        for incident in session.exec(select(Incident)).all():
            drawn[incident.link], drawn[incident.code] = "(link)", "(code)"
        texts = {each.id: text_of(each, drawn) for each in session.exec(select(Message)).all()}
        connection = session.connection()
        return {
            table.name: sorted(
                (
                    plain(dict(row), table.name, texts, drawn)
                    for row in connection.execute(select(table)).mappings()
                ),
                key=repr,
            )
            for table in SQLModel.metadata.sorted_tables
        }


def text_of(message: Message, drawn: dict[str, str]) -> str:
    body = without(message.body, drawn) if message.trainer_id is not None else message.body
    return f"{message.direction} {message.carrier_id} {message.to_phone} {body}"


def without(body: str, drawn: dict[str, str]) -> str:
    return re.sub(r"\w+", lambda word: drawn.get(word[0], word[0]), body)


def plain(
    row: dict[str, Any], table: str, texts: dict[int, str], drawn: dict[str, str]
) -> dict[str, Any]:
    row.pop("id", None)
    if table == "incident":
        row["link"], row["code"] = drawn[row["link"]], drawn[row["code"]]
    if table == "message" and row["trainer_id"] is not None:
        row["body"] = without(row["body"], drawn)
    if table == "audit":
        row.pop("hash")
        row.pop("detail_hash")
    if table == "audit_head":
        row.pop("hash")
        row.pop("mac")
    if str(row.get("once_key")).startswith("other-way:"):
        row["once_key"] = "other-way"
    for name in ("message_id", "answers_id", "answer_id"):
        if row.get(name) is not None:
            row[name] = texts[row[name]]
    if "message_ids" in row:
        row["message_ids"] = [texts[each] for each in row["message_ids"]]
    for name in ("report_id", "subject_id", "alert_id", "incident_id"):
        if table != "due" or row.get("kind") not in ("prompt", "reminder"):
            row.pop(name, None)
    return row


@pytest.mark.parametrize("seed", [4])
def test_together_is_as_one_by_one(store, seed):
    apart = play(store, seed, one_by_one)
    assert play(store, seed, receive_together) == apart
    # And what is compared is not all the same.
    states = {row["state"] for row in apart["message"] if row["direction"] == "in"}
    assert states == {"read", "repeat", "set_aside"}
    assert len({row["kind"] for row in apart["alert"]}) >= 5
    assert len(apart["report"]) > 3


def silent_weeks(store: Store) -> dict[str, list[dict[str, Any]]]:
    """The rows after weeks in which some practise, some fall silent, one is in doubt, one stops."""
    a_practice(store, 4)
    clock = HandClock(START)
    said = {
        1: {2: "felt a bit strange in the head"},
        9: {2: "no"},
        16: {1: "I fell"},
        18: {2: "STOP"},
    }
    for day in range(23):
        clock.advance(timedelta(hours=1, minutes=1))
        due_tick(store, clock)
        texts = {1: "20 steady"} | said.get(day, {})
        for number, words in texts.items():
            with store.write() as session:
                inbound = InboundText(f"{day}-{number}", phone_of(number), PRACTICE, words)
                receive(session, clock.now(), "handset", inbound)
        clock.advance(timedelta(hours=9))
        if day < 3:  # evenings are alike
            due_tick(store, clock)
        clock.advance(timedelta(hours=13, minutes=59))
    held = rows_of(store)
    empty(store)
    return held


def test_what_is_due_together_is_done_as_one_by_one(sqlite_store, monkeypatch):
    together = silent_weeks(sqlite_store)

    def fails(_session: Session, _now: datetime) -> int:
        raise RuntimeError("broken on purpose")

    monkeypatch.setattr(jobs, "_act_together", fails)
    assert silent_weeks(sqlite_store) == together
    rules = {row["rule"] for row in together["move"]}
    assert rules >= {"away_back", "away_rest", "safety_sign"}
    assert {row["kind"] for row in together["message"]} >= {"prompt", "reminder", "notice", "page"}
    assert "silence" in {row["kind"] for row in together["alert"]}
    states = {row["state"] for row in together["message"] if row["kind"] == "prompt"}
    assert "missed" in states


def calls(texts: Sequence[str]) -> list[Call]:
    return [
        Call(
            "handset", Heard(texts=(InboundText(f"c-{number}", phone_of(number), PRACTICE, said),))
        )
        for number, said in enumerate(texts)
    ]


def parts_on(store: Store) -> Parts:
    settings = Settings(database_url=store.url, ticks=False)
    return Parts(settings, store, HandClock(START), {"handset": Handset(TOKEN)})


def test_one_that_fails_takes_nobody_with_it(store, monkeypatch):
    a_practice(store)
    real = receiving.read

    def broken(body, context):
        if body == "14 wobbly":
            raise RuntimeError("broken on purpose")
        return real(body, context)

    monkeypatch.setattr(receiving, "read", broken)
    texts = ["20 steady", "20 steady", "14 wobbly", "20 steady"]
    stored = store_calls(parts_on(store), calls(texts))
    assert [len(ids) for ids in stored] == [1, 1, 1, 1]
    with store.read() as session:
        rows = session.exec(select(Message).where(Message.direction == "in")).all()
        reports = session.exec(select(Report)).all()
    assert sorted((row.body, row.state) for row in rows) == [
        ("14 wobbly", "unprocessed"),
        ("20 steady", "read"),
        ("20 steady", "read"),
        ("20 steady", "read"),
    ]
    assert len(reports) == 2  # one of them has not agreed yet


def test_calls_that_come_at_once_are_all_kept_and_answered_after_it(store):
    """Sixty calls at once, a third of them repeats: each answered, each stored once."""
    a_practice(store)
    app = create_app(parts=parts_on(store))
    with store.read() as session:
        phones = session.exec(select(Client.phone)).all()

    async def all_at_once() -> list[httpx.Response]:
        transport = httpx.ASGITransport(app=app)
        async with httpx.AsyncClient(transport=transport, base_url="http://here") as web:
            return await asyncio.gather(
                *(
                    web.post(
                        "/in/handset",
                        headers={"X-Handset-Token": TOKEN},
                        data={
                            "from": phones[number % len(phones)], "to": PRACTICE,
                            "id": f"at-once-{number % 40}", "text": f"note {number % 40}",
                        },
                    )
                    for number in range(60)
                )
            )  # fmt: skip

    answers = asyncio.run(all_at_once())
    assert {answer.status_code for answer in answers} == {200}
    with store.read() as session:
        ids = session.exec(select(Message.carrier_id).where(Message.direction == "in")).all()
    assert sorted(ids) == sorted(f"at-once-{number}" for number in range(40))


def test_a_call_that_comes_the_moment_the_last_was_answered_is_not_left_waiting(store):
    """Whoever stored the last one ends in the same turn of the loop in which the next one comes."""
    a_practice(store)

    async def one_after_the_other() -> list[list[int]]:
        arriving = Arriving(parts_on(store), asyncio.get_running_loop())
        async with asyncio.timeout(30):
            return [
                await arriving.store(call)
                for call in calls(["20 steady", "14 wobbly", "20 steady"])
            ]

    assert [len(ids) for ids in asyncio.run(one_after_the_other())] == [1, 1, 1]


def test_the_second_opinion_is_asked_only_where_it_counts():
    """The verdict is the rule's with the second opinion at hand on every day of stored lives."""
    ladder = ladder_of(PROFILE)
    ups = 0
    for name in ("usual", "gentle"):
        open_gates = frozenset({"single_leg"})
        plan = Plan(caution=PRESETS[name], open_gates=open_gates)
        for life in lives(3, 120):
            history = []
            for entry in life.entries:
                if entry.report is not None:
                    so_far = history[-HISTORY_DAYS:]
                    opinion = next_chance(ladder, plan, so_far, entry.report)
                    told = decide(ladder, plan, so_far, entry.report, opinion)
                    assert verdict(ladder, plan, so_far, entry.report) == told
                    ups += told.kind == "up"
                history.append(PastDay(entry.day, entry.report, entry.move))
    assert ups > 10


def test_the_pasts_read_for_many_are_each_ones_own(store):
    with store.write() as session:
        trainer = store_practice(session)
    given = [*lives(2, 2 * HISTORY_DAYS), *lives(1, 3)]
    store_clients(store, trainer, given, 4)
    with store.write() as session:
        ids = session.exec(select(Client.id)).all()
        stands = select(MoveRow).where(MoveRow.client_id == ids[0])
        session.exec(stands.order_by(MoveRow.id.desc()).offset(5)).first().superseded_at = START
    with store.read() as session:
        alone = {client_id: list(past(session, client_id)) for client_id in ids}
        together = read_pasts(session, ids)
        assert {client_id: list(days) for client_id, days in together.items()} == alone
    assert max(map(len, alone.values())) == HISTORY_DAYS
    assert {client_id: len(rows) for client_id, rows in together.items()} == {
        client_id: len(days) for client_id, days in alone.items()
    }
