"""A practice with months of stored reports, made by the rule itself, written in bulk.

A few different lives are lived through `verdict` and `decide_absence`, as the loop would, and each
is given to many clients: the rows are what the loop would have stored, without its texts.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from random import Random

from sqlalchemy import insert
from sqlmodel import Session, col, select

from rungwise.coach.accounts.trainers import add_trainer
from rungwise.coach.record.codec import PlanSettings, ladder_of, report_to_json
from rungwise.coach.record.situation import HISTORY_DAYS
from rungwise.coach.record.verdict import verdict
from rungwise.ladder.absence import decide_absence, override_move
from rungwise.ladder.body import Body, Equipment, Profile, profile_to_json
from rungwise.ladder.day import DayReport, SideHold
from rungwise.ladder.moves import Move, PastDay
from rungwise.ladder.rungs import Ladder
from rungwise.store import Store
from rungwise.store.tables import (
    Client,
    Message,
    MoveRow,
    Placement,
    PlanRow,
    Practice,
    Report,
    Trainer,
)

BEGAN = date(2025, 1, 6)  # a Monday
PROFILE = Profile(
    Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177),
    Equipment(mat_layers=8, half_foam_whole=True, half_foam_cut=True),
)
SETTINGS = PlanSettings(open_gates=frozenset({"single_leg", "first_soft"}))
PASSWORD = "a long enough password"


@dataclass(frozen=True)
class Entry:
    """One stored decision: its day and hour, the report if any, the move, whether resting."""

    at: datetime
    report: DayReport | None
    move: Move
    resting: bool = False

    @property
    def day(self) -> date:
        return self.at.date()


@dataclass(frozen=True)
class Life:
    """Prompts that left, and decisions in order, the first the placing by the trainer."""

    prompts: tuple[datetime, ...]
    entries: tuple[Entry, ...]


def at(day: date, hour: int) -> datetime:
    return datetime.combine(day, time(hour), UTC)


def live(ladder: Ladder, seed: int, days: int, settings: PlanSettings = SETTINGS) -> Life:
    """A life of so many days. The client is good at first and finds each rung a little harder."""
    luck = Random(seed)
    ease = luck.uniform(0.86, 0.99)
    start = ladder.rungs[luck.randrange(3)].key
    history: list[PastDay] = []
    entries: list[Entry] = []
    prompts: list[datetime] = []
    resting, since, away = False, BEGAN, 0

    def keep(hour: int, report: DayReport | None, move: Move) -> None:
        entries.append(Entry(at(today, hour), report, move, resting))
        history.append(PastDay(today, report, move))

    def place(to_key: str) -> None:
        plan = settings.plan(resting)
        keep(7, None, override_move(plan, history, history[-1].move.to_key, to_key, "Looked."))

    today = BEGAN
    keep(7, None, override_move(settings.plan(False), (), start, start, "First rung."))
    for number in range(1, days):
        today = BEGAN + timedelta(days=number)
        here = history[-1].move.to_key
        if resting or ("stuck" in history[-1].move.alerts and luck.random() < 0.6):
            if resting and luck.random() < 0.7:
                continue
            place(ladder.landmark_below(here).key if resting else here)
            resting, since, here = False, today, history[-1].move.to_key
        plan = settings.plan(False)
        absence = decide_absence(ladder, plan, history, here, since, today)
        if absence is not None:
            keep(9, None, absence)
            resting = absence.kind == "rest"
            if resting:
                continue
            here = absence.to_key
        prompts.append(at(today, 9))
        if away == 0 and luck.random() < 0.008:
            away = luck.randrange(5, 26)
        if away or luck.random() < 0.12:
            away = max(away - 1, 0)
            continue
        report = _told(ladder, here, today, luck, ease)
        move = verdict(ladder, plan, history[-HISTORY_DAYS:], report)
        keep(10, report, move)
        if not report.skipped:
            since = today
        resting = move.kind == "rest"
    return Life(tuple(prompts), tuple(entries))


def _told(ladder: Ladder, key: str, day: date, luck: Random, ease: float) -> DayReport:
    draw = luck.random()
    if draw < 0.03:
        return DayReport(day, key, skipped=True)
    if draw < 0.036:
        return DayReport(day, key, fall="yes")
    good = luck.random() < ease - 0.006 * ladder.index(key)
    seconds = 20.0 if good or luck.random() < 0.5 else luck.choice((6.0, 14.0, 17.0))
    holds = tuple(SideHold(seconds, side) for side in ladder[key].sides) or (SideHold(seconds),)
    return DayReport(day, key, holds, "steady" if good else "wobbly")


def later(life: Life, days: int) -> Life:
    """The same life, so many days later."""
    by = timedelta(days=days)
    entries = (
        replace(
            entry,
            at=entry.at + by,
            report=entry.report and replace(entry.report, day=entry.report.day + by),
        )
        for entry in life.entries
    )
    return Life(tuple(when + by for when in life.prompts), tuple(entries))


@cache
def lives(count: int, days: int) -> tuple[Life, ...]:
    ladder = ladder_of(PROFILE)
    return tuple(live(ladder, seed, days) for seed in range(count))


def store_practice(session: Session) -> Trainer:
    """A practice with one trainer and no clients yet."""
    began = at(BEGAN, 6)
    practice = Practice(name="Harbour Balance", phone="+12025550100", created_at=began)
    session.add(practice)
    session.flush()
    trainer = add_trainer(session, began, practice, "Tess Example", "t@example.org", PASSWORD)
    trainer.page_answered_at = began
    return trainer


def store_clients(store: Store, trainer: Trainer, given: Sequence[Life], count: int) -> list[int]:
    """`count` clients who live these lives in turn, in UTC; gives their ids."""
    ids = []
    for first in range(0, count, 50):
        with store.write() as session:
            for number in range(first, min(first + 50, count)):
                ids.append(store_life(session, trainer, given[number % len(given)], number))
    return ids


def store_life(
    session: Session, trainer: Trainer, life: Life, number: int, state: str = "active"
) -> int:
    """One client with everything stored of this life."""
    began = life.entries[0].at
    client = Client(
        practice_id=trainer.practice_id,
        trainer_id=trainer.id,
        name=f"Client {number:04}",
        called="Ada",
        phone=f"+1202{number:07}",
        time_zone="UTC",
        state=state,
        state_since=life.entries[-1].at,
        consent_at=began,
        created_at=began,
        last_reply_at=life.entries[-1].at,
    )
    session.add(client)
    session.flush()
    session.add(
        PlanRow(
            client_id=client.id, version=1, settings=SETTINGS.to_json(),
            profile=profile_to_json(PROFILE), set_by=trainer.id, set_at=began,
        )
    )  # fmt: skip
    key = life.entries[-1].move.to_key
    session.add(
        Placement(
            client_id=client.id, rung_key=key, plan_version=1, since=life.entries[-1].day,
            set_at=began,
        )
    )  # fmt: skip
    session.flush()
    _store_rows(session, client, life, trainer)
    return client.id


def _store_rows(session: Session, client: Client, life: Life, trainer: Trainer) -> None:
    session.execute(insert(Message), list(_prompts(client, life)))
    reports = [entry for entry in life.entries if entry.report is not None]
    if reports:
        session.execute(
            insert(Report),
            [
                {
                    "client_id": client.id, "local_date": entry.day,
                    "rung_key": entry.report.rung_key, "message_ids": [],
                    "told": report_to_json(entry.report), "created_at": entry.at,
                }
                for entry in reports
            ],
        )  # fmt: skip
    stored = select(Report.id).where(Report.client_id == client.id).order_by(col(Report.id))
    ids = iter(session.exec(stored).all())
    session.execute(
        insert(MoveRow),
        [
            {
                "client_id": client.id, "local_date": entry.day,
                "report_id": next(ids) if entry.report else None,
                "trainer_id": trainer.id if entry.move.kind == "override" else None,
                "kind": entry.move.kind, "from_key": entry.move.from_key,
                "to_key": entry.move.to_key, "rule": entry.move.rule,
                "because": entry.move.because, "alerts": list(entry.move.alerts),
                "facts": dict(entry.move.facts), "rule_version": entry.move.version,
                "plan_version": 1, "resting": entry.resting, "decided_at": entry.at,
            }
            for entry in life.entries
        ],
    )  # fmt: skip


def _prompts(client: Client, life: Life) -> Iterator[dict[str, object]]:
    for when in life.prompts:
        yield {
            "practice_id": client.practice_id, "client_id": client.id, "direction": "out",
            "kind": "prompt", "body": "x", "from_phone": "+12025550100", "to_phone": client.phone,
            "carrier": "handset", "state": "sent", "rank": 2, "local_date": when.date(),
            "created_at": when, "attempts": 1,
        }  # fmt: skip
