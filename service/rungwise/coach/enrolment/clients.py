"""Adding practices, trainers and clients, and finding those a trainer may see."""

from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import available_timezones

from sqlmodel import Session, select

from rungwise.carriers.phone import to_e164
from rungwise.coach.daily.welcome import welcome
from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import PlanSettings, ladder_of
from rungwise.coach.record.fields import name_or_refuse
from rungwise.coach.record.moves import store_move
from rungwise.coach.record.quiet_hours import refuse_quiet_hour
from rungwise.coach.record.situation import load
from rungwise.coach.reviews.retests import schedule_review
from rungwise.errors import ImpossibleValue, NotFound
from rungwise.ladder.absence import override_move
from rungwise.ladder.body import Profile, profile_to_json
from rungwise.store.tables import Client, Placement, PlanRow, Practice, Trainer


@dataclass(frozen=True, slots=True)
class NewClient:
    """What a trainer fills in. `first_key` None takes the lowest rung. Times are the client's."""

    name: str
    called: str
    phone: str
    profile: Profile
    time_zone: str
    address: str = ""
    kin: str = ""
    kin_phone: str = ""
    number_to_second: bool = False
    language: str = "en"
    first_key: str | None = None
    first_reason: str = "First rung, chosen from the baseline."
    settings: PlanSettings = field(default_factory=PlanSettings)
    agreed: bool = False


def add_client(session: Session, now: datetime, trainer: Trainer, new: NewClient) -> Client:
    """A client with a plan and a first rung. With `agreed`, the first text goes at once."""
    practice = session.get_one(Practice, trainer.practice_id)
    if new.time_zone not in available_timezones():
        allowed = "a zone name such as Europe/London or America/New_York"
        raise ImpossibleValue("time zone", new.time_zone, allowed)
    refuse_quiet_hour(practice, new.settings)
    phone = to_e164(new.phone, practice.country)
    _refuse_twin(session, practice, phone)
    client = Client(
        practice_id=practice.id,
        trainer_id=trainer.id,
        name=name_or_refuse("name", new.name),
        called=name_or_refuse("called", new.called),
        phone=phone,
        address=new.address or None,
        kin_name=new.kin or None,
        kin_phone=new.kin_phone or None,
        number_to_second=new.number_to_second,
        language=new.language,
        time_zone=new.time_zone,
        state_since=now,
        created_at=now,
    )
    session.add(client)
    session.flush()
    _place_first(session, now, trainer, client, new)
    record(session, now, trainer, "client added", client_id=client.id)
    if new.agreed:
        welcome(session, now, practice, client)
    schedule_review(session, now, client)
    return client


def _refuse_twin(session: Session, practice: Practice, phone: str) -> None:
    rows = select(Client.id).where(Client.practice_id == practice.id, Client.phone == phone)
    if session.exec(rows).first() is not None:
        raise ImpossibleValue("phone", phone, "a number that no other client of the practice has")


def _place_first(
    session: Session, now: datetime, trainer: Trainer, client: Client, new: NewClient
) -> None:
    ladder = ladder_of(new.profile)
    first_key = new.first_key or ladder.rungs[0].key
    if first_key not in ladder:
        raise ImpossibleValue("first rung", first_key, "a rung of this client's ladder")
    session.add(
        PlanRow(
            client_id=client.id,
            version=1,
            settings=new.settings.to_json(),
            profile=profile_to_json(new.profile),
            set_by=trainer.id,
            set_at=now,
        )
    )
    placement = Placement(
        client_id=client.id, rung_key=first_key, plan_version=1, since=now.date(), set_at=now
    )
    session.add(placement)
    session.flush()
    situation = load(session, client)
    if situation is None:
        raise NotFound("The client has no rung.")
    today = situation.local_date(now)
    placement.since = today
    plan = situation.settings.plan(resting=False)
    move = override_move(plan, (), first_key, first_key, new.first_reason)
    store_move(
        session, now, situation.client, situation.placement, today, move, trainer_id=trainer.id
    )
