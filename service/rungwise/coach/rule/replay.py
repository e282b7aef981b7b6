"""Reading and deciding again everything that is stored, to see that nothing has changed since.

Nothing is written. A difference means that the reader or the rule now answers otherwise than when
the text came, with the same version, or that stored rows were changed by hand. What an earlier
version read or decided may come out otherwise: that is why versions are stored. It is told apart,
and what followed from an earlier reading is decided again from the reading as it was.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from json import dumps, loads
from typing import Any

from sqlmodel import Session, col, func, select

from rungwise.coach.conversation.told_by_trainer import folded
from rungwise.coach.daily.day_readings import texts_of, told_in
from rungwise.coach.daily.dossiers import our_texts_before
from rungwise.coach.record.codec import (
    PlanSettings,
    context_from_json,
    reading_to_json,
    report_from_json,
    report_to_json,
    stored_ladder,
)
from rungwise.coach.record.situation import current_plan, past
from rungwise.coach.record.verdict import verdict
from rungwise.ladder.progression import decide_absence
from rungwise.reply import READER_VERSION, read
from rungwise.store.tables import Message, MoveRow, Report


@dataclass(frozen=True, slots=True)
class Difference:
    """What is stored, and what comes out now; `earlier` if another version made what is stored."""

    what: str
    id: int
    client_id: int | None
    stored: Any
    now: Any
    earlier: bool = False


def replay(session: Session, tell: Callable[[], object] = lambda: None) -> Iterator[Difference]:
    """Every difference, by table and id. `tell` is called once for each thing looked at."""
    for looked in (_readings, _reports, _moves):
        for difference in looked(session):
            tell()
            if difference is not None:
                yield difference


def how_many(session: Session) -> int:
    """How many things replay looks at."""
    tables = (Message.reading, Report.id, MoveRow.id)
    counts = [session.exec(select(func.count(col(column)))).one() for column in tables]
    return sum(counts)


def how_many_removed(session: Session) -> int:
    """How many readings cannot be checked, because the practice keeps words no longer."""
    removed = (col(Message.removed_at).is_not(None), col(Message.reader_version).is_not(None))
    return session.exec(select(func.count(col(Message.id))).where(*removed)).one()


def _readings(session: Session) -> Iterator[Difference | None]:
    rows = select(Message).where(col(Message.reader_version).is_not(None)).order_by(col(Message.id))
    for message in session.exec(rows.execution_options(yield_per=500)):
        if message.context is None or message.reading is None:
            continue
        if message.removed_at is not None:
            # The words are gone; its reading stands and is folded into reports as before.
            yield None
            continue
        context = context_from_json(message.context)
        context = replace(context, our_texts=our_texts_before(session, message))
        reading = read(message.body, context)
        now = _plain(reading_to_json(reading))
        if now == message.reading:
            yield None
            continue
        earlier = message.reader_version != READER_VERSION
        yield Difference("reading", message.id, message.client_id, message.reading, now, earlier)


def _reports(session: Session) -> Iterator[Difference | None]:
    """Each report folded again from the readings of its texts, and from what a trainer entered."""
    for report in session.exec(select(Report).order_by(col(Report.id))).all():
        told = told_in(texts_of(session, report.message_ids))
        day = folded(report.local_date, report.rung_key, told)
        # Whether a number is asked about hangs on the days before, and is stored as it was.
        day = replace(day, unconfirmed=bool(report.told.get("unconfirmed")))
        now = _plain(report_to_json(day))
        if "too_easy" not in report.told:
            now.pop("too_easy", None)  # reports of earlier releases didn't keep it
        same = now == report.told
        yield None if same else Difference("report", report.id, report.client_id, report.told, now)


def _moves(session: Session) -> Iterator[Difference | None]:
    """Each move decided again, on the plan and the past as they were. Overrides are a trainer's."""
    for row in session.exec(select(MoveRow).order_by(col(MoveRow.id))).all():
        if row.kind == "override":
            yield None
            continue
        now, version = _decided_again(session, row)
        stored = {
            "kind": row.kind,
            "from_key": row.from_key,
            "to_key": row.to_key,
            "rule": row.rule,
            "because": row.because,
            "alerts": row.alerts,
            "facts": row.facts,
        }
        if now == stored:
            yield None
            continue
        earlier = row.rule_version != version
        yield Difference("move", row.id, row.client_id, stored, now, earlier)


def _decided_again(session: Session, row: MoveRow) -> tuple[Any, int]:
    """The move as it comes out now, and the version of the rule that its plan asks for."""
    plan_row = current_plan(session, row.client_id, row.plan_version)
    plan = PlanSettings.from_json(plan_row.settings).plan(row.resting)
    ladder = stored_ladder(plan_row.profile)
    history = past(session, row.client_id, as_of=row)
    if row.report_id is not None:
        told = session.get_one(Report, row.report_id).told
        move = verdict(ladder, plan, history, report_from_json(told))
    else:
        since = date.fromisoformat(str(row.facts["since"]))
        found = decide_absence(ladder, plan, history, row.from_key, since, row.local_date)
        if found is None:
            return None, plan.rule_version
        move = found
    now = {
        "kind": move.kind,
        "from_key": move.from_key,
        "to_key": move.to_key,
        "rule": move.rule,
        "because": move.because,
        "alerts": list(move.alerts),
        "facts": _plain(dict(move.facts)),
    }
    return now, plan.rule_version


def _plain(value: Any) -> Any:
    """As it would come back from the database's JSON."""
    return loads(dumps(value))
