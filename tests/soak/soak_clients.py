"""The clients of a soak: who they are and when they practise, and what they text back."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

from sqlalchemy import update
from tqdm import tqdm

from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.record.codec import PlanSettings
from rungwise.ladder.body import Body, Profile
from rungwise.store import Store
from rungwise.store.tables import Message, Practice, Trainer
from rungwise.ticks.due import DEFAULT_QUIET

PRACTICE = "+12025550100"
TRAINER = "+12025550101"
SECOND = "+12025550102"
PROFILE = Profile(Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177))
# At the hour of the soak some wake up, some are in the middle of the day, and for those in Dhaka,
# Yangon and Bangkok quiet hours begin.
ZONES = (
    *("America/Denver", "America/Chicago", "America/New_York", "America/Sao_Paulo"),
    *("Europe/London", "Europe/Berlin", "Asia/Kathmandu", "Asia/Dhaka", "Asia/Yangon"),
    "Asia/Bangkok",
)
BEGINS = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)
MOST_REPLIES_A_DAY = 4
BATCH = 100


@dataclass(frozen=True, slots=True)
class Resident:
    """One client as the soak knows them; `prompt_at` in their own zone."""

    number: int
    time_zone: str
    prompt_at: time
    reminder_at: time | None = None

    @property
    def phone(self) -> str:
        return f"+1303{5_000_000 + self.number}"

    @property
    def called(self) -> str:
        return f"Ada {self.number:05}"


def residents(count: int, window: timedelta, dice: Random) -> list[Resident]:
    """Clients whose prompts fall due within `window` after BEGINS, none in quiet hours."""
    found: list[Resident] = []
    while len(found) < count:
        zone = dice.choice(ZONES)
        at = BEGINS + timedelta(seconds=int(dice.uniform(0.02, 0.85) * window.total_seconds()))
        local = at.astimezone(ZoneInfo(zone)).time().replace(second=0)
        if DEFAULT_QUIET.covers(local):
            continue
        later = (at + window / 8).astimezone(ZoneInfo(zone)).time().replace(second=0)
        reminded = dice.random() < 0.25 and not DEFAULT_QUIET.covers(later)
        found.append(Resident(len(found), zone, local, later if reminded else None))
    return found


def move_in(store: Store, found: Sequence[Resident], now: datetime, *, show: bool) -> None:
    """A practice with one trainer, a second contact and these clients."""
    with store.write() as session:
        practice = Practice(name="Harbour Balance", phone=PRACTICE, carrier="cloud", created_at=now)
        session.add(practice)
        session.flush()
        trainer = Trainer(
            practice_id=practice.id,
            name="Tess Example",
            email="t@example.org",
            password_hash="none",
            phone=TRAINER,
            second_contact_name="Sam Second",
            second_contact_phone=SECOND,
            page_answered_at=now,
            created_at=now,
        )
        session.add(trainer)
    with tqdm(total=len(found), desc="clients", disable=None if show else True) as bar:
        for first in range(0, len(found), BATCH):
            batch = found[first : first + BATCH]
            with store.write() as session:
                for each in batch:
                    add_client(session, now, trainer, _new(each))
                # They have been here for long: the first text is none of this run's.
                session.execute(update(Message).values(state="cancelled"))
            bar.update(len(batch))


def _new(each: Resident) -> NewClient:
    return NewClient(
        name=each.called,
        called=each.called,
        phone=each.phone,
        profile=PROFILE,
        time_zone=each.time_zone,
        settings=PlanSettings(prompt_at=each.prompt_at, reminder_at=each.reminder_at),
        agreed=True,
    )


@dataclass(frozen=True, slots=True)
class Says:
    """What a client texts, so many simulated seconds after reading."""

    body: str
    after_s: float
    alarms: bool = False
    stops: bool = False


RESULTS = (
    *("20 steady", "18 wobbly", "20 sec, steady", "20 steady 🙂", "held 20 seconds, steady"),
    *("12 wobbly", "20 steady thank you", "15 steady", "20 seconds and steady today"),
)
ALARMS = (
    *("I fell in the kitchen", "had a fall this morning, bumped my hip", "I fell over"),
    *("my knee hurts a lot", "felt very dizzy"),
)
OTHERS = (
    *("what shoes should I wear?", "zzkk qq", "skipped today", "HELP", "too hard"),
    "I slipped and nearly fell",
)


class Phones:
    """The clients' phones: what each texts back to what it gets."""

    def __init__(self, dice: Random, thinks_s: float) -> None:
        self._dice = dice
        self._thinks_s = thinks_s
        self._said: Counter[tuple[str, date]] = Counter()
        self._stopped: set[str] = set()

    def reads(self, phone: str, body: str, at: datetime) -> list[Says]:
        """The replies to one text of ours."""
        if phone in self._stopped or self._said[phone, at.date()] >= MOST_REPLIES_A_DAY:
            return []
        replies = self._reply(body)
        self._said[phone, at.date()] += len(replies)
        if any(reply.stops for reply in replies):
            self._stopped.add(phone)
        return replies

    def _reply(self, body: str) -> list[Says]:
        dice, after = self._dice, self._dice.uniform(0.02, 1) * self._thinks_s
        if "Reply YES or NO" in body:
            return [Says(dice.choice(("YES", "NO", "no")), after)] if dice.random() < 0.6 else []
        if "How many seconds" in body:
            return [Says(str(dice.randrange(5, 21)), after)]
        if "Was that steady or wobbly" in body:
            return [Says(dice.choice(("steady", "wobbly")), after)]
        if "steady or wobbly." not in body:
            return []
        return self._to_a_prompt(dice.random(), after)

    def _to_a_prompt(self, luck: float, after: float) -> list[Says]:
        dice = self._dice
        if luck < 0.05:
            return [Says(dice.choice(ALARMS), after, alarms=True)]
        if luck < 0.06:
            return [Says("STOP", after, stops=True)]
        if luck < 0.14:
            return [Says(dice.choice(OTHERS), after)]
        if luck < 0.17:
            return [Says("14 wobbly", after), Says("no, 20 steady", after * 1.2)]
        if luck < 0.80:
            return [Says(dice.choice(RESULTS), after)]
        return []
