"""What a change of a client's facts would mean: sentences, and the very texts it leads to."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import islice
from json import dumps
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from rungwise.coach.accounts.hand_over import look_at_hand_over
from rungwise.coach.daily.dossier_rows import prompted_of
from rungwise.coach.daily.new_phone import ASK, NOT_ASKED
from rungwise.coach.daily.schedule import next_text
from rungwise.coach.enrolment.facts import (
    FACTS,
    Facts,
    LeadsTo,
)
from rungwise.coach.enrolment.home_checklist import not_ready
from rungwise.coach.enrolment.phone_check import Phone
from rungwise.coach.enrolment.second_phones import (
    phones_follow,
)
from rungwise.coach.plan.plan_edit import PlanChange
from rungwise.coach.record.codec import ladder_of
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.coach.record.situation import Situation, load
from rungwise.coach.record.wording import text_for
from rungwise.ladder.body import profile_to_json
from rungwise.ladder.places import Kept, keep_place
from rungwise.store.tables import Client, Placement, PlanRow, Practice, Trainer
from rungwise.ticks.due import next_dues
from rungwise.wording.rung_words import rung_short
from rungwise.wording.texts import LANGUAGES

PROMPTS_SHOWN = 3


@dataclass(frozen=True, slots=True)
class TextTold:
    """A text that a change leads to: when it goes, where, and its very words."""

    when: str
    to_phone: str
    body: str


def at_hour(situation: Situation, after: Facts) -> PlanChange:
    """The plan as it is, with its text at the new hour."""
    at = after.prompt_at or situation.settings.prompt_at
    return PlanChange.keeping(situation, replace(situation.settings, prompt_at=at))


class Edit:
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
            now,
            client=self.then,
            plan_row=row,
            profile=dumps(stored),
            placement=placement,
            settings=replace(now.settings, prompt_at=at_hour(now, self.after).prompt_at),
        )

    def sentences(self, differs: frozenset[str]) -> Iterator[str]:
        leads = {FACTS[name].leads_to for name in differs}
        if LeadsTo.PHONE in leads:
            yield from self._of_phone()
        if "second_phones" in differs:
            yield from phones_follow(self.session, self.client, self.after.second_phones)
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
        if differs & {"usual_pain", "usual_pain_score"}:
            yield self._of_usual_pain()
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

    def _of_usual_pain(self) -> str:
        usual = self.after.usual_pain
        if usual is None:
            return "From the next text on every pain that is told rests them."
        return (
            f"From the next text on a pain of the {usual.place} that is told as no worse is a "
            f"note and rests nobody; worse, elsewhere or with another sign it rests as any pain."
        )

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
