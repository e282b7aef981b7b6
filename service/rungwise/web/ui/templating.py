"""Turning a template and values into an answer."""

from datetime import date, datetime
from functools import cache
from hashlib import sha256
from importlib import resources
from zoneinfo import ZoneInfo

from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from rungwise.carriers.phone import phone_shown
from rungwise.web.ui import labels


@cache
def environment() -> Environment:
    made = Environment(
        loader=PackageLoader("rungwise.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {"at": at, "clock": clock, "day": day, "ago": labels.ago, "cm": labels.cm}
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


def at(instant: datetime, zone: str, *, year: bool = False) -> Markup:
    """An instant as a `time` element in `zone`, with the zone named: Mon 2 Mar, 08:00 EST."""
    local = instant.astimezone(ZoneInfo(zone))
    form = "%a %-d %b %Y, %H:%M" if year else "%a %-d %b, %H:%M"
    return _time(local, f"{local:{form}} {zone_name(local, zone)}")


def clock(instant: datetime, zone: str) -> Markup:
    """Only the time of day: 08:00 EST."""
    local = instant.astimezone(ZoneInfo(zone))
    return _time(local, f"{local:%H:%M} {zone_name(local, zone)}")


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
