"""What a practice's lead sets: name, hours, country and emergency number, language, links."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime, time, timedelta
from functools import cache
from importlib import resources
from urllib.parse import urlsplit

from sqlalchemy import and_
from sqlmodel import Session, col, select

from rungwise.coach.daily.falls_weekly import schedule_practice
from rungwise.coach.record.access import require_lead
from rungwise.coach.record.audit import record
from rungwise.coach.record.fields import Unfinished, hour, name_or_refuse, sentence
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.store.queries.current_plan import PRESENT
from rungwise.store.tables import Client, Placement, PlanRow, Practice, Trainer
from rungwise.time_zone import zone_named
from rungwise.wording.price import price_from
from rungwise.wording.safety import emergency_number, known_country
from rungwise.wording.texts import LANGUAGES

LONGEST_PRACTICE_NAME = 30
LONGEST_NUMBER = 3
ESCALATE_MINUTES = (2, 60)
SHORTEST_DAY = timedelta(hours=4)
LONGEST_ADDRESS = 80
# How often clients are asked about falls, in weeks. At least monthly is the consensus (Lamb 2005).
FALLS_ASKED = {"1": "every week", "4": "every 4 weeks", "0": "never"}


@dataclass(frozen=True, slots=True)
class PracticeForm:
    """The practice's facts as words, as the page shows and takes them."""

    name: str
    country: str
    emergency_number: str
    language: str
    time_zone: str
    texts_from: str
    texts_until: str
    escalate_minutes: str
    falls_every_weeks: str
    picture_address: str
    segment_price: str
    lengths: str
    clock: str
    words_in_pages: str

    @classmethod
    def of(cls, practice: Practice) -> "PracticeForm":
        return cls(
            practice.name,
            practice.country,
            practice.emergency_number,
            practice.language,
            practice.time_zone,
            practice.texts_from,
            practice.texts_until,
            str(practice.escalate_minutes),
            str(practice.falls_every_weeks),
            practice.picture_address or "",
            practice.segment_price or "",
            practice.lengths,
            str(practice.clock or ""),
            "yes" if practice.words_in_pages else "",
        )

    @classmethod
    def read(cls, given: Mapping[str, str]) -> "PracticeForm":
        return cls(**{one.name: given.get(one.name, "").strip() for one in fields(cls)})


def change_practice(session: Session, now: datetime, trainer: Trainer, form: PracticeForm) -> None:
    """Take the form; Unfinished, and nothing is changed, with a sentence for each wrong field."""
    require_lead(trainer)
    practice = session.get_one(Practice, trainer.practice_id)
    before = PracticeForm.of(practice)
    form = replace(form, lengths=form.lengths or before.lengths)
    checks = _checks(form)
    problems: dict[str, str] = {}
    values: dict[str, object] = {}
    for name, check in checks.items():
        try:
            values[name] = check()
        except ServiceError as error:
            problems[name] = sentence(error)
    if not problems:
        left_out = _outside(session, practice, *_hours(form))
        if left_out:
            problems["texts_until"] = left_out
        if values["lengths"] != practice.lengths and (taped := _with_tape(session, practice)):
            problems["lengths"] = taped
    if problems:
        raise Unfinished(problems)
    for name, value in values.items():
        setattr(practice, name, value)
    session.add(practice)
    if form.falls_every_weeks != before.falls_every_weeks:
        schedule_practice(session, now, practice)
    changed = [
        one.name for one in fields(form) if getattr(form, one.name) != getattr(before, one.name)
    ]
    record(session, now, trainer, "practice changed", fields=changed)


def _outside(session: Session, practice: Practice, begins: time, ends: time) -> str:
    """Whose prompt would never go in these hours, as a sentence; empty when nobody's."""
    rows = (
        select(Client, PlanRow)
        .join(Placement, col(Placement.client_id) == col(Client.id))
        .join(
            PlanRow,
            and_(
                col(PlanRow.client_id) == col(Client.id),
                col(PlanRow.version) == col(Placement.plan_version),
            ),
        )
        .where(Client.practice_id == practice.id, Client.state != "stopped")
    )
    names = sorted(
        client.name
        for client, plan in session.exec(rows).all()
        if not begins <= time.fromisoformat(plan.settings["prompt_at"]) < ends
    )
    if not names:
        return ""
    listed = _listed(names)
    return f"These clients have their text outside these hours: {listed}. Change theirs first."


def _with_tape(session: Session, practice: Practice) -> str:
    """Who has a tape on the floor whose marks would mean something else, as a sentence."""
    rows = (
        select(Client.name, PlanRow.profile)
        .join(Placement, col(Placement.client_id) == col(Client.id))
        .join(PlanRow, PRESENT)
        .where(Client.practice_id == practice.id, Client.state != "stopped")
    )
    names = [name for name, profile in session.exec(rows).all() if profile["equipment"].get("tape")]
    if not names:
        return ""
    return (
        f"These clients' texts tell marks of a tape on their floor: {_listed(sorted(names))}. "
        "Take the tape up and out of their equipment first, then lay one in the other units."
    )


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:5]) + (f" and {len(names) - 5} others" if len(names) > 5 else "")


def _checks(form: PracticeForm) -> dict[str, Callable[[], object]]:
    return {
        "name": lambda: _short("name", name_or_refuse("name", form.name), LONGEST_PRACTICE_NAME),
        "country": lambda: _country(form.country),
        "emergency_number": lambda: _emergency(form),
        "language": lambda: _one_of("language", form.language, tuple(LANGUAGES)),
        "time_zone": lambda: zone_named(form.time_zone or "-").key,
        "texts_from": lambda: _hours(form)[0].isoformat("minutes"),
        "texts_until": lambda: _hours(form)[1].isoformat("minutes"),
        "escalate_minutes": lambda: _minutes(form.escalate_minutes),
        "falls_every_weeks": lambda: int(
            _one_of("falls asked", form.falls_every_weeks, tuple(FALLS_ASKED))
        ),
        "picture_address": lambda: _address(form.picture_address),
        "segment_price": lambda: (
            str(price_from(form.segment_price)) if form.segment_price else None
        ),
        "lengths": lambda: _one_of("lengths", form.lengths, ("cm", "in")),
        "words_in_pages": lambda: form.words_in_pages == "yes",
        "clock": lambda: int(_one_of("clock", form.clock, ("12", "24"))) if form.clock else None,
    }


def _short(field: str, value: str, most: int) -> str:
    if len(value) > most:
        raise ImpossibleValue(field, value, f"at most {most} characters, to fit the texts")
    return value


def _one_of(field: str, value: str, allowed: tuple[str, ...]) -> str:
    if value not in allowed:
        raise ImpossibleValue(field, value, " or ".join(allowed))
    return value


def _country(value: str) -> str:
    if value.upper() not in countries():
        raise ImpossibleValue("country", value, "a country's two letters (ISO 3166)")
    return value.upper()


def _emergency(form: PracticeForm) -> str:
    """The practice's own number, or the country's where we know it."""
    given = form.emergency_number
    if not given:
        if not known_country(form.country):
            allowed = "filled in: we don't know this country's number"
            raise ImpossibleValue("emergency_number", "", allowed)
        return emergency_number(form.country)
    if not re.fullmatch(rf"[0-9]{{2,{LONGEST_NUMBER}}}", given):
        raise ImpossibleValue("emergency_number", given, "2 or 3 digits, as dialled there")
    return given


def _hours(form: PracticeForm) -> tuple[time, time]:
    begins, ends = hour(form.texts_from or "-"), hour(form.texts_until or "-")
    minutes = (ends.hour - begins.hour) * 60 + ends.minute - begins.minute
    if timedelta(minutes=minutes) < SHORTEST_DAY:
        shown = f"{form.texts_from} to {form.texts_until}"
        raise ImpossibleValue("hours", shown, "a stretch of at least four hours within a day")
    return begins, ends


def _minutes(value: str) -> int:
    low, high = ESCALATE_MINUTES
    if not value.isascii() or not value.isdecimal() or not low <= int(value[:4]) <= high:
        raise ImpossibleValue("minutes", value, f"a whole number from {low} to {high}")
    return int(value)


def _address(value: str) -> str | None:
    """Where links lead: https, or this machine for trying it out; None for no links."""
    if not value:
        return None
    allowed = "an address such as https://sms.example.org, with nothing after the name"
    try:
        parts = urlsplit(value)
        local = parts.hostname in ("127.0.0.1", "localhost")
        _ = parts.port
    except ValueError:
        raise ImpossibleValue("picture_address", value, allowed) from None
    plain = value.isascii() and not re.search(r"[\s?#@%\\]", value)
    if not (plain and parts.hostname) or len(value) > LONGEST_ADDRESS:
        raise ImpossibleValue("picture_address", value, allowed)
    if parts.scheme != "https" and not (parts.scheme == "http" and local):
        raise ImpossibleValue("picture_address", value, "one that begins with https://")
    return value.rstrip("/")


@cache
def countries() -> dict[str, str]:
    """Names of countries by their two letters, from the tz database's iso3166.tab."""
    table = (
        resources.files("tzdata").joinpath("zoneinfo", "iso3166.tab").read_text(encoding="utf-8")
    )
    rows = [line.split("\t") for line in table.splitlines() if line and not line.startswith("#")]
    return {code: name for code, name, *_ in rows}
