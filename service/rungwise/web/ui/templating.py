"""Turning a template and values into an answer."""

from datetime import date, datetime, time
from functools import cache
from hashlib import sha256
from importlib import resources
from zoneinfo import ZoneInfo

from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from rungwise.carriers.phone import phone_shown
from rungwise.concepts.measures import Measures
from rungwise.ladder.rungs import Rung
from rungwise.web.ui import labels
from rungwise.wording.rung_words import rung_sentence, rung_short


@cache
def environment() -> Environment:
    made = Environment(
        loader=PackageLoader("rungwise.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {"at": at, "clock": clock, "hour": hour, "day": day, "ago": labels.ago}
    made.filters |= {"measured": measured, "rung": rung, "rung_sentence": sentence}
    made.filters["phone"] = phone_shown
    made.globals |= {"static": static, "words": labels}
    return made


def page(name: str, status: int = 200, **values: object) -> HTMLResponse:
    """The template `name`, filled in."""
    return HTMLResponse(environment().get_template(name).render(values), status)


@cache
def static(name: str) -> str:
    """The address of a static file; it changes when the file does, so browsers may keep it."""
    held = resources.files("rungwise.web").joinpath("static", name).read_bytes()
    return f"/static/{name}?v={sha256(held).hexdigest()[:12]}"


def _measures(context: Context) -> Measures:
    """How the practice of the signed-in trainer writes; the usual way where nobody is signed in."""
    visit = context.get("visit")
    return visit.practice.measures if visit else Measures()


@pass_context
def at(context: Context, instant: datetime, zone: str, *, year: bool = False) -> Markup:
    """An instant as a `time` element in `zone`, with the zone named: Mon 2 Mar, 08:00 EST."""
    local = instant.astimezone(ZoneInfo(zone))
    shown = f"{day(local.date(), year=year)}, {_measures(context).hour(local.time())}"
    return _time(local, f"{shown} {zone_name(local, zone)}")


@pass_context
def clock(context: Context, instant: datetime, zone: str) -> Markup:
    """Only the time of day: 08:00 EST."""
    local = instant.astimezone(ZoneInfo(zone))
    return _time(local, f"{_measures(context).hour(local.time())} {zone_name(local, zone)}")


@pass_context
def hour(context: Context, value: time | str) -> str:
    """A time of day as the practice writes it, also one that is stored as 14:30."""
    if isinstance(value, time):
        return _measures(context).hour(value)
    try:
        return _measures(context).hour(time.fromisoformat(value))
    except ValueError:
        return value  # what somebody typed, shown beside what to put right


@pass_context
def measured(context: Context, length_mm: float) -> str:
    """A length in the practice's units."""
    return _measures(context).length(length_mm)


@pass_context
def rung(context: Context, value: Rung) -> str:
    """A rung in a few words, in the practice's units."""
    return rung_short(value, lengths=_measures(context).lengths)


@pass_context
def sentence(context: Context, value: Rung) -> str:
    """A rung in one sentence, in the practice's units."""
    return rung_sentence(value, lengths=_measures(context).lengths)


def zone_name(local: datetime, zone: str) -> str:
    """What people call the zone: EST, or the place where it only has an offset."""
    name = local.tzname() or ""
    return name if name.isalpha() else zone.rpartition("/")[2].replace("_", " ")


def day(value: date, *, year: bool = False) -> str:
    """A date of the client's calendar: Mon 2 Mar."""
    return f"{value:%a %-d %b %Y}" if year else f"{value:%a %-d %b}"


def _time(local: datetime, shown: str) -> Markup:
    stamp = local.isoformat(timespec="seconds")
    return Markup('<time datetime="{}">{}</time>').format(stamp, shown)
