"""What the operator and the phones saw, held against what the service stored. Pure.

Every promise has a name; `broken` gives each breach of one, with what it was about.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

from rungwise.coach.outbox.claiming import LEASE
from rungwise.coach.outbox.texts import AFTER_STOP, AT_LEAST_ONCE, CANCELLED_BY_REST, UNASKED
from rungwise.ticks.due import DEFAULT_QUIET, Quiet

# A text that was on its way when something changed is still accepted; no longer than its lease.
ON_ITS_WAY = LEASE
REPEAT_WITHIN = timedelta(seconds=60)
NEVER_LEFT = ("cancelled", "missed")
LEFT = ("sent", "delivered")
UNSURE = ("unknown", "failed")


@dataclass(slots=True)
class Offered:
    """A text of a client's that the operator offered us, until we took it (`acked_at`)."""

    id: str
    phone: str
    body: str
    offered_at: datetime
    acked_at: datetime | None = None
    alarms: bool = False
    stops: bool = False


@dataclass(frozen=True, slots=True)
class Accepted:
    """A text of ours that the operator took. `message_id` is the one we gave it."""

    message_id: int
    phone: str
    body: str
    arrived_at: datetime


@dataclass(frozen=True, slots=True)
class StoredIn:
    """A text that came in, as it is stored."""

    id: int
    carrier_id: str
    phone: str
    body: str
    state: str
    at: datetime


@dataclass(frozen=True, slots=True)
class StoredOut:
    """A text that went out or was to, as it is stored."""

    id: int
    phone: str
    kind: str
    state: str
    answers_id: int | None = None
    local_date: date | None = None


@dataclass(frozen=True, slots=True)
class StoredAlert:
    """An alert about the client at `phone`."""

    phone: str
    kind: str
    urgency: str


@dataclass(frozen=True, slots=True)
class Person:
    """A client at the end. `called` is nobody else's; `has_next`: the next prompt has its time."""

    phone: str
    called: str
    time_zone: str
    state: str = "active"
    has_next: bool = True
    prompt_dates: tuple[date, ...] = ()


@dataclass(frozen=True, slots=True)
class Broken:
    """A broken promise, by its name, and what it was about."""

    promise: str
    what: str


@dataclass
class Books:
    """Both sides' records of one run, after everything has come to rest."""

    people: Mapping[str, Person]
    trainers: frozenset[str]
    offered: Sequence[Offered] = ()
    accepted: Sequence[Accepted] = ()
    stored_in: Sequence[StoredIn] = ()
    stored_out: Sequence[StoredOut] = ()
    alerts: Sequence[StoredAlert] = ()
    # The phones of the clients that each page is about, by the page's id.
    about: Mapping[int, frozenset[str]] = field(default_factory=dict)
    forged_taken: Sequence[str] = ()
    # Work that should be over: things due in the past, texts still waiting or on their way.
    left_over: Sequence[str] = ()
    quiet: Quiet = DEFAULT_QUIET
    counts: Counter[str] = field(default_factory=Counter)

    @cached_property
    def out_by_id(self) -> Mapping[int, StoredOut]:
        return {text.id: text for text in self.stored_out}

    @cached_property
    def taken_ids(self) -> Counter[int]:
        return Counter(text.message_id for text in self.accepted)

    @cached_property
    def pages(self) -> Sequence[Accepted]:
        return [text for text in self.accepted if text.phone in self.trainers]

    def tells_of(self, page: Accepted, person: Person) -> bool:
        """Whether a page is about this client: by name, or as one of several that it only counts.

        What became urgent at once, as after an outage, is one page to a person. One that names
        somebody else tells nobody of this client.
        """
        if person.called in page.body:
            return True
        about = self.about.get(page.message_id, frozenset())
        named = any(self.people[phone].called in page.body for phone in about)
        return person.phone in about and len(about) > 1 and not named

    def kind_of(self, text: Accepted) -> str:
        stored = self.out_by_id.get(text.message_id)
        return "nothing stored" if stored is None else stored.kind

    def local(self, phone: str, at: datetime) -> datetime:
        return at.astimezone(ZoneInfo(self.people[phone].time_zone))


def broken(books: Books) -> list[Broken]:
    """Every broken promise, those about texts that came in first."""
    rules = (
        _stored_once,
        _answered,
        _alarms,
        _alerts_paged,
        _one_prompt,
        _sent_once,
        _true_states,
        _quiet,
        _not_after_stop,
        _schedule,
        _forged,
        _left_over,
    )
    return [breach for rule in rules for breach in rule(books)]


def _stored_once(books: Books) -> Iterator[Broken]:
    """What we said 2xx to is stored exactly once, word for word; and nothing nobody sent."""
    rows: dict[str, list[StoredIn]] = defaultdict(list)
    for row in books.stored_in:
        rows[row.carrier_id].append(row)
    for text in books.offered:
        books.counts["texts in"] += 1
        found = rows.pop(text.id, [])
        if text.acked_at is None:
            yield Broken("never taken", f"{text.id} of {text.phone} was never taken")
        elif not found:
            yield Broken("lost text", f"{text.id} of {text.phone} was taken and is not stored")
        if len(found) > 1:
            yield Broken("stored twice", f"{text.id} is stored {len(found)} times")
        for row in found:
            if (row.body, row.phone) != (text.body, text.phone):
                yield Broken("lost text", f"{text.id} is stored with other words")
    for left in rows:
        yield Broken("forgery", f"{left} is stored and nobody sent it")


def _answered(books: Books) -> Iterator[Broken]:
    """Each text has an answer that the operator took, or whose loss the trainer was told of."""
    answers: dict[int, list[StoredOut]] = defaultdict(list)
    for text in books.stored_out:
        if text.answers_id is not None:
            answers[text.answers_id].append(text)
    told = {alert.phone for alert in books.alerts if alert.kind == "undeliverable"}
    stops = _stopped_since(books)
    of_phone: dict[str, list[StoredIn]] = defaultdict(list)
    for row in books.stored_in:
        of_phone[row.phone].append(row)
    for row in books.stored_in:
        if row.phone not in books.people:
            books.counts["from strangers"] += 1
            continue
        if row.state == "repeat":
            books.counts["repeats"] += 1
            if not any(_twins(row, other) for other in of_phone[row.phone]):
                yield Broken("unanswered", f"{row.id} is called a repeat of nothing")
            continue
        mine = answers[row.id]
        after_stop = row.id > stops.get(row.phone, row.id)
        if any(books.taken_ids[text.id] for text in mine):
            books.counts["answered"] += 1
        elif mine and all(text.state in UNSURE for text in mine) and row.phone in told:
            books.counts["answer lost and told"] += 1
        elif after_stop or any(text.state == "cancelled" for text in mine):
            if row.phone not in stops:
                yield Broken("unanswered", f"{row.id}: its answer was taken back without a STOP")
            books.counts["unanswered after STOP"] += 1
        else:
            states = ", ".join(text.state for text in mine) or "none"
            yield Broken("lost reply", f"{row.id} ({row.state}) has no answer: {states}")


def _twins(row: StoredIn, other: StoredIn) -> bool:
    near = abs(row.at - other.at) <= REPEAT_WITHIN
    return other.id != row.id and other.state != "repeat" and near and other.body == row.body


def _stopped_since(books: Books) -> dict[str, int]:
    """The row of each client's first STOP."""
    stops = {text.id for text in books.offered if text.stops}
    first: dict[str, int] = {}
    for row in books.stored_in:
        if row.carrier_id in stops:
            first[row.phone] = min(row.id, first.get(row.phone, row.id))
    return first


def _alarms(books: Books) -> Iterator[Broken]:
    """Who told of a fall or pain got the safety text, and somebody was paged about them."""
    repeats = {row.carrier_id for row in books.stored_in if row.state == "repeat"}
    for text in books.offered:
        person = books.people.get(text.phone)
        if not text.alarms or text.id in repeats or person is None:
            continue
        books.counts["alarms told"] += 1
        since = text.offered_at
        if not any(
            books.tells_of(page, person) and page.arrived_at >= since for page in books.pages
        ):
            yield Broken("missed page", f"{text.id}: nobody was paged about {person.called}")
        if not any(
            taken.phone == text.phone
            and taken.arrived_at >= since
            and books.kind_of(taken) == "safety"
            for taken in books.accepted
        ):
            yield Broken("no safety text", f"{text.id}: no safety text went to {person.called}")


def _alerts_paged(books: Books) -> Iterator[Broken]:
    for alert in books.alerts:
        if alert.urgency != "urgent":
            continue
        books.counts["urgent alerts"] += 1
        person = books.people[alert.phone]
        if not any(books.tells_of(page, person) for page in books.pages):
            yield Broken("missed page", f"nobody was paged about {person.called} ({alert.kind})")


def _one_prompt(books: Books) -> Iterator[Broken]:
    """By the operator's own record: at most one prompt a client and local date."""
    days = Counter(
        (text.phone, books.local(text.phone, text.arrived_at).date())
        for text in books.accepted
        if text.phone in books.people and books.kind_of(text) == "prompt"
    )
    books.counts["prompts"] += days.total()
    for (phone, day), count in days.items():
        if count > 1:
            yield Broken("duplicate prompt", f"{phone} got {count} prompts on {day}")


def _sent_once(books: Books) -> Iterator[Broken]:
    """What is sent at most once was taken at most once; what may go twice is counted."""
    for message_id, count in books.taken_ids.items():
        stored = books.out_by_id.get(message_id)
        if stored is None:
            yield Broken("sent, not stored", f"text {message_id} was sent and is not stored")
        elif count > 1 and stored.kind in AT_LEAST_ONCE:
            books.counts["safety texts and pages sent again"] += count - 1
        elif count > 1:
            yield Broken("sent twice", f"{stored.kind} {message_id} was taken {count} times")


def _true_states(books: Books) -> Iterator[Broken]:
    """What is called sent was sent; what is called taken back or missed was not."""
    for text in books.stored_out:
        books.counts[f"out: {text.state}"] += 1
        taken = text.id in books.taken_ids
        if text.state in LEFT and not taken:
            yield Broken("said, not sent", f"{text.kind} {text.id} is called {text.state}")
        if text.state in NEVER_LEFT and taken:
            yield Broken("sent, not said", f"{text.kind} {text.id} is called {text.state}")


def _quiet(books: Books) -> Iterator[Broken]:
    """Nothing unasked in the client's quiet hours, but for what was on its way at the stroke."""
    for text in books.accepted:
        if text.phone not in books.people or books.kind_of(text) not in UNASKED:
            continue
        local = books.local(text.phone, text.arrived_at)
        if not books.quiet.covers(local.time()):
            continue
        if not books.quiet.covers((local - ON_ITS_WAY).time()):
            books.counts["on their way when quiet hours began"] += 1
            continue
        kind = books.kind_of(text)
        yield Broken("quiet hours", f"{kind} {text.message_id} came at {local:%H:%M:%S}")


def _not_after_stop(books: Books) -> Iterator[Broken]:
    """After STOP only what answers it or a call for help; after a fall, nothing that asks."""
    stopped, rested = _first_acked(books, "stops"), _first_acked(books, "alarms")
    for text in books.accepted:
        kind = books.kind_of(text)
        at = text.arrived_at - ON_ITS_WAY
        if text.phone in stopped and at > stopped[text.phone] and kind not in AFTER_STOP:
            yield Broken("texted after STOP", f"{kind} {text.message_id} to {text.phone}")
        if text.phone in rested and at > rested[text.phone] and kind in CANCELLED_BY_REST:
            yield Broken("asked to practise at rest", f"{kind} {text.message_id} to {text.phone}")


def _first_acked(books: Books, which: str) -> dict[str, datetime]:
    first: dict[str, datetime] = {}
    for text in books.offered:
        if getattr(text, which) and text.acked_at is not None:
            first[text.phone] = min(text.acked_at, first.get(text.phone, text.acked_at))
    return first


def _schedule(books: Books) -> Iterator[Broken]:
    """Who practises has a row for each date that was due, sent or missed, and the next one set."""
    days: dict[str, set[date]] = defaultdict(set)
    for text in books.stored_out:
        if text.kind == "prompt" and text.local_date is not None:
            days[text.phone].add(text.local_date)
    for person in books.people.values():
        if person.state != "active":
            continue
        if not person.has_next:
            yield Broken("schedule lost", f"{person.called} has no next prompt")
        for day in _without(person.prompt_dates, days[person.phone]):
            yield Broken("schedule lost", f"{person.called} has neither prompt nor reason on {day}")


def _without(days: Iterable[date], found: set[date]) -> list[date]:
    return [day for day in days if day not in found]


def _forged(books: Books) -> Iterator[Broken]:
    for what in books.forged_taken:
        yield Broken("forgery", f"{what} was taken though its signature was wrong")


def _left_over(books: Books) -> Iterator[Broken]:
    for what in books.left_over:
        yield Broken("left over", what)
