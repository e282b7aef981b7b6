"""The day's prompt: when it is due, whether it may still go, and what it says."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, func, select

from rungwise.coach.alerting.alerts import Raised, raise_alert
from rungwise.coach.conversation.result import MOVE_ALERTS
from rungwise.coach.daily.client_state import rest_client
from rungwise.coach.outbox.texts import Text, queue_prompt, queue_to_client
from rungwise.coach.record import questions
from rungwise.coach.record.codec import PlanSettings
from rungwise.coach.record.moves import store_move
from rungwise.coach.record.picture_link import link_for_prompt
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.coach.record.situation import Situation, current_report, load, past
from rungwise.coach.record.wording import text_for, wording_of
from rungwise.concepts.client_states import By
from rungwise.ladder.absence import missed_sessions, sessions_away
from rungwise.ladder.body import Body
from rungwise.ladder.keys import is_key, parse_key
from rungwise.ladder.progression import Move, PastDay, decide_absence
from rungwise.ladder.rungs import Rung
from rungwise.store.due import clear_due, due_of, set_due
from rungwise.store.index_conditions import IS_PROMPT
from rungwise.store.prefetch import known
from rungwise.store.tables import Client, Due, Message, MoveRow, Practice
from rungwise.ticks.due import (
    LATEST,
    Quiet,
    is_quiet,
    local_to_utc,
    next_due,
    still_worth_sending,
)
from rungwise.ticks.due import Due as Moment
from rungwise.wording.answers import prompt_text
from rungwise.wording.rung_words import Telling, rung_text

SILENT_AFTER = 3
# Never the wording of the last time.
REMINDERS = ("reminder_a", "reminder_b")
IN_DOUBT = "Waiting for the answer to a safety question."
DOWN = "The service was down when it was due."
# Where a session keeps what was read ahead of prompts, by client.
PROMPTED = "prompted"


@dataclass(frozen=True, slots=True)
class Prompted:
    """The last date that had its prompt, so that a new hour or zone never doubles one; how many
    prompts went since the client's last word; and the rung that the last one told.
    """

    last: date | None = None
    unanswered: int = 0
    last_key: str | None = None


def prompt_body(
    session: Session,
    situation: Situation,
    rung: Rung,
    link: str = "",
    *,
    first_day: bool = False,
) -> str:
    """The exact text the client gets for this rung, with a link to its picture if there is one.

    The first day of a stance is told more fully.
    """
    client = situation.client
    wording = wording_of(session, client.practice_id, client.language)
    body, telling = situation.measures.body, situation.telling(first_day=first_day)
    return task_body(rung, body, telling, client.language, wording, link)


def task_body(
    rung: Rung,
    body: Body,
    telling: Telling,
    language: str,
    wording: Mapping[str, str],
    link: str = "",
) -> str:
    """The same for anyone who reads `language`, in the practice's own `wording` of texts."""
    if not link:  # which no two texts share
        return _same_for_all(rung, body, telling, language, tuple(sorted(wording.items())))
    return _task_body(rung, body, telling, language, wording, link)


@lru_cache(maxsize=4096)
def _same_for_all(
    rung: Rung, body: Body, telling: Telling, language: str, wording: tuple[tuple[str, str], ...]
) -> str:
    return _task_body(rung, body, telling, language, dict(wording), "")


def _task_body(
    rung: Rung,
    body: Body,
    telling: Telling,
    language: str,
    wording: Mapping[str, str],
    link: str,
) -> str:
    task = rung_text(rung, body, telling, language)
    return prompt_text(task, language, sides=rung.sides, wording=wording, link=link)


def is_first_day(last_key: str | None, key: str) -> bool:
    """Whether `key` is a new stance or ground for somebody whose last prompt was for `last_key`."""
    if last_key is None or not is_key(last_key):
        return True
    before, now = parse_key(last_key), parse_key(key)
    return (before.stance, before.surface, before.layers, before.orientation) != (
        now.stance,
        now.surface,
        now.layers,
        now.orientation,
    )


def schedule_next(
    session: Session, after: datetime, client: Client, after_date: date | None = None
) -> None:
    """Set when the next prompt is due: the one place where that is worked out and stored."""
    _schedule(session, after, client, load(session, client), after_date)


def schedule_anew(session: Session, now: datetime, client: Client) -> None:
    """Set the next prompt and a reminder that waits by another zone's clock."""
    situation = load(session, client)
    _schedule(session, now, client, situation)
    waits = due_of(session, "reminder", client.id)
    if situation is not None and waits is not None and waits.local_date is not None:
        day = waits.local_date
        clear_due(session, "reminder", client.id)
        _set_reminder(session, now, situation, day)


def _schedule(
    session: Session,
    after: datetime,
    client: Client,
    situation: Situation | None,
    after_date: date | None = None,
    prompted: Prompted | None = None,
) -> None:
    if situation is None or client.state != "active":
        clear_due(session, "prompt", client.id)
        return
    last = (prompted or prompted_of(session, [client.id])[client.id]).last
    settings = situation.settings
    due = next_due(
        after,
        client.time_zone,
        settings.prompt_at,
        settings.weekdays,
        away=settings.away,
        quiet=quiet_hours(situation.practice),
        after_date=max((day for day in (last, after_date) if day is not None), default=None),
    )
    if due is None:
        clear_due(session, "prompt", client.id)
    else:
        set_due(session, "prompt", client.id, due.at_utc, due.local_date)


def prompted_of(session: Session, client_ids: Sequence[int]) -> dict[int, Prompted]:
    """What each of these clients was prompted, in one query."""
    theirs = (Message.client_id == Client.id, IS_PROMPT)
    # Two look-ups and no join: each ends in the index, however many texts there have been.
    last = select(func.max(Message.local_date)).where(*theirs).correlate(Client).scalar_subquery()
    since = func.coalesce(Client.last_reply_at, Client.created_at)
    went = (
        select(func.count(col(Message.id)))
        .where(
            *theirs,
            col(Message.created_at) > since,
            col(Message.state).not_in(("missed", "cancelled")),
        )
        .correlate(Client)
        .scalar_subquery()
    )
    told = (
        select(Message.rung_key)
        .where(*theirs, col(Message.rung_key).is_not(None))
        .order_by(col(Message.local_date).desc())
        .limit(1)
        .correlate(Client)
        .scalar_subquery()
    )
    rows = select(Client.id, last, went, told).where(col(Client.id).in_(client_ids))
    return {client: Prompted(*found) for client, *found in session.exec(rows).all()}


def _prompted(session: Session, client: Client) -> Prompted:
    """What was read ahead for this client, which is good for once; else what is found now."""
    ahead: dict[int, Prompted] = session.info.get(PROMPTED, {})
    return ahead.pop(client.id, None) or prompted_of(session, [client.id])[client.id]


def prompt_due(session: Session, now: datetime, due: Due) -> None:
    """A client's hour has come: send the day's text, or record why not. Sets the next one."""
    client = session.get_one(Client, due.subject_id)
    situation = load(session, client)
    if situation is None or client.state != "active" or due.local_date is None:
        clear_due(session, "prompt", due.subject_id)
        return
    day = due.local_date
    at = due.at
    prompted = _prompted(session, client)
    _watch_silence(session, now, situation, prompted)
    in_doubt = questions.open_doubt(session, situation.client_id) is not None
    problem = why_no_prompt(now, situation, at, in_doubt=in_doubt)
    if problem is not None:
        _missed(session, now, situation, day, problem)
    elif not _rests_for_absence(session, now, situation, day):
        until = still_sensible_until(at, client.time_zone, quiet_hours(situation.practice))
        _send(session, now, situation, day, until, prompted.last_key)
    _schedule(session, at, client, situation, day, prompted)


def why_no_prompt(
    now: datetime, situation: Situation, at: datetime, *, in_doubt: bool
) -> str | None:
    """Why an active client's prompt that was due `at` is missed now; None when it is not."""
    if in_doubt:
        return IN_DOUBT
    if not still_worth_sending(
        at, now, situation.client.time_zone, quiet_hours(situation.practice)
    ):
        return DOWN
    return None


def _rests_for_absence(session: Session, now: datetime, situation: Situation, day: date) -> bool:
    """Apply the move that days away call for. True when the client now rests."""
    if _surely_not_away(session, situation, day):
        return False
    move = absence_move(situation, past(session, situation.client_id), day)
    if move is None:
        return False
    store_move(session, now, situation, day, move)
    rests = move.kind == "rest"
    if rests:
        rest_client(session, now, situation.client, By.CLOCK)
    name = "away_rest" if rests else "away_back"
    body = text_for(session, situation.practice, situation.client, name)
    text = Text("notice", body, name=name)
    queue_to_client(session, now, situation.practice, situation.client, text)
    for kind in move.alerts:
        raised = Raised(kind, MOVE_ALERTS.get(kind, "Nothing was moved."))
        raise_alert(session, now, situation.practice, situation.client, raised)
    return rests


def absence_move(situation: Situation, history: Sequence[PastDay], day: date) -> Move | None:
    """The move that the client's days away by this date call for."""
    placement, plan = situation.placement, situation.settings.plan(situation.resting)
    return decide_absence(situation.ladder, plan, history, placement.rung_key, placement.since, day)


def _surely_not_away(session: Session, situation: Situation, day: date) -> bool:
    """Whether the days away are too few for any move, by what was read ahead.

    An earlier move back for absence may make the days count from before.
    """
    backs = known(session, MoveRow, situation.client_id)
    since, settings = situation.placement.since, situation.settings
    if backs is None or any(back.local_date >= since for back in backs):
        return False
    caution = settings.caution
    if settings.rule_version == 2:
        missed = missed_sessions(settings.weekdays, since, day)
        few = missed < sessions_away(settings.weekdays, caution.away_back_days)
        return few and (day - since).days < caution.away_rest_days
    return (day - since).days < min(caution.away_back_days, caution.away_rest_days)


def still_sensible_until(at: datetime, zone: str, quiet: Quiet) -> datetime:
    """When a prompt due `at` is too late: after two hours, or when quiet hours begin."""
    local = at.astimezone(ZoneInfo(zone))
    begins = local_to_utc(datetime.combine(local.date(), quiet.begins), zone)
    return min(at + LATEST, begins) if begins > at else at + LATEST


def _send(
    session: Session,
    now: datetime,
    situation: Situation,
    day: date,
    until: datetime,
    last_key: str | None,
) -> None:
    rung = situation.rung_on(day)
    first_day = is_first_day(last_key, rung.key)
    # A link shows the rung that the client is on, and would show another than the text.
    here = rung.key == situation.placement.rung_key
    link = link_for_prompt(session, now, situation) if here else ""
    text = Text(
        "prompt",
        prompt_body(session, situation, rung, link, first_day=first_day),
        once_key=once_key("prompt", situation.client_id, day),
        local_date=day,
        rung_key=rung.key,
        not_after=until,
        name="prompt",
    )
    if queue_prompt(session, now, situation.practice, situation.client, text):
        _set_reminder(session, now, situation, day)


def _missed(session: Session, now: datetime, situation: Situation, day: date, problem: str) -> None:
    key = once_key("prompt", situation.client_id, day)
    text = Text("prompt", "", once_key=key, local_date=day)
    queue_prompt(session, now, situation.practice, situation.client, text, missed=problem)


def once_key(kind: str, client_id: int, day: date) -> str:
    """What makes a client's text of this kind and date the only one, however often it is due."""
    return f"{kind}:{client_id}:{day.isoformat()}"


def _set_reminder(session: Session, now: datetime, situation: Situation, day: date) -> None:
    reminder_at = situation.settings.reminder_at
    if reminder_at is None:
        return
    at = local_to_utc(datetime.combine(day, reminder_at), situation.client.time_zone)
    if at > now:
        set_due(session, "reminder", situation.client_id, at, day)


def reminder_due(session: Session, now: datetime, due: Due) -> None:
    """No reply by evening: one reminder, if the trainer wanted one and nothing came."""
    client = session.get_one(Client, due.subject_id)
    situation = load(session, client)
    clear_due(session, "reminder", due.subject_id)
    if situation is None or due.local_date is None:
        return
    if why_no_reminder(session, now, situation, due.local_date) is not None:
        return
    name = REMINDERS[due.local_date.toordinal() % len(REMINDERS)]
    text = Text(
        "reminder",
        text_for(session, situation.practice, client, name),
        once_key=once_key("reminder", client.id, due.local_date),
        local_date=due.local_date,
        name=name,
    )
    queue_to_client(session, now, situation.practice, client, text)


def why_no_reminder(session: Session, now: datetime, situation: Situation, day: date) -> str | None:
    """Why no reminder of this date's practice may go now; None when it may."""
    client = situation.client
    if client.state != "active":
        return f"The client is {client.state}."
    if is_quiet(now, client.time_zone, quiet_hours(situation.practice)):
        return "Quiet hours."
    if current_report(session, client.id, day) is not None:
        return "The client has reported already."
    if questions.open_doubt(session, client.id) is not None:
        return IN_DOUBT
    return None


def _watch_silence(
    session: Session, now: datetime, situation: Situation, prompted: Prompted
) -> None:
    """Three prompts running without a word, and again at every third: tell the trainer."""
    silent = prompted.unanswered
    if silent > 0 and silent % SILENT_AFTER == 0:
        did = f"No reply to the last {silent} prompts. Prompts go on."
        raise_alert(session, now, situation.practice, situation.client, Raised("silence", did))


def next_text(session: Session, situation: Situation, now: datetime) -> str:
    """The next day's text, as things stand, without a link."""
    due = _next(situation.settings, situation.client, situation.practice, now)
    rung = situation.rung_on(due.local_date if due else situation.local_date(now))
    last_key = prompted_of(session, [situation.client_id])[situation.client_id].last_key
    return prompt_body(session, situation, rung, first_day=is_first_day(last_key, rung.key))


def next_prompts(settings: PlanSettings, client: Client, practice: Practice, now: datetime) -> str:
    """When the next prompt would go, in the client's own time, for the trainer to read."""
    due = _next(settings, client, practice, now)
    if due is None:
        return "never"
    return f"{due.local_date:%a %d %b} {practice.measures.hour(settings.prompt_at)}"


def _next(
    settings: PlanSettings, client: Client, practice: Practice, now: datetime
) -> Moment | None:
    return next_due(
        now,
        client.time_zone,
        settings.prompt_at,
        settings.weekdays,
        away=settings.away,
        quiet=quiet_hours(practice),
    )
