"""Outcomes across a trainer's clients, or the practice for its lead: charts, tables, CSV."""

import csv
import io
from typing import Annotated

from fastapi import APIRouter, Query, Response
from pydantic import BaseModel, Field

from rungwise.coach.reports import findings
from rungwise.coach.reports.outcomes import (
    REVERSED_WITHIN_DAYS,
    USUAL_WEEKS,
    WEEKS,
    Outcomes,
    outcomes,
    times_of,
    weeks_of,
)
from rungwise.evidence.dose import MONTH_DAYS, REASONS
from rungwise.evidence.landmarks import BEFORE, LANDMARKS
from rungwise.evidence.rates import (
    FALLS_PER_1000,
    FALLS_WITH_EXERCISE_PER_1000,
    WHO_DAYS_A_WEEK,
    expected_falls,
)
from rungwise.evidence.sources import LAMB_2005, SHERRINGTON_2019, WHO_2020
from rungwise.store.queries.banner_counts import Scope
from rungwise.web.charts.evidence_pictures import NARROW_PX, WIDE_PX, draw_times, draw_weeks
from rungwise.web.clients.client_page import PICTURE_POLICY
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.ui.layout import framed

router = APIRouter()

CHOICES = (4, 12, 26, 52)
NAMES: list[tuple[str | None, str]] = [(None, BEFORE), *LANDMARKS.items()]
FALLS_MEASURED = (
    *("people", "falls", "fallers", "repeat_fallers", "injurious", "injury_unknown"),
    *("while_practising", "place_unknown", "elsewhere", "days_answered", "days_missing"),
)
SHOWN_DAYS = (30, 90, 180, 365)
# More clients than this are told as a number, not as dots.
MOST_DOTS = 60


class Looking(BaseModel):
    weeks: int = Field(default=USUAL_WEEKS, ge=WEEKS[0], le=WEEKS[1])
    theme: str = Field(default="light", max_length=10)
    narrow: bool = False

    @property
    def width_px(self) -> float:
        return NARROW_PX if self.narrow else WIDE_PX


Asked = Annotated[Looking, Query()]


def _outcomes(visit: Visit, asked: Looking) -> Outcomes:
    with visit.parts.store.read() as session:
        return outcomes(session, Scope.of(visit.trainer), visit.now, asked.weeks)


@router.get("/outcomes")
def page(visit: Signed, asked: Asked) -> Response:
    found = _outcomes(visit, asked)
    with visit.parts.store.read() as session:
        return framed(
            visit,
            session,
            "evidence_outcomes.html",
            found=found,
            findings={
                "practice": findings.practice(found.weeks),
                "dose": findings.dose(found.dose),
                "falls": findings.falls(found.falls),
                "landmarks": findings.landmarks(found.passed, found.under_way),
                "reversals": findings.reversals(found.reversals, lead=visit.is_lead),
            },
            most_dots=MOST_DOTS,
            asked=asked,
            choices=CHOICES,
            landmarks=NAMES,
            shown_days=SHOWN_DAYS,
            enough_days=WHO_DAYS_A_WEEK,
            reversed_days=REVERSED_WITHIN_DAYS,
            falls_source=SHERRINGTON_2019,
            fall_source=LAMB_2005,
            reasons=REASONS,
            month_days=MONTH_DAYS,
            expected=expected_falls(found.falls.days_answered),
            who_source=WHO_2020,
            trial_falls=FALLS_PER_1000,
            trial_left=FALLS_WITH_EXERCISE_PER_1000,
        )


@router.get("/outcomes/weeks.svg")
def weeks_picture(visit: Signed, asked: Asked) -> Response:
    with visit.parts.store.read() as session:
        weeks = weeks_of(session, Scope.of(visit.trainer), visit.now, asked.weeks)
    return _picture(draw_weeks(weeks, asked.theme, asked.width_px))


@router.get("/outcomes/times.svg")
def times_picture(visit: Signed, asked: Asked) -> Response:
    with visit.parts.store.read() as session:
        times = times_of(session, Scope.of(visit.trainer), visit.now)
    return _picture(draw_times(times, asked.theme, asked.width_px))


def _picture(svg: str) -> Response:
    headers = {"Content-Security-Policy": PICTURE_POLICY}
    return Response(svg, media_type="image/svg+xml", headers=headers)


@router.get("/outcomes.csv")
def as_csv(visit: Signed, asked: Asked) -> Response:
    """All of the page's figures, one a line: table, row, measure, value, low, high."""
    text = outcomes_csv(_outcomes(visit, asked))
    headers = {"Content-Disposition": f'attachment; filename="outcomes-{visit.now:%Y-%m-%d}.csv"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


def outcomes_csv(found: Outcomes) -> str:
    made = io.StringIO()
    lines = csv.writer(made)
    lines.writerow(("table", "row", "measure", "value", "low", "high"))
    for name, count in found.by_landmark.items():
        lines.writerow(("clients by landmark", name or "before", "clients", count, "", ""))
    for week in found.weeks:
        for measure in ("clients", "asked_days", "practised_days", "enough"):
            value = getattr(week, measure)
            lines.writerow(("weeks", week.monday.isoformat(), measure, value, "", ""))
    for measure in ("planned", "done", "extra", "holds", "minutes"):
        lines.writerow(("dose", "all", measure, getattr(found.dose, measure), "", ""))
    for why, count in found.dose.missed.items():
        lines.writerow(("sessions not done", why, "sessions", count, "", ""))
    for month in found.months:
        for measure in ("began", "told", "ended", "unfinished"):
            value = getattr(month, measure)
            lines.writerow(("months", f"month {month.month}", measure, value, "", ""))
    falls = found.falls
    for measure in FALLS_MEASURED:
        lines.writerow(("falls", "all", measure, getattr(falls, measure), "", ""))
    if falls.per_person_year is not None:
        rate = falls.per_person_year
        lines.writerow(("falls", "all", "per_person_year", rate.value, rate.low, rate.high))
    for time in found.times:
        for step in time.curve.steps:
            low = "" if step.high is None else 1 - step.high
            high = "" if step.low is None else 1 - step.low
            row = f"{time.landmark}, day {step.day:g}"
            lines.writerow(
                ("time to landmark", row, "share_reached", 1 - step.share_left, low, high)
            )
            lines.writerow(("time to landmark", row, "under_way", step.under_way, "", ""))
    for measure in ("ups", "ups_reversed", "backs", "backs_reversed", "placed"):
        value = getattr(found.reversals, measure)
        lines.writerow(("moves", "all", measure, value, "", ""))
    return made.getvalue()
