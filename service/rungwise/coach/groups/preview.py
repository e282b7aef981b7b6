"""What an act over many would mean, loaded and shown before anything is done."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, func, select

from rungwise.coach.accounts.hand_over import receiver
from rungwise.coach.daily.write_to_client import refuse_text, tidy
from rungwise.coach.groups import acts
from rungwise.coach.groups.acts import (
    Asked,
    Effect,
    Give,
    Hour,
    Member,
    Passed,
    Pause,
    Rule,
    Write,
)
from rungwise.coach.groups.tags import tags_by_client
from rungwise.coach.record.codec import PlanSettings
from rungwise.coach.record.quiet_hours import quiet_hours, refuse_quiet_hour
from rungwise.coach.record.situation import load, past
from rungwise.coach.record.wording import text_for
from rungwise.concepts.questions import DOUBTS
from rungwise.errors import ImpossibleValue, NotFound, ServiceError
from rungwise.ladder.changeover import Changeover, changeover
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.queries.current_plan import present_plans
from rungwise.store.tables import (
    Alert,
    Client,
    PlanRow,
    Practice,
    Question,
    Trainer,
)
from rungwise.ticks.due import Due, is_quiet, next_due
from rungwise.wording.dates import date_words
from rungwise.wording.segments import segments

MOST_AT_ONCE = 500


class NobodyChosen(ServiceError):
    """Nobody is chosen. Tick some clients on the list, or choose others."""


@dataclass(frozen=True, slots=True)
class Line:
    """What follows for one client. `body` is the text that leaves, if one does; `stands` where they
    would stand under another version of the rule.
    """

    effect: Effect
    body: str = ""
    next_text: str = ""
    stands: Changeover | None = None

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
    open_alerts = (
        select(Alert.client_id, func.count(col(Alert.id)))
        .where(col(Alert.client_id).in_(ids), Alert.state != "handled")
        .group_by(col(Alert.client_id))
    )
    alerts = dict(session.exec(open_alerts).all())
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
            trainer_id=client.trainer_id,
            open_alerts=alerts.get(client.id, 0),
        )
        for client in rows
    ]
    return sorted(found, key=lambda one: (one.name.lower(), one.client_id))


def look(
    session: Session, now: datetime, trainer: Trainer, asked: Asked, ids: Sequence[int]
) -> Preview:
    """What would follow; ImpossibleValue for what can be done to nobody."""
    practice = session.get_one(Practice, trainer.practice_id)
    asked = _checked(session, trainer, asked, practice, now)
    done, passed = acts.effects(asked, members_of(session, now, trainer, ids))
    seen = acts.seen_hash(asked, done, passed)
    lines = [_line(session, now, practice, asked, effect) for effect in done]
    return Preview(asked, tuple(lines), tuple(passed), seen)


def _checked(
    session: Session, trainer: Trainer, asked: Asked, practice: Practice, now: datetime
) -> Asked:
    acts.check(asked, now.astimezone(ZoneInfo(practice.time_zone)).date())
    if isinstance(asked, Hour):
        refuse_quiet_hour(practice, PlanSettings(prompt_at=asked.prompt_at))
    if isinstance(asked, Write):
        body = tidy(asked.body)
        if not body:
            raise ImpossibleValue("text", "", "some words")
        return Write(body)
    if isinstance(asked, Give):
        return Give(asked.trainer_id, receiver(session, trainer, asked.trainer_id).name)
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
    if isinstance(asked, Rule):
        return Line(effect, stands=_stands(session, now, client, asked.version))
    hour = practice.measures.hour(settings.prompt_at)
    comes = "" if due is None else f"{due.local_date:%a %-d %b}, {hour}"
    told = ""
    if isinstance(asked, Pause):
        first = max(asked.first, effect.member.today)
        after = _next(now, practice, client, settings, after_date=asked.last)
        told = _told_of(session, practice, client, first, after)
    return Line(effect, told, comes)


def _stands(session: Session, now: datetime, client: Client, version: int) -> Changeover | None:
    situation = load(session, client)
    if situation is None or situation.placement.rung_key not in situation.ladder:
        return None
    history, day = past(session, client.id), situation.local_date(now)
    plan, key = situation.settings.plan(situation.resting), situation.placement.rung_key
    return changeover(situation.ladder, plan, history, key, day, version)


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
