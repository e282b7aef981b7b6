"""Dates, weekdays and hours as a client reads them."""

from datetime import date, time

from rungwise.concepts.measures import Measures
from rungwise.wording.texts import fill, language_of, table, weekday_name, word


def date_words(day: date, language: str) -> str:
    """A date in full: "Tuesday, December 3"."""
    month = table(language)["words"]["months"][day.month - 1]
    values = {"weekday": weekday_name(day.weekday(), language), "month": month, "day": day.day}
    return fill("date", word("date", language), values)


def hour_words(at: time, language: str, clock: int | None = None) -> str:
    """A local hour by a practice's clock; without one "3:30 pm", in Spanish "las 15:30"."""
    english = language_of(language) == "en"
    twelve = clock == 12 or (clock is None and english)
    if clock is not None and english and not twelve:
        return Measures(clock=clock).hour(at)
    hour = (at.hour % 12 or 12) if twelve else at.hour
    half = "am" if at.hour < 12 else "pm"
    values = {"hour": hour, "minutes": f"{at.minute:02d}", "half": half}
    name = "hour_minutes" if at.minute else "hour"
    said = fill(name, word(name, language), values)
    if english:
        return said
    said = said.replace("las 1", "la 1", 1) if hour == 1 else said
    return f"{said} {half}" if twelve else said
