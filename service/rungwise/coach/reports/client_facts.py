"""What the first sentence on a client looks at, from what is stored of one client."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from rungwise.coach.plan.alert_acts import gate_next
from rungwise.coach.record.day_strip import DayShown
from rungwise.coach.record.questions import open_doubt
from rungwise.coach.record.situation import Situation
from rungwise.coach.reports.what_to_do import Course, Facts, OpenAlert
from rungwise.concepts.measures import Lengths, Measures
from rungwise.concepts.questions import QUESTIONS
from rungwise.evidence import Reason
from rungwise.ladder.moves import PastDay
from rungwise.ladder.rungs import Rung
from rungwise.store.tables import Alert, Client, Due, MoveRow
from rungwise.wording.rung_words import rung_short

# What a question that holds the texts is about.
ASKED = {
    "help": "being hurt",
    "emergency": "an emergency sign",
    "near_fall": "a fall",
    "fall": "a fall",
    "dizziness": "dizziness",
    "pain": "pain",
}
# The window in which moves back from one rung are told together.
STUCK_DAYS = 28
_PRACTISED = ("steady", "wobbly", "short")


@dataclass(frozen=True, slots=True)
class Steps:
    """The rungs that an act may go to: the landmark below, and the first behind a closed gate."""

    below: Rung | None = None
    gated: Rung | None = None
    lengths: Lengths = "cm"


def steps_of(situation: Situation | None) -> Steps:
    """Where the acts beside the sentence would place the client."""
    if situation is None or situation.placement.rung_key not in situation.ladder:
        return Steps()
    ladder, key = situation.ladder, situation.placement.rung_key
    below = ladder.landmark_below(key)
    return Steps(below if below.key != key else None, gate_next(situation), situation.lengths)


def facts_of(
    session: Session,
    now: datetime,
    client: Client,
    situation: Situation | None,
    history: Sequence[PastDay],
    alerts: Sequence[Alert],
    strip: Sequence[DayShown],
    prompt_due: Due | None,
    course: Reason | None,
) -> Facts:
    """Everything the sentences look at. One query."""
    measures = situation.practice.measures if situation else Measures()
    clock, lengths = _Clock(client, now, measures), measures.lengths
    doubt = open_doubt(session, client.id)
    steps = steps_of(situation)
    stuck = next((past for past in reversed(history) if "stuck" in past.move.alerts), None)
    return Facts(
        called=client.called,
        state=client.state,
        state_since=clock.day(clock.local(client.state_since).date()),
        today=strip[-1].mark if strip else "none",
        next_text=clock.when(prompt_due.at) if prompt_due else "",
        last_reply=clock.when(client.last_reply_at) if client.last_reply_at else "",
        placed=situation is not None,
        alerts=[clock.alert(one) for one in alerts],
        asked=_asked_about(doubt.kind) if doubt else "",
        stuck_rule=stuck.move.rule if stuck else "",
        backs=[clock.day(day) for day in _backs(_plain(history), stuck.day, stuck.move.from_key)]
        if stuck
        else (),
        below=stance_name(steps.below, lengths) if steps.below else "",
        gate=stance_name(steps.gated, lengths).lower() if steps.gated else "",
        away_until=_away_until(situation, clock),
        went_back=_went_back(strip, clock),
        course=Course(course.rule, course.says) if course else None,
    )


def facts_of_alerts(
    session: Session,
    now: datetime,
    clients: Sequence[Client],
    alerts: Mapping[int, Sequence[Alert]],
    measures: Measures,
) -> dict[int, Facts]:
    """What the sentences about open alerts look at, for a list of clients. One query.

    Without a ladder the rungs have no names here.
    """
    stuck_ids = [who for who, found in alerts.items() if any(one.kind == "stuck" for one in found)]
    stuck = _stuck_moves(session, stuck_ids, (now - timedelta(days=2 * STUCK_DAYS)).date())
    found = {}
    for client in clients:
        clock = _Clock(client, now, measures)
        last, backs = stuck.get(client.id, (None, ()))
        found[client.id] = Facts(
            called=client.called,
            state=client.state,
            state_since=clock.day(clock.local(client.state_since).date()),
            last_reply=clock.when(client.last_reply_at) if client.last_reply_at else "",
            alerts=[clock.alert(one) for one in alerts[client.id]],
            stuck_rule=last.rule if last else "",
            backs=[clock.day(day) for day in backs],
        )
    return found


def _stuck_moves(
    session: Session, ids: Sequence[int], since: date
) -> dict[int, tuple[MoveRow, list[date]]]:
    """Each client's last move that raised the alert, and the days of moves back from its rung."""
    if not ids:
        return {}
    rows = (
        select(MoveRow)
        .where(
            col(MoveRow.client_id).in_(ids),
            col(MoveRow.local_date) >= since,
            col(MoveRow.superseded_at).is_(None),
        )
        .order_by(col(MoveRow.id))
    )
    moves: dict[int, list[MoveRow]] = {}
    for move in session.exec(rows):
        moves.setdefault(move.client_id, []).append(move)
    found = {}
    for who, theirs in moves.items():
        last = next((move for move in reversed(theirs) if "stuck" in move.alerts), None)
        if last is not None:
            past = [(move.local_date, move.kind, move.from_key) for move in theirs]
            found[who] = last, _backs(past, last.local_date, last.from_key)
    return found


def stance_name(rung: Rung, lengths: Lengths) -> str:
    """A rung in few words, without what the hands do."""
    return rung_short(rung, lengths=lengths).rpartition(",")[0]


def _plain(history: Sequence[PastDay]) -> Iterator[tuple[date, str, str]]:
    return ((past.day, past.move.kind, past.move.from_key) for past in history)


def _asked_about(kind: str) -> str:
    return ASKED.get(QUESTIONS[kind].alert or "", "a sign")


def _backs(moves: Iterable[tuple[date, str, str]], stuck_on: date, from_key: str) -> list[date]:
    """The days of moves back from the rung that the alert is about, up to it."""
    first = stuck_on - timedelta(days=STUCK_DAYS - 1)
    return [
        day
        for day, kind, key in moves
        if kind == "back" and key == from_key and first <= day <= stuck_on
    ]


def _away_until(situation: Situation | None, clock: "_Clock") -> str:
    if situation is None:
        return ""
    ends = [last for first, last in situation.settings.away if first <= clock.today <= last]
    return clock.day(max(ends)) if ends else ""


def _went_back(strip: Sequence[DayShown], clock: "_Clock") -> str:
    """The day of a move back that no later practice has followed."""
    for shown in reversed(strip):
        if shown.moved == "back":
            return clock.day(shown.day)
        if shown.moved is not None or shown.mark in _PRACTISED:
            return ""
    return ""


class _Clock:
    """Instants and dates in words of the client's own calendar."""

    def __init__(self, client: Client, now: datetime, measures: Measures) -> None:
        self.measures = measures
        self.zone = ZoneInfo(client.time_zone)
        self.today = self.local(now).date()

    def local(self, at: datetime) -> datetime:
        return at.astimezone(self.zone)

    def when(self, at: datetime) -> str:
        local = self.local(at)
        return f"{self._named(local.date())} at {self.measures.hour(local.time())}"

    def alert(self, alert: Alert) -> OpenAlert:
        when, seen = self.when(alert.last_at), alert.state == "seen"
        return OpenAlert(alert.id, alert.kind, alert.urgency, when, seen)

    def day(self, day: date) -> str:
        return f"{day.day} {day:%b}"

    def _named(self, day: date) -> str:
        near = {0: "today", 1: "yesterday", -1: "tomorrow"}.get((self.today - day).days)
        return near or f"on {day:%a} {day.day} {day:%b}"
