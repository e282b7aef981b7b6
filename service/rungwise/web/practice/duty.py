"""The practice's duty plan: who is paged at which hour, where nobody is, and who is on duty now."""

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from rungwise.carriers.email import EMAIL
from rungwise.coach.accounts.trainers import colleagues
from rungwise.coach.alerting.digits_used import digits_used
from rungwise.coach.alerting.duty import (
    DAY,
    LAST_MINUTE,
    WEEK,
    Hours,
    Stretch,
    clock_of,
    duty_plan,
    gaps,
    hours_of,
    overlaps,
    overnight,
    stretch_at,
)
from rungwise.coach.practice.duty_plan import change_duty_plan
from rungwise.coach.record.access import require_lead
from rungwise.coach.record.fields import hour, sentence
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.store.tables import Trainer
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.ui.layout import framed

router = APIRouter()

EMPTY_LINES = 3
MOST_LINES = 60
DAY_NAMES = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
# A line may be about several days at once.
DAYS: Mapping[str, tuple[int, ...]] = {
    **{str(number): (number,) for number in range(7)},
    "working": (0, 1, 2, 3, 4),
    "weekend": (5, 6),
    "daily": (0, 1, 2, 3, 4, 5, 6),
}
DAY_CHOICES = (
    *((str(number), name) for number, name in enumerate(DAY_NAMES)),
    ("working", "Monday to Friday"),
    ("weekend", "Saturday and Sunday"),
    ("daily", "Every day"),
)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the form, as words."""

    day: str = ""
    begins: str = ""
    ends: str = ""
    who: str = ""

    @property
    def blank(self) -> bool:
        return not (self.begins or self.ends or self.who)


@router.get("/practice/duty")
def duty(visit: Signed) -> Response:
    with visit.parts.store.read() as session:
        hours = hours_of(duty_plan(session, visit.practice))
        return _page(visit, session, hours, lines_of(hours))


@router.post("/practice/duty")
def change(visit: Signed, fields: FieldsHere) -> Response:
    """Show what the plan would mean, or take it; only the lead may."""
    require_lead(visit.trainer)
    lines = lines_given(fields)
    with visit.parts.store.read() as session:
        staff = {one.trainer.id for one in colleagues(session, visit.practice)}
    hours, problems = read_lines(lines, staff)
    if not problems and fields.get("step") == "take":
        try:
            with visit.parts.store.write() as session:
                change_duty_plan(session, visit.now, visit.trainer, hours)
            return RedirectResponse("/practice/duty", 303)
        except ImpossibleValue as refused:
            problems = {"line-1": sentence(refused)}
    with visit.parts.store.read() as session:
        return _page(visit, session, hours, lines, problems, tried=True)


def _page(
    visit: Visit,
    session: Session,
    hours: Sequence[Hours],
    lines: Sequence[Line],
    problems: dict[str, str] | None = None,
    tried: bool = False,
) -> Response:
    staff = [one.trainer for one in colleagues(session, visit.practice)]
    names = {trainer.id: trainer.name for trainer in staff}
    active = {trainer.id for trainer in staff if trainer.active}
    # Who cannot sign in any more is not paged, whatever the plan says.
    held = [one for one in hours if one.trainer_id in active]
    zone = visit.practice.time_zone
    now = stretch_at(held, visit.now, zone) if held else None
    return framed(
        visit,
        session,
        "practice_duty.html",
        400 if problems else 200,
        lines=[*lines, *[Line()] * EMPTY_LINES] if visit.is_lead else lines,
        planned=bool(held),
        digits=digits_used(session, visit.now, visit.practice) if visit.is_lead else [],
        day_choices=DAY_CHOICES,
        staff=[(str(trainer.id), trainer.name) for trainer in staff if trainer.active],
        gone=sorted({names[one.trainer_id] for one in hours if one.trainer_id not in active}),
        unreached=[t.name for t in staff if t.id in {one.trainer_id for one in held}
                   and not _reached(visit, t)],
        gaps=[stretch_words(one) for one in gaps(held)] if held else [],
        overlaps=[(stretch_words(one), [names[who] for who in one.who]) for one in overlaps(held)],
        on_duty=[names[who] for who in now.who] if now else [],
        until=minute_words(now.ends) if now and now.ends - now.begins < WEEK else None,
        leads=[trainer.name for trainer in staff if trainer.role == "lead" and trainer.active],
        problems=problems or {},
        names={name: f"Line {name.rpartition('-')[2]}" for name in problems or {}},
        tried=tried,
    )  # fmt: skip


def _reached(visit: Visit, trainer: Trainer) -> bool:
    return bool(trainer.phone) or EMAIL in visit.parts.carriers


# --- words ----------------------------------------------------------------------------------------


def minute_words(minute: int) -> str:
    """A minute of the week: Monday 08:00; midnight belongs to the day that ends with it."""
    day, rest = divmod(minute, DAY)
    if rest == 0 and minute:
        return f"{DAY_NAMES[(day - 1) % 7]} midnight"
    return f"{DAY_NAMES[day % 7]} {clock_of(rest)}"


def stretch_words(stretch: Stretch) -> str:
    """From when to when; the day once when it is the same."""
    begins, ends = minute_words(stretch.begins), minute_words(stretch.ends)
    if stretch.ends - stretch.begins >= WEEK:
        return "the whole week"
    begin_day, _, _ = begins.partition(" ")
    end_day, _, end_time = ends.partition(" ")
    return f"{begins} to {end_time if begin_day == end_day else ends}"


# --- the form -------------------------------------------------------------------------------------


def lines_of(hours: Sequence[Hours]) -> list[Line]:
    """The plan as lines, days with the same hours of the same person in one where they can be."""
    days: dict[tuple[int, int, int], set[int]] = {}
    for one in hours:
        days.setdefault((one.begins, one.ends, one.trainer_id), set()).add(one.weekday)
    found: list[tuple[int, int, Line]] = []
    for (begins, ends, who), left in days.items():
        for name in ("daily", "working", "weekend", *(str(day) for day in range(7))):
            if left and left >= set(DAYS[name]):
                left -= set(DAYS[name])
                # As a field for times takes it: midnight at the day's end is 00:00.
                line = Line(name, clock_of(begins), clock_of(ends % DAY), str(who))
                found.append((DAYS[name][0], begins, line))
    return [line for _, _, line in sorted(found, key=lambda one: one[:2])]


def lines_given(fields: Fields) -> list[Line]:
    """The lines of the form that are not blank."""
    asked = ("day", "from", "until", "who")
    lines = [
        Line(*(fields.get(f"{name}-{number}", "").strip() for name in asked))
        for number in range(1, MOST_LINES + 1)
    ]
    return [line for line in lines if not line.blank]


def read_lines(lines: Sequence[Line], staff: Set[int]) -> tuple[list[Hours], dict[str, str]]:
    """The hours of every line that can be read, and what is wrong with the others by line.

    `staff` are the ids of the practice's trainers.
    """
    hours: list[Hours] = []
    problems: dict[str, str] = {}
    for number, line in enumerate(lines, 1):
        try:
            hours += _read_line(line, staff)
        except ServiceError as error:
            problems[f"line-{number}"] = sentence(error)
    return sorted(set(hours)), problems


def _read_line(line: Line, staff: Set[int]) -> list[Hours]:
    if line.day not in DAYS:
        raise ImpossibleValue("day", line.day, "a weekday, or several of the list")
    begins, ends = hour(line.begins or "-"), hour(line.ends or "-")
    if line.who not in {str(one) for one in staff}:
        raise ImpossibleValue("who", line.who, "a trainer of the list")
    until = DAY if ends == LAST_MINUTE else ends.hour * 60 + ends.minute
    first = begins.hour * 60 + begins.minute
    return [
        found
        for weekday in DAYS[line.day]
        for found in overnight(weekday, first, until, int(line.who))
    ]
