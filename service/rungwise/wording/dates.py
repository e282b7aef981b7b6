"""Dates, weekdays and hours as a client reads them."""

from datetime import date, time

from rungwise.wording.texts import fill, language_of, table, weekday_name, word


def date_words(day: date, language: str) -> str:
    """A date in full: "Tuesday, December 3"."""
    month = table(language)["words"]["months"][day.month - 1]
    values = {"weekday": weekday_name(day.weekday(), language), "month": month, "day": day.day}
    return fill("date", word("date", language), values)


def hour_words(at: time, language: str) -> str:
    """A local hour: "9 am" or "3:30 pm"; in Spanish "las 15:30"."""
    english = language_of(language) == "en"
    hour = (at.hour % 12 or 12) if english else at.hour
    values = {"hour": hour, "minutes": f"{at.minute:02d}", "half": "am" if at.hour < 12 else "pm"}
    name = "hour_minutes" if at.minute else "hour"
    said = fill(name, word(name, language), values)
    return said.replace("las 1", "la 1", 1) if not english and hour == 1 else said
