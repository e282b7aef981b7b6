"""The day's text: when it is due, whether it may still go, and what it says."""

from collections.abc import Mapping
from datetime import date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from rungwise.coach.record.codec import PlanSettings
from rungwise.ladder.body import Body
from rungwise.ladder.keys import is_key, parse_key
from rungwise.ladder.rungs import Rung
from rungwise.ticks.due import LATEST, Due, Quiet, next_due
from rungwise.time_zone import local_to_utc
from rungwise.wording.answers import prompt_text
from rungwise.wording.rung_words import Telling, rung_text


def next_prompt(
    settings: PlanSettings,
    zone: str,
    quiet: Quiet,
    after: datetime,
    *handled: date | None,
) -> Due | None:
    """When the next prompt is due; `handled` are dates that had theirs, however often the hour or
    the zone changes.
    """
    return next_due(
        after,
        zone,
        settings.prompt_at,
        settings.weekdays,
        away=settings.away,
        quiet=quiet,
        after_date=max((day for day in handled if day is not None), default=None),
    )


def reminder_of(settings: PlanSettings, zone: str, day: date, now: datetime) -> Due | None:
    """When the reminder of this date's practice is due; None when there is none, or no more."""
    if settings.reminder_at is None:
        return None
    at = local_to_utc(datetime.combine(day, settings.reminder_at), zone)
    return Due(day, at) if at > now else None


def still_sensible_until(at: datetime, zone: str, quiet: Quiet) -> datetime:
    """When a prompt due `at` is too late: after two hours, or when quiet hours begin."""
    local = at.astimezone(ZoneInfo(zone))
    begins = local_to_utc(datetime.combine(local.date(), quiet.begins), zone)
    return min(at + LATEST, begins) if begins > at else at + LATEST


def is_first_day(last_key: str | None, key: str) -> bool:
    """Whether `key` is a new stance or ground for somebody whose last prompt was for `last_key`.

    The first day of a stance is told more fully.
    """
    if last_key is None or not is_key(last_key):
        return True
    before, now = parse_key(last_key), parse_key(key)
    return (before.stance, before.surface, before.layers, before.orientation) != (
        now.stance,
        now.surface,
        now.layers,
        now.orientation,
    )


def task_body(
    rung: Rung,
    body: Body,
    telling: Telling,
    language: str,
    wording: Mapping[str, str],
    link: str = "",
) -> str:
    """The exact text that asks for this rung, in the practice's own `wording` of texts, with a link
    to the rung's picture if there is one.
    """
    if not link:  # which no two texts share
        return _same_for_all(rung, body, telling, language, tuple(sorted(wording.items())))
    return _task_body(rung, body, telling, language, wording, link)


@lru_cache(maxsize=4096)
def _same_for_all(
    rung: Rung, body: Body, telling: Telling, language: str, wording: tuple[tuple[str, str], ...]
) -> str:
    return _task_body(rung, body, telling, language, dict(wording), "")


def _task_body(
    rung: Rung,
    body: Body,
    telling: Telling,
    language: str,
    wording: Mapping[str, str],
    link: str,
) -> str:
    task = rung_text(rung, body, telling, language)
    return prompt_text(task, language, sides=rung.sides, wording=wording, link=link)
