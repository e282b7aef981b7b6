"""What a progress summary tells of one client: the weeks, the rungs, holds, signs and retests.

Everything here was told by the client by text or entered by a trainer; nothing is measured by the
service, and nothing is judged beyond what the published sources of the retests say.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from sqlalchemy import select as columns
from sqlmodel import Session, col, select

from rungwise.coach.daily.weekly import practised
from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import PlanSettings, report_from_json
from rungwise.coach.record.falls import falls_of
from rungwise.coach.record.progress import Progress, progress
from rungwise.coach.record.situation import Situation, past
from rungwise.coach.reviews.retests import Result, results_of
from rungwise.concepts.measures import Lengths
from rungwise.concepts.signs import SIGNS
from rungwise.errors import ImpossibleValue
from rungwise.ladder.day import DayReport
from rungwise.ladder.progression import PastDay
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.store.tables import Alert, Client, Message, PlanRow, Report, Trainer, TrainersWords

WEEKS = (4, 8, 12)
USUAL_WEEKS = 12
LEFT = ("sent", "delivered", "unknown")
TOLD = tuple(dict.fromkeys(row.alert for row in SIGNS.values()))
MOST_SIGNS = 6
MOST_RETESTS = 4
LONGEST_WORDS = 600
MOST_LINES = 8


@dataclass(frozen=True, slots=True)
class WeekDone:
    """One week, Monday first: days by plan, days a text went, days practised, steady days."""

    monday: date
    planned: int
    asked: int
    practised: int
    steady: int


@dataclass(frozen=True, slots=True)
class Sign:
    """A fall, pain, dizziness or a doubt about one: when, what kind, and what was done."""

    day: date
    kind: str
    done: str


@dataclass(frozen=True, slots=True)
class Summary:
    """Everything of both versions. `first` to `last` are the client's dates, both included.

    `began_on` is the rung at the start, `best` the hardest rung since, `now_on` where they are.
    `done` are the dates practised, `falls` those of falls told; `signs` the alerts about falls,
    pain and dizziness, and `more_signs` how many are left out for room.
    """

    client: Client
    trainer: str
    practice: str
    emergency_number: str
    made_on: date
    first: date
    last: date
    weeks: tuple[WeekDone, ...]
    ladder: Ladder
    began_on: Rung | None
    best: Rung | None
    now_on: Rung | None
    landmarks: tuple[Rung, ...]
    target_s: int
    held: Progress
    done: frozenset[date]
    falls: tuple[date, ...]
    pains: tuple[date, ...]
    dizzy: tuple[date, ...]
    signs: tuple[Sign, ...]
    more_signs: int
    retests: tuple[Result, ...]
    to_colleagues: str
    to_client: str
    lengths: Lengths

    @property
    def planned(self) -> int:
        return sum(week.planned for week in self.weeks)

    @property
    def practised(self) -> int:
        return sum(week.practised for week in self.weeks)

    @property
    def steady(self) -> int:
        return sum(week.steady for week in self.weeks)

    @property
    def share(self) -> float | None:
        """Days practised of the days planned; None where none was."""
        return self.practised / self.planned if self.planned else None


def summary_of(
    session: Session, now: datetime, situation: Situation, weeks: int = USUAL_WEEKS
) -> Summary:
    """The last `weeks` weeks up to today, or since the client began. A bounded number of queries.

    ImpossibleValue for a number of weeks that is none of WEEKS.
    """
    if weeks not in WEEKS:
        raise ImpossibleValue("weeks", weeks, " or ".join(map(str, WEEKS)))
    today = situation.local_date(now)
    history = past(session, situation.client_id)
    began = _began(situation)
    monday = today - timedelta(days=today.weekday())
    first = max(monday - timedelta(weeks=weeks - 1), began)
    reports = _reports(session, situation.client_id, first, today)
    held = progress(session, situation, history, first, today)
    began_on, best, landmarks = _rungs(situation.ladder, history, first)
    signs = _signs(session, situation, first, today)
    words = session.get(TrainersWords, situation.client_id)
    since = datetime.combine(first, time(), tzinfo=UTC)
    falls = falls_of(session, [situation.client], since).get(situation.client_id, ())
    return Summary(
        client=situation.client,
        trainer=session.get_one(Trainer, situation.client.trainer_id).name,
        practice=situation.practice.name,
        emergency_number=situation.practice.emergency_number,
        made_on=today,
        first=first,
        last=today,
        weeks=_weeks(session, situation, reports, held, first, today),
        ladder=situation.ladder,
        began_on=began_on,
        best=best,
        now_on=_known(situation.ladder, situation.placement.rung_key),
        landmarks=landmarks,
        target_s=situation.settings.target_s,
        held=held,
        done=frozenset(report.day for report in reports if practised(report)),
        falls=tuple(fall.day for fall in falls if first <= fall.day <= today),
        pains=tuple(report.day for report in reports if report.pain == "yes"),
        dizzy=tuple(report.day for report in reports if report.dizzy == "yes"),
        signs=signs[-MOST_SIGNS:],
        more_signs=max(len(signs) - MOST_SIGNS, 0),
        retests=tuple(results_of(session, situation.client_id)[:MOST_RETESTS]),
        to_colleagues=words.to_colleagues if words else "",
        to_client=words.to_client if words else "",
        lengths=situation.lengths,
    )


def _began(situation: Situation) -> date:
    at = situation.client.consent_at or situation.client.created_at
    return at.astimezone(situation.zone).date()


def _reports(session: Session, client_id: int, first: date, last: date) -> list[DayReport]:
    rows = select(Report).where(
        Report.client_id == client_id,
        Report.local_date >= first,
        Report.local_date <= last,
        col(Report.superseded_at).is_(None),
    )
    found = session.exec(rows.order_by(col(Report.local_date))).all()
    return [report_from_json(row.told) for row in found]


def _weeks(
    session: Session,
    situation: Situation,
    reports: Sequence[DayReport],
    held: Progress,
    first: date,
    last: date,
) -> tuple[WeekDone, ...]:
    planned = _planned(session, situation, first, last)
    asked = _asked(session, situation.client_id, first, last)
    done = {report.day for report in reports if practised(report)}
    steady = {day.day for day in held.days if day.verdict == "steady"}
    found = []
    monday = first - timedelta(days=first.weekday())
    while monday <= last:
        days = {monday + timedelta(days=place) for place in range(7)}
        counts = (len(days & some) for some in (planned, asked, done, steady))
        found.append(WeekDone(monday, *counts))
        monday += timedelta(weeks=1)
    return tuple(found)


def _planned(session: Session, situation: Situation, first: date, last: date) -> set[date]:
    """The dates on which the plan of the time asked for practice, without dates away."""
    rows = select(PlanRow).where(PlanRow.client_id == situation.client_id)
    plans = [
        (row.set_at.astimezone(situation.zone).date(), PlanSettings.from_json(row.settings))
        for row in session.exec(rows.order_by(col(PlanRow.version))).all()
    ]
    found = set()
    day = first
    while day <= last:
        settings = next((held for since, held in reversed(plans) if since <= day), plans[0][1])
        away = any(begins <= day <= ends for begins, ends in settings.away)
        if day.weekday() in settings.weekdays and not away:
            found.add(day)
        day += timedelta(days=1)
    return found


def _asked(session: Session, client_id: int, first: date, last: date) -> set[date]:
    rows = columns(col(Message.local_date)).where(
        col(Message.client_id) == client_id,
        col(Message.kind) == "prompt",
        col(Message.state).in_(LEFT),
        col(Message.local_date) >= first,
        col(Message.local_date) <= last,
    )
    return {day for day in session.execute(rows).scalars() if day is not None}


def _known(ladder: Ladder, key: str | None) -> Rung | None:
    """The rung, if it still is on the ladder."""
    return ladder[key] if key is not None and key in ladder else None


def _rungs(
    ladder: Ladder, history: Sequence[PastDay], first: date
) -> tuple[Rung | None, Rung | None, tuple[Rung, ...]]:
    """Where they were at the start, the hardest since, and the landmarks newly stood on."""
    before = [past.move.to_key for past in history if past.day < first]
    since = [past.move.to_key for past in history if past.day >= first]
    start_key = before[-1] if before else (since[0] if since else None)
    start = _known(ladder, start_key)
    known = [rung for key in since if (rung := _known(ladder, key)) is not None]
    if start is not None:
        known.append(start)
    best = max(known, key=lambda rung: ladder.index(rung.key), default=None)
    from_place = ladder.index(start.key) if start is not None else -1
    landmarks = {
        rung.key: rung
        for rung in sorted(known, key=lambda rung: ladder.index(rung.key))
        if rung.landmark and ladder.index(rung.key) > from_place
    }
    return start, best, tuple(landmarks.values())


def _signs(session: Session, situation: Situation, first: date, last: date) -> tuple[Sign, ...]:
    rows = select(Alert).where(Alert.client_id == situation.client_id, col(Alert.kind).in_(TOLD))
    found = []
    for alert in session.exec(rows.order_by(col(Alert.id))).all():
        day = alert.opened_at.astimezone(situation.zone).date()
        if first <= day <= last:
            found.append(Sign(day, alert.kind, alert.what_done or ""))
    return tuple(found)


def set_words(
    session: Session,
    now: datetime,
    trainer: Trainer,
    client: Client,
    to_colleagues: str,
    to_client: str,
) -> None:
    """What the trainer says in the summary, in place of what was there."""
    for name, words in (("to_colleagues", to_colleagues), ("to_client", to_client)):
        if len(words.strip()) > LONGEST_WORDS or len(words.strip().splitlines()) > MOST_LINES:
            allowed = f"at most {LONGEST_WORDS} characters in {MOST_LINES} lines, to fit the page"
            raise ImpossibleValue(name, "…", allowed)
    session.merge(
        TrainersWords(
            client_id=client.id,
            to_colleagues=to_colleagues.strip(),
            to_client=to_client.strip(),
            set_by=trainer.id,
            set_at=now,
        )
    )
    record(session, now, trainer, "words in the summary", client_id=client.id)
