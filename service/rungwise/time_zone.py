"""A client's time zone: which one it is, from the number or the practice, and its local times."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from importlib import resources
from zoneinfo import ZoneInfo, available_timezones

from rungwise.errors import ImpossibleValue


def zone_named(zone: str) -> ZoneInfo:
    """The IANA zone of that name; ImpossibleValue if there is none."""
    try:
        return ZoneInfo(zone)
    except (KeyError, ValueError, OSError):
        allowed = "a zone name such as Europe/London or America/New_York"
        raise ImpossibleValue("time zone", zone, allowed) from None


def local_to_utc(local: datetime, zone: str) -> datetime:
    """The instant of a naive local time in a zone, by RFC 5545 section 3.3.5."""
    if local.tzinfo is not None:
        raise ImpossibleValue("local time", local.isoformat(), "without an offset")
    return local.replace(tzinfo=zone_named(zone), fold=0).astimezone(UTC)


@dataclass(frozen=True, slots=True)
class ChosenZone:
    """The zone to use, and what the trainer should know about how it was found."""

    zone: str
    note: str


def zone_for(zones: Sequence[str], chosen: str, practice_zone: str) -> ChosenZone:
    """The chosen zone, else the number's own, else the practice's where `zones` leave it open.

    `zones` are those that the number may be in. ImpossibleValue when there are several and the
    practice's is none of them.
    """
    if chosen:
        if chosen not in available_timezones():
            allowed = "a zone name such as Europe/London or America/New_York"
            raise ImpossibleValue("time zone", chosen, allowed)
        return ChosenZone(chosen, "Chosen by you.")
    if len(zones) == 1:
        return ChosenZone(zones[0], "From the phone number.")
    if not zones:
        note = "The number doesn't tell, so this is the practice's own. Choose another if it isn't."
        return ChosenZone(practice_zone, note)
    listed = ", ".join(zones[:4]) + (" and others" if len(zones) > 4 else "")
    if practice_zone in zones:
        note = f"The number may be in {listed}; this is the practice's own. Choose if it isn't."
        return ChosenZone(practice_zone, note)
    raise ImpossibleValue("time zone", "", f"chosen: this number may be in {listed}")


def zones_of(country: str) -> tuple[str, ...]:
    """The zones of a country (ISO 3166 two letters), by the tz database's zone.tab."""
    return _by_country().get(country.upper(), ())


def other_zones(country: str) -> tuple[str, ...]:
    """Every other country's zones, sorted by name."""
    own = set(zones_of(country))
    return tuple(sorted({zone for zones in _by_country().values() for zone in zones} - own))


@cache
def _by_country() -> dict[str, tuple[str, ...]]:
    table = resources.files("tzdata").joinpath("zoneinfo", "zone.tab").read_text(encoding="utf-8")
    rows = [line.split("\t") for line in table.splitlines() if line and not line.startswith("#")]
    found: dict[str, list[str]] = {}
    for country, _, zone, *_ in rows:
        found.setdefault(country, []).append(zone)
    return {country: tuple(zones) for country, zones in found.items()}
