"""Loading the demo: four weeks of the invented practice, played through the real loop."""

from collections.abc import Callable
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from rungwise.carriers.base import InboundText
from rungwise.carriers.handset import Handset
from rungwise.clock import HandClock
from rungwise.coach.accounts.trainers import add_trainer
from rungwise.coach.alerting.alerts import open_alert
from rungwise.coach.alerting.page_test import send_test_page
from rungwise.coach.daily.receive import receive
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.plan.placement import Handling, handle, place_client
from rungwise.coach.record.audit import record_by_service
from rungwise.coach.record.codec import ladder_of
from rungwise.coach.record.situation import load
from rungwise.demo.cast import Act, Cast, Part, cast
from rungwise.demo.characters import first_name, pick_rung
from rungwise.demo.play import Play, say
from rungwise.store import Store
from rungwise.store.tables import Client, DemoClock, Message, Practice, Trainer

TESTED_AFTER = timedelta(hours=5)
PASSWORD = "stand-close-to-the-counter"  # noqa: S105  # the demo's, printed on the screen


# Called with the share of the weeks that has been played, from 0 to 1, and where the play is.
Shown = Callable[[float, datetime], None]


def load_demo(store: Store, now: datetime, shown: Shown | None = None) -> None:
    """Fill an empty database with the demo practice and its last four weeks."""
    begin_demo(store, now)
    play_weeks(store, now, shown)


def begin_demo(store: Store, now: datetime) -> None:
    """The demo practice and its trainers, on the morning four weeks ago: its clock is behind."""
    people = cast()
    start = _start(now)
    with store.write() as session:
        practice = Practice(**people.practice, is_demo=True, created_at=start)
        session.add(practice)
        session.add(DemoClock(ahead_s=(start - now).total_seconds()))
        session.flush()
        record_by_service(session, start, practice.id, "practice added")
        _trainers(session, start, practice, people)


def play_weeks(store: Store, now: datetime, shown: Shown | None = None) -> None:
    """Play a demo that has begun up to `now`. From then on its clock is the machine's."""
    people = cast()
    zone = ZoneInfo(people.practice["time_zone"])
    today = now.astimezone(zone).date()
    start = _start(now)
    with store.read() as session:
        ids = {trainer.email: trainer.id for trainer in session.exec(select(Trainer)).all()}
    trainers = {told["key"]: ids[told["email"]] for told in people.trainers}
    play = Play(store, {"handset": Handset("demo-history")}, HandClock(start), today)
    for trainer_id in trainers.values():
        play.plan(start + TESTED_AFTER, _answering(trainer_id))
    for part in people.parts.values():
        day = part.joined if part.joined is not None else -people.days
        joins = start + timedelta(days=people.days + day, hours=6)
        play.plan(joins, _joining(part, trainers[part.trainer]))
        for said in part.says:
            at = datetime.combine(today + timedelta(days=said.day), said.at, zone)
            play.plan(at, _saying(part.name, said.words))
    for act in people.acts:
        at = datetime.combine(today + timedelta(days=act.day), act.at, zone)
        play.plan(at, _acting(act, trainers[act.trainer]))
    whole = (now - start).total_seconds()
    play.to(now, lambda at: shown((at - start).total_seconds() / whole, at) if shown else None)
    with store.write() as session:
        session.get_one(DemoClock, 1).ahead_s = 0.0


def _start(now: datetime) -> datetime:
    """The morning on which a demo begins that is played up to `now`."""
    people = cast()
    zone = ZoneInfo(people.practice["time_zone"])
    day = now.astimezone(zone).date() - timedelta(days=people.days)
    return datetime.combine(day, datetime.min.time(), zone)


def _trainers(session: Session, now: datetime, practice: Practice, people: Cast) -> dict[str, int]:
    """Add them; gives their ids by key."""
    ids: dict[str, int] = {}
    for told in people.trainers:
        trainer = add_trainer(session, now, practice, told["name"], told["email"], PASSWORD)
        trainer.role = told["role"]
        trainer.phone = told["phone"]
        trainer.second_contact_name = told["second_contact_name"]
        trainer.second_contact_phone = told["second_contact_phone"]
        session.add(trainer)
        send_test_page(session, now, trainer, trainer, {practice.carrier})
        ids[told["key"]] = trainer.id
    return ids


def _answering(trainer_id: int) -> Callable[[Session, datetime], None]:
    """A trainer answers the test page, so that clients may begin."""

    def happen(session: Session, now: datetime) -> None:
        trainer = session.get_one(Trainer, trainer_id)
        practice = session.get_one(Practice, trainer.practice_id)
        words = f"1 {trainer.page_test_code}"
        inbound = InboundText(f"demo-test-{trainer.id}", trainer.phone or "", practice.phone, words)
        receive(session, now, practice.carrier, inbound)

    return happen


def _joining(part: Part, trainer_id: int) -> Callable[[Session, datetime], None]:
    def happen(session: Session, now: datetime) -> None:
        rung = pick_rung(ladder_of(part.profile).rungs, part.start)
        new = NewClient(
            name=part.name,
            called=first_name(part.name),
            phone=part.phone,
            profile=part.profile,
            time_zone=part.zone,
            language=part.language,
            first_key=rung.key,
            settings=part.settings,
            agreed=True,
        )
        add_client(session, now, session.get_one(Trainer, trainer_id), new)

    return happen


def _saying(name: str, words: str) -> Callable[[Session, datetime], None]:
    def happen(session: Session, now: datetime) -> None:
        (client,) = (each for each in session.exec(select(Client)) if each.name == name)
        say(session, now, client, words)

    return happen


def _acting(act: Act, trainer_id: int) -> Callable[[Session, datetime], None]:
    def happen(session: Session, now: datetime) -> None:
        trainer = session.get_one(Trainer, trainer_id)
        (client,) = (each for each in session.exec(select(Client)) if each.name == act.client)
        situation = load(session, client)
        if situation is None:
            return
        ladder = situation.ladder
        place = ladder.index(situation.placement.rung_key)
        if act.up is not None and client.state == "active":
            to = ladder.rungs[min(place + act.up, len(ladder) - 1)]
            place_client(session, now, trainer, situation, to.key, act.what)
            return
        alert = open_alert(session, client.id, act.alert or "")
        if alert is None:
            return
        resume = None
        if act.resume_below is not None:
            resume = ladder.rungs[max(place - act.resume_below, 0)].key
        handle(session, now, trainer, alert, situation, Handling(act.what, resume_key=resume))

    return happen


def texts_stored(store: Store) -> int:
    """How many texts the demo holds, for the line that says it is ready."""
    with store.read() as session:
        return len(session.exec(select(Message.id)).all())
