"""What a clinician reviews: every text to clients, every rung's words, and what leads to what.

All of it is read off the tables and handlers that serve clients, so nothing here can differ from
them. The version is a hash of that content: it changes when a text, a rung's words, a table, the
practice's own wording or its emergency numbers do.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from hashlib import sha256
from json import dumps
from typing import get_args

from sqlmodel import Session

from rungwise.coach.conversation.dossier import Dossier, LastPrompt
from rungwise.coach.conversation.effects import Become, Effects, Say, SetPlan, Tell
from rungwise.coach.conversation.on_text import context_of, on_text
from rungwise.coach.conversation.rehearsal import FIRST_DAY, PROMPT_AT, ZONE, Conversation, invented
from rungwise.coach.conversation.wishes import HANDLERS
from rungwise.coach.record.codec import ladder_of
from rungwise.coach.record.wording import crisis_of, wording_of
from rungwise.concepts.alert_kinds import ALERTS
from rungwise.concepts.answers import ANSWERS
from rungwise.concepts.client_states import MOVES, State
from rungwise.concepts.questions import QUESTIONS
from rungwise.concepts.signs import SIGNS
from rungwise.ladder.body import Body, Equipment, Profile
from rungwise.ladder.rungs import Rung
from rungwise.reply.reading import Reading, Topic
from rungwise.store.tables import Practice
from rungwise.time_zone import local_to_utc
from rungwise.wording.catalogue import GROUPS
from rungwise.wording.page_of_texts import sample_values
from rungwise.wording.rung_words import Telling, rung_text
from rungwise.wording.texts import LANGUAGES, render

SHORT = 12
# Of these groups nothing goes to a client.
TO_OTHERS = "To "
BODY = Body(foot_length_mm=245, foot_breadth_mm=92, hip_width_mm=175)
# All that a client may have at home, so that every kind of rung is there.
EVERYTHING = Equipment(mat_layers=8, half_foam_whole=True, half_foam_cut=True)
AS_FIRST_TOLD = Telling(first_day=True)
CLIENT_IS = {State.ACTIVE: "practising", State.RESTING: "resting", State.STOPPED: "after STOP"}


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under heads, with a sentence on how to read them."""

    title: str
    note: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class ToldRung:
    """A rung and its words, by language as in LANGUAGES."""

    rung: Rung
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Booklet:
    texts: tuple[Table, ...]
    rungs: tuple[ToldRung, ...]
    tables: tuple[Table, ...]

    @property
    def version(self) -> str:
        """The hash of all that is in it."""
        held = {
            "texts": [[table.title, table.heads, table.rows] for table in self.texts],
            "rungs": [[told.rung.key, told.words] for told in self.rungs],
            "tables": [[table.title, table.heads, table.rows] for table in self.tables],
        }
        return sha256(dumps(held, ensure_ascii=True).encode()).hexdigest()[:SHORT]


@dataclass(frozen=True, slots=True)
class _Words:
    """What a practice has its own of. `own` holds (language, name, body)."""

    number: str = "911"
    crisis: str | None = "988"
    own: frozenset[tuple[str, str, str]] = frozenset()

    def wording(self, language: str) -> Mapping[str, str]:
        return {name: body for code, name, body in self.own if code == language}

    def text(self, name: str, language: str) -> str:
        """The text as an invented client would get it."""
        values = sample_values(name, language)
        values |= {"number": self.number, "crisis": self.crisis or self.number}
        return render(name, language, self.wording(language), **values)


def our_booklet() -> Booklet:
    """The booklet of our own words, for no practice in particular."""
    return _booklet(_Words())


def booklet_of(session: Session, practice: Practice) -> Booklet:
    """The booklet in the practice's words, with its emergency number and crisis line."""
    own = frozenset(
        (language, name, body)
        for language in LANGUAGES
        for name, body in wording_of(session, practice.id, language).items()
    )
    return _booklet(_Words(practice.emergency_number, crisis_of(practice), own))


@lru_cache(maxsize=8)
def _booklet(words: _Words) -> Booklet:
    tables = (_signs(), *_answers(), _questions(), _wishes(words), _topics(words), _states())
    return Booklet(tuple(_texts(words)), _rungs(), tables)


# --- texts and rungs ------------------------------------------------------------------------------


def _texts(words: _Words) -> Iterator[Table]:
    for title, group in GROUPS.items():
        if title.startswith(TO_OTHERS):
            continue
        rows = tuple(
            (f"{name}: {spec.when}", *(words.text(name, language) for language in LANGUAGES))
            for name, spec in group.items()
        )
        yield Table(title, "", ("Sent", *LANGUAGES.values()), rows)


def _rungs() -> tuple[ToldRung, ...]:
    """Every rung in words that no earlier one has, of somebody of average measures."""
    told: dict[tuple[str, ...], Rung] = {}
    for rung in ladder_of(Profile(BODY, EVERYTHING)).rungs:
        words = tuple(rung_text(rung, BODY, AS_FIRST_TOLD, language) for language in LANGUAGES)
        told.setdefault(words, rung)
    return tuple(ToldRung(rung, words) for words, rung in told.items())


# --- what leads to what ---------------------------------------------------------------------------


def _plain(code: str | None) -> str:
    return (code or "").replace("_", " ")


def _told_of(kind: str, urgency: str) -> str:
    return f"{_plain(kind)} ({urgency})"


def _signs() -> Table:
    rows = tuple(
        (
            _plain(sign),
            _told_of(row.alert, row.urgency),
            row.text,
            _plain(row.then),
            _plain(row.doubt) or "is not doubted",
        )
        for sign, row in SIGNS.items()
    )
    return Table(
        "What each sign of harm leads to",
        "Gravest first. A sure sign: the client rests until the trainer acts, the trainer is told, "
        "the text goes, the question follows. One in doubt: practice waits for the answer.",
        ("Sign", "The trainer is told of", "Text", "Then asked", "In doubt, asked"),
        rows,
    )


AFTERWARDS = {
    "rests": "rests until the trainer acts",
    "as_before": "goes on as before the question",
    "unchanged": "nothing changes",
}


def _answers() -> Iterator[Table]:
    for kind, outcomes in ANSWERS.items():
        rows = tuple(
            (
                _plain(answer),
                outcome.text,
                AFTERWARDS[outcome.after],
                ", ".join(_told_of(*alert) for alert in outcome.alerts) or "no one more",
                _plain(outcome.then),
                outcome.line,
            )
            for answer, outcome in outcomes.items()
        )
        asks = f" Asked by {QUESTIONS[kind].text}." if kind in QUESTIONS else ""
        yield Table(
            f"What each answer leads to: {_plain(kind)}",
            f"An answer that is not here is unclear.{asks}",
            ("Answer", "Text", "The client", "Told of", "Then asked", "The trainer reads"),
            rows,
        )


def _questions() -> Table:
    rows = tuple(
        (
            _plain(kind),
            row.text,
            row.again,
            row.unclear,
            _waits(row.waits),
            "yes" if row.doubt else "no",
        )
        for kind, row in QUESTIONS.items()
    )
    return Table(
        "Questions",
        "Gravest first: of several open, the first is asked. When an answer is unclear the second "
        "text goes, then the third, and the alert is urgent, as it is when nobody answers in time.",
        ("Question", "Text", "Once more", "Unclear again", "Waits", "Holds practice"),
        rows,
    )


def _waits(wait: timedelta | None) -> str:
    return "" if wait is None else f"{wait.total_seconds() / 60:g} minutes"


def _states() -> Table:
    rows = tuple((str(a), str(b), ", ".join(sorted(by))) for (a, b), by in MOVES.items())
    return Table(
        "What a client may become, and by whom",
        "Nothing else is possible: only a trainer leads from resting to active.",
        ("From", "To", "By"),
        rows,
    )


def _wishes(words: _Words) -> Table:
    rows = []
    for ask in HANDLERS:
        reading = Reading(
            "other",
            asks=(ask,),
            wish_time="14:00" if ask == "another_hour" else None,
            wish_until=(FIRST_DAY + timedelta(days=7)).isoformat() if ask == "away" else None,
            wish_days=("monday", "friday") if ask == "other_days" else (),
        )
        away = ask == "back"
        rows.append(
            (_plain(ask), *(_follows(words, reading, state, away=away) for state in CLIENT_IS))
        )
    return Table(
        "What each wish leads to",
        "As an invented client gets it; who comes back was away by their own wish.",
        ("Wish", *(f"Client is {said}" for said in CLIENT_IS.values())),
        tuple(rows),
    )


def _topics(words: _Words) -> Table:
    rows = tuple(
        (_plain(topic), _follows(words, Reading("question", topic=topic, question=True)))
        for topic in get_args(Topic)
    )
    return Table(
        "What each question of a client leads to",
        "A question that none of these fits is kept for the trainer, and the client is told so.",
        ("Question about", "Client is practising"),
        rows,
    )


def _follows(
    words: _Words, reading: Reading, state: str = State.ACTIVE, *, away: bool = False
) -> str:
    """What the handlers that serve clients make of a reading, for an invented client."""
    now = local_to_utc(datetime.combine(FIRST_DAY, PROMPT_AT), ZONE) + timedelta(minutes=15)
    dossier = _client(words, state, now, away=away)
    effects = on_text(dossier, reading, context_of(dossier, now), now)
    return "\n".join(_in_words(effects)) or "Nothing."


def _client(words: _Words, state: str, now: datetime, *, away: bool) -> Dossier:
    dossier = invented(Conversation(()))
    standing = dossier.standing
    if away and standing is not None:
        gone = ((FIRST_DAY - timedelta(days=2), FIRST_DAY + timedelta(days=2)),)
        settings = replace(standing.settings, away=gone, wished_away=gone)
        standing = replace(standing, settings=settings)
    rung_key = standing.rung_key if standing else None
    return replace(
        dossier,
        number=words.number,
        crisis=words.crisis,
        wording=words.wording("en"),
        state=state,
        stopped_from=State.ACTIVE if state == State.STOPPED else None,
        standing=standing,
        prompt=LastPrompt(FIRST_DAY, rung_key, now - timedelta(minutes=15)),
    )


def _in_words(effects: Effects) -> Iterator[str]:
    for step in effects.steps:
        match step:
            case Say(body=body):
                yield f"Text: {body}"
            case Tell(kind=kind, did=did, urgency=urgency):
                yield f"The trainer, {_told_of(kind, urgency or ALERTS[kind].urgency)}: {did}"
            case SetPlan():
                yield "The plan is changed."
            case Become(state=state):
                yield f"The client is then {state}."
