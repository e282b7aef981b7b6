"""Acting on many clients: looked at first, done in one transaction, taken back as a whole.

Who is passed over and what follows is worked out in `acts`; here it is loaded and stored.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import update
from sqlmodel import Session, col, select

from rungwise.coach.daily.write_to_client import refuse_text, tidy, write_to_client
from rungwise.coach.groups import acts
from rungwise.coach.groups.acts import Asked, Days, Effect, Hour, Member, Passed, Pause, Tag, Write
from rungwise.coach.groups.tags import put_tag, tags_by_client, take_tag
from rungwise.coach.outbox.texts import Text, queue_to_client
from rungwise.coach.plan.plan_edit import PlanChange, edit_plan
from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import PlanSettings
from rungwise.coach.record.quiet_hours import quiet_hours, refuse_quiet_hour
from rungwise.coach.record.situation import Situation, load
from rungwise.coach.record.wording import text_for
from rungwise.concepts.questions import DOUBTS
from rungwise.errors import EditedMeanwhile, ImpossibleValue, NotFound, ServiceError
from rungwise.store.idempotent_inserts import rows_updated
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.queries.current_plan import present_plans
from rungwise.store.tables import (
    Client,
    GroupAct,
    GroupActClient,
    Message,
    PlanRow,
    Practice,
    Question,
    Trainer,
)
from rungwise.ticks.due import Due, is_quiet, next_due
from rungwise.wording.dates import date_words
from rungwise.wording.segments import segments

MOST_AT_ONCE = 500
# So long the texts of an act wait, and it can be taken back whole.
WAITS = timedelta(minutes=2)
LEFT_ALREADY = "the text has left already"
CHANGED_SINCE = "somebody has changed it since"
TAKEN_BACK = "The trainer took it back."


class NobodyChosen(ServiceError):
    """Nobody is chosen. Tick some clients on the list, or choose others."""

    def __init__(self) -> None:
        super().__init__(self.__doc__)


class LookFirst(EditedMeanwhile):
    """What would follow has changed since you looked. Look at it again."""

    def __init__(self) -> None:
        super().__init__(self.__doc__)


class TakenBackBefore(ServiceError):
    """This was taken back already."""

    def __init__(self) -> None:
        super().__init__(self.__doc__)


@dataclass(frozen=True, slots=True)
class Line:
    """What follows for one client. `body` is the text that leaves, if one does."""

    effect: Effect
    body: str = ""
    next_text: str = ""

    @property
    def member(self) -> Member:
        return self.effect.member

    @property
    def segments(self) -> int:
        return segments(self.body).count if self.body else 0


@dataclass(frozen=True, slots=True)
class Preview:
    """What would follow for whom, and whom it passes over. `seen` says that it was looked at."""

    asked: Asked
    lines: tuple[Line, ...]
    passed: tuple[Passed, ...]
    seen: str

    @property
    def texts(self) -> int:
        return sum(bool(line.body) for line in self.lines)

    @property
    def segments(self) -> int:
        return sum(line.segments for line in self.lines)


def members_of(
    session: Session, now: datetime, trainer: Trainer, ids: Sequence[int]
) -> list[Member]:
    """These clients in the order of their names, in a few queries; others' are not found."""
    if not ids:
        raise NobodyChosen
    if len(ids) > MOST_AT_ONCE:
        raise ImpossibleValue("clients", len(ids), f"at most {MOST_AT_ONCE} at once")
    scope = Scope.of(trainer)
    rows = session.exec(select(Client).where(scope.clients, col(Client.id).in_(ids))).all()
    if len(rows) != len(set(ids)):
        raise NotFound("There is no such client among yours.")
    settings = dict(session.exec(present_plans(PlanRow.settings, ids)).all())
    doubts = select(Question.client_id).where(
        col(Question.client_id).in_(ids),
        col(Question.answered_at).is_(None),
        col(Question.kind).in_(DOUBTS),
    )
    in_doubt = set(session.exec(doubts).all())
    tags = tags_by_client(session, trainer, ids)
    quiet = quiet_hours(session.get_one(Practice, trainer.practice_id))
    found = [
        Member(
            client_id=client.id,
            name=client.name,
            called=client.called,
            language=client.language,
            state=client.state,
            today=now.astimezone(ZoneInfo(client.time_zone)).date(),
            version=client.version,
            settings=PlanSettings.from_json(settings[client.id]) if client.id in settings else None,
            in_doubt=client.id in in_doubt,
            night=is_quiet(now, client.time_zone, quiet),
            tags=tags[client.id],
        )
        for client in rows
    ]
    return sorted(found, key=lambda one: (one.name.lower(), one.client_id))


def look(
    session: Session, now: datetime, trainer: Trainer, asked: Asked, ids: Sequence[int]
) -> Preview:
    """What would follow; ImpossibleValue for what can be done to nobody."""
    practice = session.get_one(Practice, trainer.practice_id)
    asked = _checked(asked, practice, now)
    done, passed = acts.effects(asked, members_of(session, now, trainer, ids))
    seen = acts.seen_hash(asked, done, passed)
    lines = [_line(session, now, practice, asked, effect) for effect in done]
    return Preview(asked, tuple(lines), tuple(passed), seen)


def _checked(asked: Asked, practice: Practice, now: datetime) -> Asked:
    acts.check(asked, now.astimezone(ZoneInfo(practice.time_zone)).date())
    if isinstance(asked, Hour):
        refuse_quiet_hour(practice, PlanSettings(prompt_at=asked.prompt_at))
    if isinstance(asked, Write):
        body = tidy(asked.body)
        if not body:
            raise ImpossibleValue("text", "", "some words")
        return Write(body)
    return asked


def _line(
    session: Session, now: datetime, practice: Practice, asked: Asked, effect: Effect
) -> Line:
    client, settings = session.get_one(Client, effect.member.client_id), effect.settings
    if settings is None:
        if effect.body:
            refuse_text(client, tidy(effect.body))
        return Line(effect, tidy(effect.body))
    due = _next(now, practice, client, settings)
    comes = "" if due is None else f"{due.local_date:%a %-d %b}, {settings.prompt_at:%H:%M}"
    told = ""
    if isinstance(asked, Pause):
        first = max(asked.first, effect.member.today)
        after = _next(now, practice, client, settings, after_date=asked.last)
        told = _told_of(session, practice, client, first, after)
    return Line(effect, told, comes)


def _next(
    now: datetime,
    practice: Practice,
    client: Client,
    settings: PlanSettings,
    after_date: date | None = None,
) -> Due | None:
    return next_due(
        now,
        client.time_zone,
        settings.prompt_at,
        settings.weekdays,
        away=settings.away,
        quiet=quiet_hours(practice),
        after_date=after_date,
    )


def _told_of(
    session: Session, practice: Practice, client: Client, first: date, after: Due | None
) -> str:
    """The text that tells a client of the pause and of the day on which texts go on."""
    if after is None:
        raise ImpossibleValue("last day", "", "before some day of practice")
    language = client.language
    values = {"from": date_words(first, language), "date": date_words(after.local_date, language)}
    return text_for(session, practice, client, "paused_from", **values)


# --- doing it -------------------------------------------------------------------------------------


def act(
    session: Session,
    now: datetime,
    trainer: Trainer,
    asked: Asked,
    ids: Sequence[int],
    *,
    seen: str,
    once: str,
) -> GroupAct:
    """Do what was looked at, to all of them; LookFirst, and nothing is done, if that has changed.

    The same form sent twice does it once.
    """
    before = session.exec(select(GroupAct).where(GroupAct.once == once)).first()
    if before is not None and before.trainer_id == trainer.id:
        return before
    preview = look(session, now, trainer, asked, ids)
    if preview.seen != seen or not once:
        raise LookFirst
    asked = preview.asked
    done = GroupAct(
        trainer_id=trainer.id,
        kind=acts.kind_of(asked),
        asked=acts.to_json(asked),
        once=once,
        at=now,
    )
    session.add(done)
    session.flush()
    rows = [_do(session, now, trainer, done, line) for line in preview.lines]
    rows += [
        GroupActClient(act_id=done.id, client_id=one.member.client_id, place=0, passed_over=one.why)
        for one in preview.passed
    ]
    for place, row in enumerate(rows):
        row.place = place
        session.add(row)
    record(
        session,
        now,
        trainer,
        "acted on many",
        act=done.id,
        kind=done.kind,
        clients=len(preview.lines),
        passed_over=len(preview.passed),
    )
    session.flush()
    return done


def _do(
    session: Session, now: datetime, trainer: Trainer, done: GroupAct, line: Line
) -> GroupActClient:
    member = line.member
    client = session.get_one(Client, member.client_id)
    row = GroupActClient(act_id=done.id, client_id=client.id, place=0)
    asked = acts.from_json(done.kind, done.asked)
    if isinstance(asked, Tag):
        (put_tag if asked.on else take_tag)(session, now, trainer, client, asked.name)
        return row
    if isinstance(asked, Write):
        once = f"many:{done.id}"
        message = write_to_client(session, now, trainer, client, line.body, once=once)
        _waits(session, now, row, message)
        return row
    situation = _situation(session, client)
    row.before = situation.plan_row.settings
    _set(session, now, trainer, situation, line.effect.settings)
    if line.body:
        text = Text("notice", line.body, name="paused_from")
        message = queue_to_client(session, now, situation.practice, client, text)
        _waits(session, now, row, message)
    return row


def _waits(session: Session, now: datetime, row: GroupActClient, message: Message | None) -> None:
    if message is not None:
        message.not_before = now + WAITS
        session.add(message)
        row.message_id = message.id


def _situation(session: Session, client: Client) -> Situation:
    situation = load(session, client)
    if situation is None:
        raise NotFound("No first rung has been set for this client.")
    return situation


def _set(
    session: Session,
    now: datetime,
    trainer: Trainer,
    situation: Situation,
    settings: PlanSettings | None,
) -> None:
    if settings is not None:
        edit_plan(session, now, trainer, situation, PlanChange.keeping(situation, settings))


# --- taking it back -------------------------------------------------------------------------------


def act_of(session: Session, trainer: Trainer, act_id: int) -> GroupAct:
    """An act of this trainer's own; NotFound otherwise."""
    found = session.get(GroupAct, act_id)
    if found is None or found.trainer_id != trainer.id:
        raise NotFound("There is no such act of yours.")
    return found


def clients_of_act(session: Session, act_id: int) -> list[tuple[GroupActClient, Client]]:
    """Whom an act was about, in the order in which it was shown."""
    rows = (
        select(GroupActClient, Client)
        .join(Client, col(Client.id) == col(GroupActClient.client_id))
        .where(GroupActClient.act_id == act_id)
        .order_by(col(GroupActClient.place))
    )
    return list(session.exec(rows).all())


def undo(session: Session, now: datetime, trainer: Trainer, done: GroupAct) -> int:
    """Take back of an act what has not left and nobody has changed since; for how many it was.

    Nobody is cleared or resumed by it: it only puts back an hour, days, dates or a tag.
    """
    session.refresh(done, with_for_update=True)
    if done.undone_at is not None:
        raise TakenBackBefore
    done.undone_at = now
    session.add(done)
    asked = acts.from_json(done.kind, done.asked)
    back = 0
    for row, client in clients_of_act(session, done.id):
        if row.passed_over is None:
            row.kept = _undo_one(session, now, trainer, asked, row, client)
            back += row.kept is None
            session.add(row)
    record(session, now, trainer, "act on many undone", act=done.id, kind=done.kind, clients=back)
    session.flush()
    return back


def _undo_one(
    session: Session,
    now: datetime,
    trainer: Trainer,
    asked: Asked,
    row: GroupActClient,
    client: Client,
) -> str | None:
    """None when it was taken back; else why not."""
    if isinstance(asked, Tag):
        (take_tag if asked.on else put_tag)(session, now, trainer, client, asked.name)
        return None
    if isinstance(asked, Write):
        return None if _cancel(session, row) else LEFT_ALREADY
    return _undo_plan(session, now, trainer, asked, row, client)


def _undo_plan(
    session: Session,
    now: datetime,
    trainer: Trainer,
    asked: Pause | Hour | Days,
    row: GroupActClient,
    client: Client,
) -> str | None:
    if row.message_id is not None and not _cancel(session, row):
        # They have been told of the pause: ending it is for the client's own page, with a word.
        return LEFT_ALREADY
    situation = _situation(session, client)
    before = PlanSettings.from_json(row.before or {})
    settings = acts.taken_back(asked, before, situation.settings)
    if settings is None:
        return CHANGED_SINCE
    try:
        _set(session, now, trainer, situation, settings)
    except ServiceError as error:
        return str(error).rstrip(".")
    return None


def _cancel(session: Session, row: GroupActClient) -> bool:
    """Take the text back if it still waits."""
    waits = (
        update(Message)
        .where(col(Message.id) == row.message_id, col(Message.state) == "queued")
        .values(state="cancelled", problem=TAKEN_BACK)
    )
    return rows_updated(session, waits) > 0
