"""Changing a client's facts: what would follow from it, and doing what was looked at."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from itertools import islice
from json import dumps
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from rungwise.coach.accounts.hand_over import hand_over, look_at_hand_over, receivers
from rungwise.coach.daily.new_phone import ASK, NOT_ASKED, change_phone, refuse_taken
from rungwise.coach.daily.prompt import (
    next_text,
    prompted_of,
    schedule_anew,
)
from rungwise.coach.daily.weekly import schedule_weekly
from rungwise.coach.enrolment.facts import (
    FACTS,
    Choices,
    Facts,
    LeadsTo,
    changed,
    read_facts,
)
from rungwise.coach.enrolment.home_checklist import not_ready
from rungwise.coach.enrolment.intake import latest_home, set_home
from rungwise.coach.enrolment.phone_check import Phone
from rungwise.coach.outbox.sender_numbers import number_of, numbers_in_order
from rungwise.coach.outbox.texts import Text, queue_to_client
from rungwise.coach.plan.placement import check_version, put_on
from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import ladder_of
from rungwise.coach.record.fields import Unfinished, sentence
from rungwise.coach.record.plan_versions import new_plan
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.coach.record.situation import Situation, load
from rungwise.coach.record.wording import text_for
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.ladder.body import Profile, profile_from_stored, profile_to_json
from rungwise.ladder.places import Kept, keep_place
from rungwise.store.tables import Client, Number, Placement, PlanRow, Practice, Trainer
from rungwise.ticks.due import next_dues
from rungwise.wording.rung_words import rung_short
from rungwise.wording.texts import LANGUAGES

PROMPTS_SHOWN = 3
TO_THEM, TO_NEW_PHONE = "to them", "to the new phone"


class SeenOther(ServiceError):
    """What follows from this is not what was looked at. Look at it again."""


@dataclass(frozen=True, slots=True)
class TextTold:
    """A text that a change leads to: when it goes, where, and its very words."""

    when: str
    to_phone: str
    body: str


@dataclass(frozen=True, slots=True)
class Follows:
    """What a change means, before anything is stored. `seen` tells whether it was looked at."""

    before: Facts
    after: Facts
    changed: Mapping[str, tuple[str, str]]
    sentences: tuple[str, ...]
    texts: tuple[TextTold, ...]
    kept: Kept | None
    version: int

    @property
    def seen(self) -> str:
        shown = (self.version, sorted(self.changed.items()), self.sentences, self.texts)
        return sha256(repr(shown).encode()).hexdigest()[:32]


def facts_of(session: Session, client: Client) -> Facts:
    """The client's facts as they are stored."""
    practice = session.get_one(Practice, client.practice_id)
    situation = load(session, client)
    home = latest_home(session, client.id)
    return Facts(
        name=client.name,
        called=client.called,
        phone=client.phone,
        address=client.address or "",
        language=client.language,
        time_zone=client.time_zone,
        trainer=session.get_one(Trainer, client.trainer_id).email,
        sends_from=number_of(session, practice, client).phone,
        someone=(home.someone or "") if home else "",
        home=frozenset(home.in_place) if home else frozenset(),
        profile=profile_from_stored(situation.plan_row.profile) if situation else None,
    )


def choices_for(session: Session, client: Client) -> Choices:
    """What this client's facts can be chosen from."""
    practice = session.get_one(Practice, client.practice_id)
    own = session.get_one(Trainer, client.trainer_id)
    situation = load(session, client)
    return Choices(
        country=practice.country,
        trainers={one.email: one.name for one in (own, *receivers(session, own))},
        numbers=tuple(one.phone for one in numbers_in_order(session, practice.id)),
        most_target_s=situation.settings.target_s if situation else 0,
    )


def look_at_edit(
    session: Session, now: datetime, by: Trainer, client: Client, given: Mapping[str, str]
) -> Follows:
    """What follows from putting `given` in place of the facts of those names.

    Unfinished, with a sentence for each field that cannot be used.
    """
    before = facts_of(session, client)
    after, phone = read_facts(given, before, choices_for(session, client))
    differs = changed(before, after)
    if "phone" in differs:
        try:
            refuse_taken(session, client, after.phone)
        except ImpossibleValue as taken:
            raise Unfinished({"phone": sentence(taken)}) from None
    edit = _Edit(session, now, by, client, before, after, phone)
    kept = edit.kept
    return Follows(
        before,
        after,
        differs,
        tuple(edit.sentences(frozenset(differs))),
        tuple(edit.texts(frozenset(differs))),
        kept,
        client.version,
    )


def edit_client(
    session: Session,
    now: datetime,
    by: Trainer,
    client: Client,
    given: Mapping[str, str],
    *,
    version: int,
    seen: str,
) -> Follows:
    """Store the changed facts in this transaction, with all that follows.

    EditedMeanwhile when somebody changed the client since `version`, SeenOther when what follows
    is not what `seen` stands for.
    """
    check_version(client, version)
    follows = look_at_edit(session, now, by, client, given)
    if follows.seen != seen:
        raise SeenOther
    if follows.changed:
        _store(session, now, by, client, follows)
    return follows


# --- what follows ---------------------------------------------------------------------------------


class _Edit:
    """One change being looked at. `then` is the client as they would be; it is never stored."""

    def __init__(
        self,
        session: Session,
        now: datetime,
        by: Trainer,
        client: Client,
        before: Facts,
        after: Facts,
        phone: Phone,
    ) -> None:
        self.session, self.now, self.by, self.client = session, now, by, client
        self.before, self.after, self.phone = before, after, phone
        self.situation = load(session, client)
        self.practice = session.get_one(Practice, client.practice_id)
        self.then = self._then()

    def _then(self) -> Client:
        after = self.after
        trainer = self.session.exec(select(Trainer).where(Trainer.email == after.trainer)).one()
        values = {
            **self.client.model_dump(),
            "name": after.name,
            "called": after.called,
            "language": after.language,
            "time_zone": after.time_zone,
            "trainer_id": trainer.id,
        }
        return Client(**values)

    @property
    def kept(self) -> Kept | None:
        """The place on the new ladder; None when the ladder stays as it is."""
        if self.situation is None or self.after.profile in (None, self.before.profile):
            return None
        new = ladder_of(self.after.profile)
        return keep_place(self.situation.ladder, self.situation.placement.rung_key, new)

    def situation_then(self) -> Situation | None:
        """The client's situation as it would be."""
        now = self.situation
        if now is None or self.after.profile is None:
            return None
        stored = now.plan_row.profile
        if self.kept is not None:
            stored = profile_to_json(self.after.profile)
        placement = Placement(**now.placement.model_dump())
        if self.kept is not None:
            placement.rung_key = self.kept.key
        row = PlanRow(**{**now.plan_row.model_dump(), "profile": stored})
        return replace(
            now, client=self.then, plan_row=row, profile=dumps(stored), placement=placement
        )

    def sentences(self, differs: frozenset[str]) -> Iterator[str]:
        leads = {FACTS[name].leads_to for name in differs}
        if LeadsTo.PHONE in leads:
            yield from self._of_phone()
        if LeadsTo.HOURS in leads:
            yield self._of_hours()
        if "language" in differs and self.client.state not in NOT_ASKED:
            name = LANGUAGES[self.after.language]
            yield f"Texts are in {name} from now on, and replies are read in it."
        if LeadsTo.NUMBER in leads:
            yield f"Texts come from {self.after.sends_from} from now on, and say so once."
        if LeadsTo.TRAINER in leads:
            yield from self._of_trainer()
        if self.kept is not None:
            yield from self._of_ladder(self.kept)
        if "home" in differs:
            for item in not_ready(self.after.home):
                yield f"Not in place: {item.label}. Practice goes on; pause the texts until it is."

    def _of_phone(self) -> Iterator[str]:
        old, new = self.before.phone, self.after.phone
        if self.phone.warning:
            yield f"{self.phone.warning} Make sure that it gets texts."
        if self.client.state == "invited":
            yield f"Nothing has been sent yet: the first text goes to {new}."
        elif self.client.state == "stopped":
            yield f"They have ended the texts, so nothing goes to {new} before they write from it."
        else:
            yield f"{new} is asked first. Texts go on to {old} until it has answered YES."
            yield f"Is {old} no longer theirs? Then pause the texts as well."

    def _of_hours(self) -> str:
        then = self.situation_then()
        zone = self.after.time_zone.replace("_", " ")
        if then is None:
            return f"Times are those of {zone} from now on."
        settings = then.settings
        if self.client.state != "active":
            begins = self.practice.measures.hour(settings.prompt_at)
            return f"No text of the day goes now; when they begin, it is at {begins} in {zone}."
        last = prompted_of(self.session, [self.client.id])[self.client.id].last
        dues = next_dues(
            self.now,
            self.after.time_zone,
            settings.prompt_at,
            settings.weekdays,
            away=settings.away,
            quiet=quiet_hours(self.practice),
            after_date=last,
        )
        here, hour = ZoneInfo(self.practice.time_zone), self.practice.measures.hour
        told = [
            f"{there:%a %d %b} {hour(there.time())}"
            f" ({hour(due.at_utc.astimezone(here).time())} where the practice is)"
            for due in islice(dues, PROMPTS_SHOWN)
            for there in [due.at_utc.astimezone(ZoneInfo(self.after.time_zone))]
        ]
        if not told:
            return f"No text of the day would go in {zone}: look at the plan."
        return f"The next texts go, by the clock in {zone}: {', '.join(told)}."

    def _of_trainer(self) -> Iterator[str]:
        to = self.session.get_one(Trainer, self.then.trainer_id)
        giver = self.client.trainer_id
        looked = look_at_hand_over(self.session, self.by, giver, to.id, [self.client.id])
        yield f"{to.name} looks after them from now on."
        if looked.alerts:
            yield f"Their open alerts go along, unseen: {looked.alerts}, urgent {looked.urgent}."
        if self.by.role != "lead" and to.id != self.by.id:
            yield "You don't see them any more after this."

    def _of_ladder(self, kept: Kept) -> Iterator[str]:
        situation, then = self.situation, self.situation_then()
        if situation is None or then is None:
            return
        old, new, lengths = situation.ladder, then.ladder, situation.lengths
        yield f"The new ladder has {len(new.rungs)} rungs; the one until now has {len(old.rungs)}."
        rung = new[kept.key]
        if kept.because is None:
            yield f"They stay where they are: {rung_short(rung, lengths=lengths)}."
        else:
            was = situation.placement.rung_key
            name = rung_short(old[was], lengths=lengths) if was in old else was
            yield f"They go from {name} to {rung_short(rung, lengths=lengths)}. {kept.because}"
        known = {one.gate for one in old.rungs}
        fresh = {one.gate for one in new.rungs if one.gate} - known - then.settings.open_gates
        if fresh:
            listed = ", ".join(sorted(str(one).replace("_", " ") for one in fresh))
            yield f"Gates on the way that stay closed until you open them: {listed}."

    def texts(self, differs: frozenset[str]) -> Iterator[TextTold]:
        leads = {FACTS[name].leads_to for name in differs}
        gets_texts = self.client.state not in NOT_ASKED
        if LeadsTo.PHONE in leads and gets_texts:
            body = text_for(self.session, self.practice, self.then, ASK)
            yield TextTold("now, to ask", self.after.phone, body)
        if LeadsTo.NUMBER in leads and gets_texts:
            body = text_for(self.session, self.practice, self.then, "new_number")
            yield TextTold("now, from the new number", self.before.phone, body)
        if self.kept and self.kept.because is not None and self.client.state == "active":
            body = text_for(self.session, self.practice, self.then, "override")
            yield TextTold("now", self.before.phone, body)
        then = self.situation_then()
        told_otherwise = leads & {LeadsTo.TEXTS, LeadsTo.LADDER}
        if then is not None and told_otherwise and self.client.state != "stopped":
            body = next_text(self.session, then, self.now)
            yield TextTold("the next day's text", self.before.phone, body)


# --- storing --------------------------------------------------------------------------------------


def _store(session: Session, now: datetime, by: Trainer, client: Client, follows: Follows) -> None:
    after, differs = follows.after, follows.changed
    leads = {FACTS[name].leads_to for name in differs}
    if LeadsTo.TRAINER in leads:
        to = session.exec(select(Trainer).where(Trainer.email == after.trainer)).one()
        hand_over(session, now, by, [client], to)
    client.name, client.called = after.name, after.called
    client.language, client.time_zone = after.language, after.time_zone
    client.address = after.address or None
    client.version += 1
    session.add(client)
    if LeadsTo.PHONE in leads:
        change_phone(session, now, by, client, after.phone)
    if LeadsTo.NUMBER in leads:
        _send_from(session, now, client, after.sends_from)
    if {"home", "someone"} & differs.keys():
        set_home(session, now, by, client, after.home, after.someone)
    if follows.kept is not None and after.profile is not None:
        _rebuild(session, now, by, client, after.profile, follows.kept)
    if LeadsTo.HOURS in leads:
        schedule_anew(session, now, client)
        schedule_weekly(session, now, client)
    record(
        session,
        now,
        by,
        "facts changed",
        client_id=client.id,
        facts=[name for name in differs if FACTS[name].of_person],
        changed={name: list(two) for name, two in differs.items() if not FACTS[name].of_person},
    )
    session.flush()


def _send_from(session: Session, now: datetime, client: Client, phone: str) -> None:
    practice = session.get_one(Practice, client.practice_id)
    rows = select(Number).where(Number.practice_id == practice.id, Number.phone == phone)
    further = session.exec(rows).first()
    client.number_id = further.id if further is not None else None
    session.add(client)
    if client.state not in NOT_ASKED:
        body = text_for(session, practice, client, "new_number")
        queue_to_client(session, now, practice, client, Text("notice", body, name="new_number"))


def _rebuild(
    session: Session, now: datetime, by: Trainer, client: Client, profile: Profile, kept: Kept
) -> None:
    """The next version of the plan; the client keeps the place, or goes to the nearest easier."""
    situation = load(session, client)
    if situation is None:
        return
    new_plan(session, now, by, situation, profile=profile_to_json(profile))
    if kept.because is not None:
        put_on(session, now, by, situation, kept.key, kept.because)
