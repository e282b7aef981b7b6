"""The rule review: what other settings would have made of the stored reports.

The answer streams: a progress bar grows while clients are looked at, and the figures follow. It
needs no script, holds nothing in memory between requests and works with any number of processes.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Response
from fastapi.responses import StreamingResponse
from pydantic import BaseModel, Field
from sqlmodel import col, select

from rungwise.coach.record.access import client_of
from rungwise.coach.rule.rule_review import RuleChange, RuleReview, clients_to_review, review_rule
from rungwise.coach.rule.rule_trial import TrialSettings
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.ladder.caution import PRESETS, SAFE_BOUNDS, WHOLE_DAYS
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client
from rungwise.web.http.auth import Number, Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.ui.layout import framed
from rungwise.web.ui.templating import environment

router = APIRouter()

CHANGES_SHOWN = 200
BARS = 100
SPLIT = "<!-- here the answer pauses -->"


class Trial(BaseModel):
    """What is asked in the address. Empty settings stay each client's own."""

    preset: str = Field(default="", max_length=20)
    client: Number = 0
    steady_days_step: str = Field(default="", max_length=8)
    steady_days_landmark: str = Field(default="", max_length=8)
    back_days: str = Field(default="", max_length=8)
    back_window_days: str = Field(default="", max_length=8)
    far_short_share: str = Field(default="", max_length=8)
    away_back_days: str = Field(default="", max_length=8)
    away_rest_days: str = Field(default="", max_length=8)
    least_chance: str = Field(default="", max_length=8)

    def settings(self) -> TrialSettings:
        """ImpossibleValue for a setting that is no number or out of its bounds."""
        changes: dict[str, int | float | None] = {}
        for name in SETTINGS:
            words = getattr(self, name).strip().replace(",", ".")
            if words:
                changes[name] = _number(name, words)
        if changes.get("least_chance") == 0:
            changes["least_chance"] = None
        return TrialSettings(self.preset or None, changes)


SETTINGS: dict[str, str] = {
    "steady_days_step": "Steady days before a step up",
    "steady_days_landmark": "Steady days before leaving a landmark",
    "back_days": "Wobbly or short days before a step back",
    "back_window_days": "among the last days practised",
    "far_short_share": "Under this share of the target: back a landmark",
    "away_back_days": "Days away before going back",
    "away_rest_days": "Days away before resting",
    "least_chance": "Least chance for a move up (0: leave it out)",
}


def _number(name: str, words: str) -> int | float:
    try:
        return int(words) if name in WHOLE_DAYS else float(words)
    except ValueError:
        low, high = SAFE_BOUNDS[name]
        allowed = f"a number from {low:g} to {high:g}"
        raise ImpossibleValue(SETTINGS[name], words, allowed) from None


@dataclass(frozen=True, slots=True)
class Line:
    """One day that would have been otherwise, with the client's name."""

    name: str
    change: RuleChange


@router.get("/rule-review")
def form(visit: Signed, client: Number = 0) -> Response:
    return _form_page(visit, Trial(preset="gentle", client=client))


def _form_page(visit: Visit, asked: Trial, told: str = "", status: int = 200) -> Response:
    with visit.parts.store.read() as session:
        one = client_of(session, visit.trainer, asked.client) if asked.client else None
        return framed(
            visit,
            session,
            "evidence_rule.html",
            status,
            asked=asked,
            one=one,
            presets=PRESETS,
            settings=SETTINGS,
            told=told,
            split="",
        )


@router.get("/rule-review/run")
def run(visit: Signed, asked: Annotated[Trial, Query()]) -> Response:
    try:
        trial = asked.settings()
    except ServiceError as error:
        return _form_page(visit, asked, str(error), status_of(error))
    with visit.parts.store.read() as session:
        one = client_of(session, visit.trainer, asked.client) if asked.client else None
        ids = clients_to_review(session, Scope.of(visit.trainer), one.id if one else None)
        shell = framed(
            visit,
            session,
            "evidence_rule.html",
            asked=asked,
            one=one,
            presets=PRESETS,
            settings=SETTINGS,
            told="",
            split=SPLIT,
        )
    before, _, after = bytes(shell.body).decode().partition(SPLIT)
    # No proxy in front may hold the bar back until all is done.
    headers = {"X-Accel-Buffering": "no"}
    return StreamingResponse(
        _streamed(visit, trial, ids, before, after), media_type="text/html", headers=headers
    )


def _streamed(
    visit: Visit, trial: TrialSettings, ids: list[int], before: str, after: str
) -> Iterator[str]:
    total, shown = RuleReview(), deque[RuleChange](maxlen=CHANGES_SHOWN)
    yield before
    yield '<div class="going" role="status">'
    every = max(len(ids) // BARS, 1)
    for number, one in enumerate(review_rule(visit.parts.store, ids, trial), start=1):
        total.add(one)
        shown.extend(one.changes)
        if number % every == 0 or number == len(ids):
            yield (
                f"<p><label>Looked at {number:,} of {len(ids):,} clients "
                f'<progress max="{len(ids)}" value="{number}"></progress></label></p>\n'
            )
    yield "</div>"
    result = environment().get_template("evidence_rule_result.html")
    yield result.render(
        total=total,
        sentences=total.sentences(trial.name),
        lines=_named(visit, shown),
        more=total.changed.total() - len(shown),
    )
    yield after


def _named(visit: Visit, changes: deque[RuleChange]) -> list[Line]:
    """The lines with names, latest day first."""
    ids = {change.client_id for change in changes}
    with visit.parts.store.read() as session:
        rows = select(Client.id, Client.name).where(col(Client.id).in_(ids))
        names = dict(session.exec(rows).all())
    lines = [Line(names[change.client_id], change) for change in changes]
    return sorted(lines, key=lambda line: line.change.day, reverse=True)
