"""What a telephone number tells before the first text: whether it can receive, and its zone."""

from dataclasses import dataclass
from zoneinfo import available_timezones

import phonenumbers
from phonenumbers import PhoneNumberType
from phonenumbers import timezone as numbers_timezone

from rungwise.carriers.phone import to_e164
from rungwise.time_zone import zones_of

NOT_FOR_TEXTS = {
    PhoneNumberType.FIXED_LINE: "This is a fixed line, which usually gets no texts.",
    PhoneNumberType.TOLL_FREE: "This is a free-phone number, which gets no texts from us.",
    PhoneNumberType.PREMIUM_RATE: "This is a premium-rate number.",
    PhoneNumberType.SHARED_COST: "This is a shared-cost number, which usually gets no texts.",
    PhoneNumberType.VOIP: "This is an internet number; some of them get no texts.",
    PhoneNumberType.PAGER: "This is a pager.",
    PhoneNumberType.UAN: "This is a company's number, which usually gets no texts.",
    PhoneNumberType.VOICEMAIL: "This is a mailbox for spoken messages.",
}
UNKNOWN_RANGE = (
    "No telephone company is known to give out numbers like this one. Check every digit."
)
UNKNOWN_ZONE = "Etc/Unknown"


@dataclass(frozen=True, slots=True)
class Phone:
    """A number in E.164, a warning if texts may not reach it, and the zones it may be in."""

    e164: str
    warning: str | None
    zones: tuple[str, ...]


def look_at(raw: str, country: str) -> Phone:
    """What `raw`, as dialled in `country`, tells. ImpossibleValue if it is no number at all."""
    e164 = to_e164(raw, country)
    number = phonenumbers.parse(e164)
    warning = NOT_FOR_TEXTS.get(phonenumbers.number_type(number))
    if not phonenumbers.is_valid_number(number):
        warning = UNKNOWN_RANGE
    found = numbers_timezone.time_zones_for_number(number)
    zones = tuple(zone for zone in found if zone in available_timezones())
    region = phonenumbers.region_code_for_number(number)
    if region and len(zones) > 1:
        # A country's mobile numbers name its neighbours' zones too; its own are enough.
        own = [zone for zone in zones if zone in zones_of(region)]
        zones = tuple(own) or zones
    if found == (UNKNOWN_ZONE,):
        # The country, at least, stands at the front of the number.
        zones = zones_of(phonenumbers.region_code_for_country_code(number.country_code or 0))
    return Phone(e164, warning, zones)
