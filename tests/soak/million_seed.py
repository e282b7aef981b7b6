"""A million clients in PostgreSQL: a few play some days through the loop, and are then copied.

What the loop stored for the few is cloned by the database itself, with ids, numbers, phones and
days' hours of each copy's own; so the rows are as the loop writes them, and as large.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.engine import Connection, CursorResult
from sqlmodel import SQLModel
from tqdm import tqdm

from rungwise.carriers.base import Accepted, Callback, Heard, InboundText, OutboundText, Outcome
from rungwise.clock import HandClock
from rungwise.coach.accounts.trainers import add_trainer
from rungwise.coach.daily.receive import receive
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.ladder.body import Body, Profile
from rungwise.store import Store
from rungwise.store.tables import Client, Practice
from rungwise.ticks.jobs import due_tick, send_tick

CARRIER = "sink"
DAY = date(2026, 2, 10)  # a Tuesday, the day that is lived
ZONES = ("America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles")
# Of 100 clients, how many have their text at each local hour; an assumption, not a survey. With a
# quarter in each zone, the busiest hour, 16:00 to 17:00 UTC, has 12.5 % of the day.
HOURS = {8: 10, 9: 16, 10: 14, 11: 10, 12: 6, 13: 4, 14: 5, 15: 6, 16: 8, 17: 9, 18: 7, 19: 5}
BY_HUNDRED = tuple(hour for hour, share in HOURS.items() for _ in range(share))
# The day that is lived begins with the busiest hour; earlier texts are the next morning's.
BEGINS = datetime.combine(DAY, time(16), UTC)
TRAINERS_CLIENTS = 300
PRACTICE_CLIENTS = 3000
CLIENT_PHONES, PRACTICE_PHONES, TRAINER_PHONES = "+1202", "+1303", "+1404"
PASSWORD = "a long enough password"
PROFILE = Profile(Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177))
# What the few who are copied answer, day by day; an empty one is a day without an answer. Three in
# five prompts are answered, and two of the few leave an alert open. Their number has no common
# factor with the four zones or the hundred places of an hour.
SAID = ("20 steady", "14 wobbly", "", "20 steady, felt ok", "", "20 sec steady", "", "20 steady")
FEW = 21
ODD = {5: "my cat is asleep on the mat", 12: "can I do this in socks?"}
COPIES_AT_ONCE = 1000


class Sink:
    """A carrier that takes everything and does nothing."""

    name = CARRIER

    def send(self, text: OutboundText) -> Outcome:
        return Accepted(f"{CARRIER}-{text.id}", delivered=True)

    def hear(self, callback: Callback) -> Heard:
        return Heard()


def zone_of(number: int) -> str:
    return ZONES[number % len(ZONES)]


def prompt_time(number: int) -> time:
    """The local hour of this client's text; half an hour's places are quarters of an hour."""
    return time(BY_HUNDRED[number // 4 % 100], number // 400 % 4 * 15)


def due_at(number: int) -> datetime:
    """When this client's text is due on the day that is lived."""
    local = datetime.combine(DAY, prompt_time(number), ZoneInfo(zone_of(number)))
    at = local.astimezone(UTC)
    return at if at >= BEGINS else at + timedelta(days=1)


def phone_of(number: int) -> str:
    return f"{CLIENT_PHONES}{number:07}"


def practice_phone(number: int) -> str:
    """The number that this client's texts come from."""
    return f"{PRACTICE_PHONES}{number // PRACTICE_CLIENTS:07}"


# --- the few who are copied -----------------------------------------------------------------------


def play(store: Store, days: int) -> None:
    """A practice, its trainer and FEW clients, after so many days of the loop."""
    clock = HandClock(datetime.combine(DAY - timedelta(days=days), time(12), UTC))
    with store.write() as session:
        practice = Practice(
            name="Harbour Balance 0", phone=practice_phone(0), created_at=clock.now(),
            carrier=CARRIER, time_zone=ZONES[0],
        )  # fmt: skip
        session.add(practice)
        session.flush()
        trainer = add_trainer(
            session, clock.now(), practice, "Tess Example", "t0@example.org", PASSWORD
        )
        trainer.phone = f"{TRAINER_PHONES}5550100"
        trainer.page_answered_at = clock.now()
        for number in range(FEW):
            new = NewClient(
                name=f"Client {number:07}", called="Ada", phone=f"+12025550{100 + number}",
                profile=PROFILE, time_zone=zone_of(number), agreed=True,
            )  # fmt: skip
            add_client(session, clock.now(), trainer, new)
    _tick(store, clock)
    for day in range(days):
        begins = datetime.combine(DAY - timedelta(days=days - day), time(12), UTC)
        for hour in range(12):
            clock.set(begins + timedelta(hours=hour))
            _tick(store, clock)
        _replies(store, clock, day, last=day == days - 1)
        _tick(store, clock)


def _tick(store: Store, clock: HandClock) -> None:
    due_tick(store, clock)
    while send_tick(store, {CARRIER: Sink()}, clock):
        pass


def _replies(store: Store, clock: HandClock, day: int, *, last: bool) -> None:
    for number in range(FEW):
        said = SAID[(number + day * 3) % len(SAID)]
        said = ODD.get(number, said) if last else said
        if said:
            with store.write() as session:
                client = session.get_one(Client, number + 1)
                inbound = InboundText(f"seed-{number}-{day}", client.phone, practice_phone(0), said)
                receive(session, clock.now(), CARRIER, inbound)


# --- their copies ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Copied:
    """A table to copy: which rows, and the columns that differ in each copy.

    In the expressions `t` is the row, `c` the number of the copy and `n` the client's number from
    0; `{few}` and the like are how many ids of a table one copy takes.
    """

    table: str
    differ: Mapping[str, str]
    client: str = "t.client_id"
    where: str = "true"


HOUR_SQL = f"(ARRAY{list(BY_HUNDRED)})[n / 4 % 100 + 1]"
TIME_SQL = f"lpad(({HOUR_SQL})::text, 2, '0') || ':' || lpad((n / 400 % 4 * 15)::text, 2, '0')"
ZONE_SQL = f"(ARRAY{list(ZONES)})[n % 4 + 1]"
AT_SQL = f"((DATE '{DAY}' + ({TIME_SQL})::time) AT TIME ZONE {ZONE_SQL})"
WAIT_SQL = f"({AT_SQL} < TIMESTAMPTZ '{BEGINS}')::int"
PHONE_SQL = f"'{CLIENT_PHONES}' || lpad(n::text, 7, '0')"
PRACTICE_SQL = f"n / {PRACTICE_CLIENTS} + 1"
OURS_SQL = f"'{PRACTICE_PHONES}' || lpad((n / {PRACTICE_CLIENTS})::text, 7, '0')"
TRAINER_SQL = f"n / {TRAINERS_CLIENTS} + 1"
MESSAGES_SQL = (
    "(SELECT coalesce(json_agg(each::int + c * {message}), '[]'::json) "
    "FROM json_array_elements_text(t.message_ids) AS each)"
)
COPIED: Sequence[Copied] = (
    Copied(
        "client",
        {
            "id": "n + 1", "practice_id": PRACTICE_SQL, "trainer_id": TRAINER_SQL,
            "name": "'Client ' || lpad(n::text, 7, '0')", "phone": PHONE_SQL,
            "time_zone": ZONE_SQL,
        },
        client="t.id",
    ),
    Copied(
        "plan",
        {
            "id": "t.id + c * {plan}", "client_id": "n + 1", "set_by": TRAINER_SQL,
            "settings": f"(t.settings::jsonb || jsonb_build_object('prompt_at', {TIME_SQL}))::json",
        },
    ),
    Copied("placement", {"client_id": "n + 1"}),
    Copied(
        "message",
        {
            "id": "t.id + c * {message}", "practice_id": PRACTICE_SQL, "client_id": "n + 1",
            "from_phone": f"CASE t.direction WHEN 'in' THEN {PHONE_SQL} ELSE {OURS_SQL} END",
            "to_phone": f"CASE t.direction WHEN 'in' THEN {OURS_SQL} ELSE {PHONE_SQL} END",
            "carrier_id": "t.carrier_id || '-' || c",
            "once_key": "regexp_replace(t.once_key, ':[0-9]+', ':' || (n + 1))",
            "answers_id": "t.answers_id + c * {message}",
        },
    ),
    Copied(
        "report",
        {
            "id": "t.id + c * {report}", "client_id": "n + 1",
            "message_ids": MESSAGES_SQL,
        },
    ),
    Copied(
        "move",
        {
            "id": "t.id + c * {move}", "client_id": "n + 1",
            "report_id": "t.report_id + c * {report}",
            "trainer_id": f"CASE WHEN t.trainer_id IS NOT NULL THEN {TRAINER_SQL} END",
        },
    ),
    Copied(
        "question",
        {
            "id": "t.id + c * {question}", "client_id": "n + 1",
            "answer_id": "t.answer_id + c * {message}",
        },
    ),
    Copied(
        "alert",
        {"id": "t.id + c * {alert}", "practice_id": PRACTICE_SQL, "client_id": "n + 1"},
    ),
    Copied(
        "alert_message",
        {"alert_id": "t.alert_id + c * {alert}", "message_id": "t.message_id + c * {message}"},
        client="(SELECT client_id FROM seed_alert WHERE seed_alert.id = t.alert_id)",
    ),
    Copied(
        "due",
        {
            "id": "t.id + c * {due}", "subject_id": "n + 1",
            "at": f"CASE t.kind WHEN 'prompt' THEN {AT_SQL} + {WAIT_SQL} * interval '1 day' "
            "ELSE t.at END",
            "local_date": f"CASE t.kind WHEN 'prompt' THEN DATE '{DAY}' + {WAIT_SQL} "
            "ELSE t.local_date END",
        },
        client="t.subject_id",
        where="t.kind IN ('prompt', 'reminder', 'weekly', 'retest')",
    ),
)  # fmt: skip


def copy(store: Store, clients: int) -> None:
    """Give what the few have to so many clients, in practices and lists of their own."""
    with store.engine.connect() as connection:
        # Only while filling: copies of rows that fit need no check, and no waiting for the disk.
        _run(connection, "SET session_replication_role = replica")
        _run(connection, "SET synchronous_commit = off")
        each = _set_aside(connection)
        _practices(connection, clients)
        connection.commit()
        copies = -(-clients // FEW)
        with tqdm(total=clients, desc="clients stored", unit="client") as bar:
            for first in range(0, copies, COPIES_AT_ONCE):
                last = min(first + COPIES_AT_ONCE, copies) - 1
                for copied in COPIED:
                    _copy(connection, copied, each, clients, first, last)
                connection.commit()
                bar.update(min((last + 1) * FEW, clients) - bar.n)
        for copied in COPIED:
            if "id" in copied.differ:
                _run(connection, _SETVAL.format(copied.table))
        connection.commit()
    settled = store.engine.connect().execution_options(isolation_level="AUTOCOMMIT")
    with settled as connection:
        _run(connection, "VACUUM (ANALYZE)")
        _run(connection, "CHECKPOINT")


_SETVAL = (
    "SELECT setval(pg_get_serial_sequence('{0}', 'id'), (SELECT coalesce(max(id), 1) FROM {0}))"
)


def _run(connection: Connection, statement: str) -> CursorResult[Any]:
    """A statement as it stands: without values, so that % is no placeholder."""
    return connection.exec_driver_sql(statement, execution_options={"no_parameters": True})


def _set_aside(connection: Connection) -> Mapping[str, int]:
    """The rows of the few, and how many ids of each table one copy takes."""
    each = {}
    for copied in COPIED:
        name = copied.table
        _run(connection, f"CREATE TEMP TABLE seed_{name} AS SELECT * FROM {name}")
        if "id" in copied.differ:
            most = _run(connection, f"SELECT coalesce(max(id), 0) FROM {name}")
            each[name] = int(most.scalar_one())
    for copied in reversed(COPIED):
        _run(connection, f"DELETE FROM {copied.table}")
    return each


def _copy(
    connection: Connection,
    copied: Copied,
    each: Mapping[str, int],
    clients: int,
    first: int,
    last: int,
) -> None:
    table = SQLModel.metadata.tables[copied.table]
    names = [column.name for column in table.columns]
    values = [copied.differ.get(name, f't."{name}"').format(**each) for name in names]
    listed = ", ".join(f'"{name}"' for name in names)
    _run(
        connection,
        f"INSERT INTO {copied.table} ({listed}) SELECT {', '.join(values)} "
        f"FROM seed_{copied.table} AS t CROSS JOIN generate_series({first}, {last}) AS c "
        f"CROSS JOIN LATERAL (SELECT c * {FEW} + {copied.client} - 1 AS n) AS who "
        f"WHERE {copied.where} AND {copied.client} IS NOT NULL AND n < {clients} ORDER BY n",
    )


def _practices(connection: Connection, clients: int) -> None:
    """The further practices and their trainers, each a copy of the first."""
    for name, count, differ in (
        (
            "practice",
            -(-clients // PRACTICE_CLIENTS),
            {
                "id": "c + 1", "name": "'Harbour Balance ' || c",
                "phone": f"'{PRACTICE_PHONES}' || lpad(c::text, 7, '0')",
            },
        ),
        (
            "trainer",
            -(-clients // TRAINERS_CLIENTS),
            {
                "id": "c + 1", "email": "'t' || c || '@example.org'",
                "practice_id": f"c / {PRACTICE_CLIENTS // TRAINERS_CLIENTS} + 1",
                "role": f"CASE c % {PRACTICE_CLIENTS // TRAINERS_CLIENTS} "
                "WHEN 1 THEN 'lead' ELSE 'trainer' END",
                "phone": f"'{TRAINER_PHONES}' || lpad(c::text, 7, '0')",
            },
        ),
    ):  # fmt: skip
        names = [column.name for column in SQLModel.metadata.tables[name].columns]
        listed = ", ".join(f'"{each}"' for each in names)
        values = ", ".join(differ.get(each, f't."{each}"') for each in names)
        _run(
            connection,
            f"INSERT INTO {name} ({listed}) SELECT {values} FROM {name} AS t "
            f"CROSS JOIN generate_series(1, {count - 1}) AS c WHERE t.id = 1",
        )
        _run(connection, _SETVAL.format(name))
