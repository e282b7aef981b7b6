"""Hours, weekdays and dates as people write them, in English and Spanish.

All work on plain text: small letters, no accents. A date is the next that fits, after today.
"""

import re
from collections.abc import Iterator
from datetime import date, timedelta

from rungwise.reply.reading import Context, Weekday

_DAYS: tuple[Weekday, ...] = (
    "monday",
    "tuesday",
    "wednesday",
    "thursday",
    "friday",
    "saturday",
    "sunday",
)
_WEEKDAYS: dict[str, int] = {
    **{name: i for i, name in enumerate(_DAYS)},
    **{name + "s": i for i, name in enumerate(_DAYS)},
    **{"mon": 0, "tue": 1, "tues": 1, "wed": 2, "weds": 2, "thu": 3, "thur": 3, "thurs": 3},
    **{"fri": 4, "sat": 5, "sun": 6},
    **{"lunes": 0, "martes": 1, "miercoles": 2, "jueves": 3, "viernes": 4, "sabado": 5},
    **{"sabados": 5, "domingo": 6, "domingos": 6},
}
MONTHS = {
    **{"january": 1, "february": 2, "march": 3, "april": 4, "may": 5, "june": 6, "july": 7},
    **{"august": 8, "september": 9, "october": 10, "november": 11, "december": 12},
    **{"jan": 1, "feb": 2, "mar": 3, "apr": 4, "jun": 6, "jul": 7, "aug": 8, "sep": 9},
    **{"sept": 9, "oct": 10, "nov": 11, "dec": 12},
    **{"enero": 1, "febrero": 2, "marzo": 3, "abril": 4, "mayo": 5, "junio": 6, "julio": 7},
    **{"agosto": 8, "septiembre": 9, "octubre": 10, "noviembre": 11, "diciembre": 12},
}
_COUNTS = {
    **{"a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6},
    **{"seven": 7, "eight": 8, "nine": 9, "ten": 10, "eleven": 11, "twelve": 12, "couple": 2},
    **{"un": 1, "una": 1, "uno": 1, "dos": 2, "tres": 3, "cuatro": 4, "cinco": 5, "seis": 6},
    **{"siete": 7, "ocho": 8, "nueve": 9, "diez": 10, "once": 11, "doce": 12, "par": 2},
}
_LENGTHS = {
    **{"day": 1, "days": 1, "dia": 1, "dias": 1, "week": 7, "weeks": 7, "semana": 7},
    **{"semanas": 7, "fortnight": 14, "quincena": 15, "month": 30, "months": 30, "mes": 30},
    **{"meses": 30, "weekend": 3},
}
_NAMES = "|".join(sorted({*_WEEKDAYS}, key=len, reverse=True))
_MONTH = "|".join(sorted({*MONTHS}, key=len, reverse=True))
_COUNT = "|".join(sorted({*_COUNTS}, key=len, reverse=True))
_LENGTH = "|".join(sorted({*_LENGTHS}, key=len, reverse=True))

_HOUR = re.compile(
    r"\b(?P<half>half past|half|quarter past|quarter to) (?P<past>\d{1,2}|" + _COUNT + r")\b"
    r"|\b(?P<hour>\d{1,2})(?:[:.h](?P<minute>[0-5]\d))? ?"
    r"(?P<part>a\.?m\b|p\.?m\b|o'?clock|hrs?\b|de la (?:manana|tarde|noche))?(?![\d/-])"
    r"|\b(?:at|around|about|by|a las?|sobre las) (?P<word>" + _COUNT + r")\b"
    r"(?: y (?P<and>media|cuarto))?(?: de la (?P<time>manana|tarde|noche))?"
    r"|\b(?P<noon>noon|midday|mediodia)\b"
)
_AFTERNOON = re.compile(r"\b(?:afternoon|evening|tonight|pm|p\.m|tarde|noche)\b")
_AND_HALF = re.compile(r" ?y (media|cuarto)\b")
# An hour told without its half of the day: 1 to 6 is after noon, for nobody is texted before 7.
_FIRST_MORNING_HOUR = 7
_NOT_HOURS = re.compile(
    r"\d+ ?(?:s|sec|secs|seconds?|segundos?|seg|weeks?|days?|semanas?|dias?|times|veces|minutes?"
    r"|mins?|minutos?|st|nd|rd|th)\b"
)


def hour(text: str) -> str | None:
    """The first time of day told, as "HH:MM"; None if none is."""
    cleared = _NOT_HOURS.sub(" ", text)
    for match in _HOUR.finditer(cleared):
        told = _time(match, cleared)
        if told is not None:
            return told
    return None


def _time(match: re.Match[str], text: str) -> str | None:
    if match["noon"]:
        return "12:00"
    minute = 0
    if match["half"]:
        at = _count(match["past"])
        minute = {"half": 30, "half past": 30, "quarter past": 15, "quarter to": -15}[match["half"]]
        part = ""
    elif match["word"]:
        at, part = _COUNTS[match["word"]], match["time"] or ""
        minute = {"media": 30, "cuarto": 15}.get(match["and"] or "", 0)
    else:
        at, part = int(match["hour"]), match["part"] or ""
        minute = int(match["minute"] or 0)
        after = _AND_HALF.match(text, match.end())
        if after and not match["minute"]:
            minute = {"media": 30, "cuarto": 15}[after[1]]
    if not 0 <= at <= 23 or (at == 0 and not match["minute"]):
        return None
    late = part.startswith("p") or "tarde" in part or "noche" in part
    early = part.startswith("a") or "manana" in part
    if at < 12 and (late or (not early and (at < _FIRST_MORNING_HOUR or _in_afternoon(text)))):
        at += 12
    if at == 12 and early:
        at = 0
    total = at * 60 + minute
    return f"{total // 60:02d}:{total % 60:02d}"


def _in_afternoon(text: str) -> bool:
    return _AFTERNOON.search(text) is not None


def _count(word: str) -> int:
    return int(word) if word.isdigit() else _COUNTS[word]


_EVERY = re.compile(rf"\b({_NAMES})\b")
_WORKDAYS = re.compile(r"\b(?:weekdays|entre semana|dias laborables)\b")
_WEEKENDS = re.compile(r"\b(?:weekends?|fines? de semana)\b")


def weekdays(text: str) -> tuple[Weekday, ...]:
    """The weekdays named, from Monday on."""
    named = {_WEEKDAYS[match[1]] for match in _EVERY.finditer(text)}
    if _WORKDAYS.search(text):
        named |= {0, 1, 2, 3, 4}
    elif _WEEKENDS.search(text):
        named |= {5, 6}
    return tuple(_DAYS[day] for day in sorted(named))


def name_of(day: date) -> Weekday:
    return _DAYS[day.weekday()]


_WEEKDAY_DATE = (
    rf"(?:(?P<day>{_NAMES})(?:,? (?:the )?(?P<dayno>\d{{1,2}})(?:st|nd|rd|th)?(?! ?(?:{_MONTH})))?)"
)
_DATE = re.compile(
    rf"(?:(?:{_NAMES}),? )?(?:the )?(?P<no>\d{{1,2}})(?:st|nd|rd|th)?(?: of| de)? "
    rf"(?P<month>{_MONTH})\b"
    rf"|\b(?P<month2>{_MONTH}) (?:the )?(?P<no2>\d{{1,2}})(?:st|nd|rd|th)?\b"
    rf"|\b(?P<m>\d{{1,2}})/(?P<d>\d{{1,2}})\b"
    rf"|\b{_WEEKDAY_DATE}\b"
    r"|\b(?P<tomorrow>tomorrow|pasado manana|manana(?! por| temprano))\b"
    r"|\b(?P<week>next week|la semana que viene|la proxima semana)\b"
    r"|\b(?:the|el|dia|al|hasta|until|till|to|del) (?:el |the |dia )?(?P<only>\d{1,2})"
    rf"(?:st|nd|rd|th)?\b(?! ?(?:am|pm|:|de la|weeks|days|semanas|dias|(?:de |of )?(?:{_MONTH})))"
)
_UNTIL = re.compile(
    r"\b(?:until|till|til|through|back on|back|return on|returning|home on|hasta(?: el)?|al"
    r"|vuelvo(?: el)?|regreso(?: el)?|to|a)(?: the| el| next| this| on| about| around)*(?= )"
)
_FROM = re.compile(r"\b(?:from|starting|leaving|leave on|desde(?: el)?|del|a partir del?)(?= )")
_LASTING = re.compile(
    rf"\b(?:for|por|durante|unos|unas|otra|otras|the next|next|otros)? ?(?:about |the |unas? )?"
    rf"(?P<count>\d{{1,2}}|{_COUNT})(?: of| de)? (?:more |whole |full )?(?P<length>{_LENGTH})\b"
    r"|\b(?:for|de|este|this|the|el|un|una) (?P<one>weekend|fortnight|quincena)\b"
    r"|\b(?P<rest>for the week|this week|esta semana|the rest of the week)\b"
)


def _next(today: date, weekday: int) -> date:
    return today + timedelta(days=(weekday - today.weekday() - 1) % 7 + 1)


def _month_day(today: date, month: int, day: int) -> date | None:
    for year in (today.year, today.year + 1):
        try:
            told = date(year, month, day)
        except ValueError:
            return None
        if told > today:
            return told
    return None


def _day_only(today: date, day: int) -> date | None:
    for ahead in range(3):
        month = (today.month - 1 + ahead) % 12 + 1
        year = today.year + (today.month - 1 + ahead) // 12
        try:
            told = date(year, month, day)
        except ValueError:
            continue
        if told > today:
            return told
    return None


def _resolved(match: re.Match[str], today: date, day_first: bool) -> date | None:
    """The date that a match tells; None where there is no such day."""
    named = match["month"] or match["month2"]
    if named:
        return _month_day(today, MONTHS[named], int(match["no"] or match["no2"]))
    if match["m"]:
        one, two = int(match["m"]), int(match["d"])
        month, day = (two, one) if day_first else (one, two)
        return _month_day(today, month, day)
    number = match["dayno"] or match["only"]
    if number:
        return _day_only(today, int(number))
    if match["tomorrow"]:
        return today + timedelta(days=2 if "pasado" in match["tomorrow"] else 1)
    return _next(today, _WEEKDAYS[match["day"]] if match["day"] else 0)


def _dates(text: str, today: date, day_first: bool) -> Iterator[tuple[int, date]]:
    for match in _DATE.finditer(text):
        told = _resolved(match, today, day_first)
        if told is not None:
            yield match.start(), told


def stretch(text: str, context: Context) -> tuple[str | None, str | None]:
    """The first day without texts and the day they come again, as ISO dates where told."""
    today = context.today
    if today is None:
        return None, None
    told = list(_dates(text, today, context.language == "es"))
    until = _after(_UNTIL, text, told)
    begins = _after(_FROM, text, [one for one in told if one[1] != until])
    if begins is None and until is not None and len(told) > 1 and told[0][1] < until:
        begins = told[0][1]
    lasting = _LASTING.search(text)
    if until is None and lasting is not None:
        first = begins or (told[0][1] if told else today)
        begins = first if told else None
        until = first + timedelta(days=_days(lasting, first))
    elif until is None and told:
        begins = begins or told[0][1]
        until = max(one for _, one in told) + timedelta(days=1) if len(told) > 1 else None
        if len(told) == 1 and context.asked == "away_until":
            begins, until = None, told[0][1]
    return begins.isoformat() if begins else None, until.isoformat() if until else None


def _days(match: re.Match[str], first: date) -> int:
    if match["rest"]:
        return 7 - first.weekday()
    if match["one"]:
        return _LENGTHS[match["one"]]
    return min(_count(match["count"]), 60) * _LENGTHS[match["length"]]


def _after(opening: re.Pattern[str], text: str, told: list[tuple[int, date]]) -> date | None:
    """The date that one of the words in `opening` leads to."""
    for match in opening.finditer(text):
        for start, one in told:
            if match.start() <= start <= match.end() + 5:
                return one
    return None


# What is told of longer ago than this is another year's date.
_LONGEST_BACK = 60
_BACK: tuple[tuple[re.Pattern[str], int], ...] = (
    (re.compile(r"\b(?:day before yesterday|anteayer|antier|antes de ayer)\b"), 2),
    (re.compile(r"\b(?:yesterday|last night|ayer|anoche)\b"), 1),
    (
        re.compile(
            r"\b(?:today|this (?:morning|afternoon|evening)|tonight|just now|hoy|ahora|"
            r"esta (?:manana|tarde|noche))\b"
        ),
        0,
    ),
)
_AGO = re.compile(
    rf"\b(?P<count>\d{{1,2}}|{_COUNT})(?: of)? (?P<length>days?|weeks?) (?:ago|back)\b"
    rf"|\bhace (?:como |unos |unas )?(?P<cuenta>\d{{1,2}}|{_COUNT}) (?P<largo>dias?|semanas?)\b"
)


def days_back(text: str, context: Context) -> int | None:
    """How many days ago the day told was; None where none is told, or two that differ.

    A weekday is the last one of that name, and today's name means today.
    """
    today = context.today
    if today is None:
        return None
    for words, days in _BACK:
        if words.search(text):
            return days
    ago = _AGO.search(text)
    if ago is not None:
        length = _LENGTHS[ago["length"] or ago["largo"]]
        return _count(ago["count"] or ago["cuenta"]) * length
    matches = _DATE.finditer(text)
    told = {_last(match, today, context.language == "es") for match in matches} - {None}
    return told.pop() if len(told) == 1 else None


def _last(match: re.Match[str], today: date, day_first: bool) -> int | None:
    """How many days ago the date that a match tells was last."""
    if match["tomorrow"] or match["week"]:
        return None
    named = match["month"] or match["month2"] or match["m"]
    number = match["no"] or match["no2"] or match["only"]
    if not named and not number:
        # A number after it is as likely a hold: "Tuesday, 20 steady".
        return (today.weekday() - _WEEKDAYS[match["day"]]) % 7
    month, day = MONTHS.get(named or "", 0), int(number or 0)
    if match["m"]:
        one, two = int(match["m"]), int(match["d"])
        month, day = (two, one) if day_first else (one, two)
    for back in range(_LONGEST_BACK):
        then = today - timedelta(days=back)
        if then.day == day and month in (0, then.month):
            return back
    return None
