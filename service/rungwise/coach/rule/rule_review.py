"""What other settings of the rule would have made of the reports that are stored. Looking only.

Every stored decision is taken again under the other settings, on the ladder, the plan and the past
that it was taken on. So each line says what would have been decided on that day, not what would
have followed: a client who had waited would have told about another rung from then on, and those
reports don't exist. Days away are looked at too: whether an absence would have called for a move
before the next prompt. Falls, pain, dizziness and emergencies rest under any settings.

Clients are taken a few at a time, so memory stays flat however many there are.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from itertools import islice
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Row
from sqlalchemy import select as columns
from sqlmodel import Session, col, select

from rungwise.coach.record.codec import PlanSettings, report_from_json, stored_ladder
from rungwise.coach.record.situation import HISTORY_DAYS
from rungwise.coach.rule.rule_trial import TrialSettings
from rungwise.evidence.rates import drawn_by_chance
from rungwise.ladder.absence import LEAST_MISSED
from rungwise.ladder.estimate import next_chance
from rungwise.ladder.moves import Chance, Move, PastDay, Plan
from rungwise.ladder.progression import DayReport, decide, decide_absence
from rungwise.ladder.rungs import Ladder
from rungwise.store import Store
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Audit, Client, Message, MoveRow, PlanRow, Report

BATCH = 20
LEFT = ("sent", "delivered", "unknown")
NOTHING = "nothing"
THEN_BACK_DAYS = 7


@dataclass(frozen=True, slots=True)
class RuleChange:
    """One day on which the other settings would have decided otherwise.

    `was` and `would` are kinds of move, "nothing" where no absence move was or would be made;
    `was_to` and `would_to` the rungs they lead to. `then_back` says of a move up whether the next
    change of rung, within 7 days, was a move back.
    """

    client_id: int
    day: date
    rung_key: str
    was: str
    was_to: str
    would: str
    would_to: str
    because: str
    then_back: bool = False


@dataclass(frozen=True, slots=True)
class ClientReview:
    """One client's decisions taken again: how many by what they were, and those that differ; of
    all moves up that were made, how many were followed by a move back.
    """

    client_id: int
    decided: Mapping[str, int]
    changes: tuple[RuleChange, ...]
    ups_then_back: int = 0


@dataclass(slots=True)
class RuleReview:
    """The sum over clients. `changed` counts differences by what was and what would have been."""

    clients: int = 0
    decided: Counter[str] = field(default_factory=Counter)
    changed: Counter[tuple[str, str]] = field(default_factory=Counter)
    waited_then_back: int = 0
    ups_then_back: int = 0

    def add(self, one: ClientReview) -> None:
        self.clients += 1
        self.decided.update(one.decided)
        self.changed.update((change.was, change.would) for change in one.changes)
        self.ups_then_back += one.ups_then_back
        self.waited_then_back += sum(
            change.then_back for change in one.changes if change.would == "stay"
        )

    def _by_chance(self) -> str:
        """How many that would be if the waiting ones had been drawn blindly from all moves up."""
        waited = self.changed["up", "stay"]
        low, high = drawn_by_chance(self.decided["up"], self.ups_then_back, waited)
        between = f"{low:,} to {high:,}" if low < high else f"{low:,}"
        return f"by chance alone {between} would"

    @property
    def decisions(self) -> int:
        return sum(self.decided.values())

    def sentences(self, name: str) -> list[str]:
        """What would have been different, in plain sentences, the commonest kinds of move first."""
        ups, backs = self.decided["up"], self.decided["back"]
        changed = self.changed
        lines = [
            f"With {name}, {changed['up', 'stay']:,} of {ups:,} moves up would have waited; "
            f"{self.waited_then_back:,} of those were followed by a move back within "
            f"{THEN_BACK_DAYS} days; {self._by_chance()}.",
            f"{changed['stay', 'up']:,} of {self.decided['stay']:,} stays would have been a move "
            f"up.",
        ]
        told = {
            ("stay", "back"): f"of {self.decided['stay']:,} stays would have been a move back.",
            ("back", "stay"): f"of {backs:,} moves back would have been a stay.",
            ("back", "back"): f"of {backs:,} moves back would have gone to another rung.",
            ("up", "back"): f"of {ups:,} moves up would have been a move back.",
            ("up", "up"): f"of {ups:,} moves up would have gone to another rung.",
            ("back", "up"): f"of {backs:,} moves back would have been a move up.",
            (NOTHING, "back"): "more absences would have called for an easier rung.",
            (NOTHING, "rest"): "more absences would have called for a rest.",
            (
                "back",
                NOTHING,
            ): f"of {backs:,} moves back, for an absence, would not have been made.",
            ("back", "rest"): f"of {backs:,} moves back, for an absence, would have been a rest.",
            ("rest", "back"): "rests for an absence would have been a move back.",
            ("rest", NOTHING): "rests for an absence would not have been made.",
        }
        return lines + [f"{changed[pair]:,} {line}" for pair, line in told.items() if changed[pair]]


def clients_to_review(session: Session, scope: Scope | None, client_id: int | None) -> list[int]:
    """The ids of everybody in the scope, or of this one client of it."""
    rows = select(Client.id).order_by(col(Client.id))
    if scope is not None:
        rows = rows.where(scope.clients)
    if client_id is not None:
        rows = rows.where(Client.id == client_id)
    return list(session.exec(rows).all())


def review_rule(
    store: Store, client_ids: Sequence[int], trial: TrialSettings
) -> Iterator[ClientReview]:
    """Each client's decisions under the other settings, one client after the other."""
    waiting = iter(client_ids)
    while batch := list(islice(waiting, BATCH)):
        with store.read() as session:
            stored = _load(session, batch)
        for client_id in batch:
            yield _Again(stored, client_id, trial).review()


# --- what is stored -------------------------------------------------------------------------------


@dataclass(slots=True)
class _Stored:
    """A few clients' rows, by client."""

    moves: dict[int, list[Row[Any]]]
    reports: dict[int, Any]
    prompts: dict[int, list[tuple[datetime, date]]]
    resumed: dict[int, list[tuple[datetime, date]]]
    plans: dict[tuple[int, int], tuple[PlanSettings, Ladder]]


def _load(session: Session, ids: Sequence[int]) -> _Stored:
    moves: dict[int, list[Row[Any]]] = defaultdict(list)
    wanted = columns(
        col(MoveRow.client_id),
        col(MoveRow.local_date),
        col(MoveRow.report_id),
        col(MoveRow.kind),
        col(MoveRow.from_key),
        col(MoveRow.to_key),
        col(MoveRow.rule),
        col(MoveRow.alerts),
        col(MoveRow.facts),
        col(MoveRow.rule_version),
        col(MoveRow.plan_version),
        col(MoveRow.resting),
        col(MoveRow.decided_at),
        col(MoveRow.superseded_at),
    )
    in_order = wanted.where(col(MoveRow.client_id).in_(ids)).order_by(
        col(MoveRow.client_id), col(MoveRow.id)
    )
    for row in session.execute(in_order):
        moves[row.client_id].append(row)
    told = columns(col(Report.id), col(Report.told)).where(col(Report.client_id).in_(ids))
    reports = {row.id: row.told for row in session.execute(told)}
    return _Stored(
        moves, reports, _prompts(session, ids), _resumed(session, ids), _plans(session, ids)
    )


def _prompts(session: Session, ids: Sequence[int]) -> dict[int, list[tuple[datetime, date]]]:
    """When each client's prompts left, and for which date: then absences are looked at."""
    rows = (
        columns(col(Message.client_id), col(Message.created_at), col(Message.local_date))
        .where(
            col(Message.client_id).in_(ids),
            col(Message.kind) == "prompt",
            col(Message.direction) == "out",
            col(Message.state).in_(LEFT),
        )
        .order_by(col(Message.client_id), col(Message.id))
    )
    found: dict[int, list[tuple[datetime, date]]] = defaultdict(list)
    for client_id, at, day in session.execute(rows):
        found[client_id].append((at, day))
    return found


def _resumed(session: Session, ids: Sequence[int]) -> dict[int, list[tuple[datetime, date]]]:
    """When a pause by the trainer ended: an absence is counted from there."""
    rows = (
        select(Audit.client_id, Audit.at, Client.time_zone)
        .join(Client, col(Client.id) == col(Audit.client_id))
        .where(col(Audit.client_id).in_(ids), Audit.action == "resume")
        .order_by(col(Audit.id))
    )
    found: dict[int, list[tuple[datetime, date]]] = defaultdict(list)
    for client_id, at, zone in session.exec(rows):
        if client_id is not None:
            found[client_id].append((at, at.astimezone(ZoneInfo(zone)).date()))
    return found


def _plans(
    session: Session, ids: Sequence[int]
) -> dict[tuple[int, int], tuple[PlanSettings, Ladder]]:
    rows = select(PlanRow).where(col(PlanRow.client_id).in_(ids))
    return {
        (row.client_id, row.version): (
            PlanSettings.from_json(row.settings),
            stored_ladder(row.profile),
        )
        for row in session.exec(rows)
    }


# --- taking the decisions again -------------------------------------------------------------------


class _Again:
    """One client's life told again in order, with every decision taken a second time."""

    def __init__(self, stored: _Stored, client_id: int, trial: TrialSettings) -> None:
        self.client_id = client_id
        self.rows = stored.moves.get(client_id, [])
        self.reports = stored.reports
        self.prompts = stored.prompts.get(client_id, [])
        self.resumed = stored.resumed.get(client_id, [])
        self.settings = {
            version: (trial.caution(settings.caution), settings, ladder)
            for (whose, version), (settings, ladder) in stored.plans.items()
            if whose == client_id
        }
        self.history: list[PastDay] = []
        self.passing: list[tuple[datetime, PastDay]] = []
        self.since: date | None = None
        self.plan_version = 0
        self.absences: set[tuple[date, str]] = set()
        self.decided: Counter[str] = Counter()
        self.ups_then_back = 0
        self.changes: list[RuleChange] = []

    def review(self) -> ClientReview:
        prompts = iter(self.prompts)
        prompt = next(prompts, None)
        for place, row in enumerate(self.rows):
            while prompt is not None and prompt[0] < row.decided_at:
                self._prompt(*prompt)
                prompt = next(prompts, None)
            if prompt is not None and prompt[0] == row.decided_at and row.report_id is None:
                prompt = next(prompts, None)  # the absence that this very prompt found
            self._move(place, row)
        while prompt is not None:
            self._prompt(*prompt)
            prompt = next(prompts, None)
        changes = tuple(self.changes)
        return ClientReview(self.client_id, self.decided, changes, self.ups_then_back)

    def _move(self, place: int, row: Row[Any]) -> None:
        self._forget(row.decided_at)
        self._pause_ended(row.decided_at)
        told = self.reports.get(row.report_id) if row.report_id is not None else None
        report = None if told is None else report_from_json(told)
        if row.superseded_at is None and row.kind != "override":
            self.decided[row.kind] += 1
            if row.kind == "up":
                self.ups_then_back += self._then_back(place, row.local_date)
            would = self._decide(row, report)
            self._compare(place, row, would)
        self._remember(row, report)

    def _decide(self, row: Row[Any], report: DayReport | None) -> Move | None:
        plan, ladder = self._plan(row.plan_version, row.resting)
        if report is not None:
            return self._verdict(row, ladder, plan, report)
        since = date.fromisoformat(str(row.facts["since"]))
        return decide_absence(ladder, plan, self.history, row.from_key, since, row.local_date)

    def _verdict(self, row: Row[Any], ladder: Ladder, plan: Plan, report: DayReport) -> Move:
        """As `verdict` decides. The first rule's second opinion can only hold back a move up, so it
        is worked out for those alone; where it is stored with the move it is taken from there.
        """
        move = decide(ladder, plan, self.history, report, None)
        if move.kind != "up" or plan.rule_version == 2 or plan.caution.least_chance is None:
            return move
        chance: Chance | None
        known = row.facts.get("chance")
        if known and row.rule_version == 1 and row.facts.get("next_rung") == move.to_key:
            chance = Chance(move.to_key, *known)
        else:
            chance = next_chance(ladder, plan, self.history[-HISTORY_DAYS:], report)
        return decide(ladder, plan, self.history, report, chance)

    def _prompt(self, at: datetime, day: date) -> None:
        """Whether an absence would have called for a move before this prompt; told of once."""
        self._forget(at)
        self._pause_ended(at)
        if not self.history or self.since is None:
            return
        caution, settings, ladder = self.settings[self.plan_version]
        least = LEAST_MISSED if settings.rule_version == 2 else caution.away_back_days
        if (day - self.since).days < least:
            return
        here = self.history[-1].move.to_key
        plan = replace(settings.plan(resting=False), caution=caution)
        move = decide_absence(ladder, plan, self.history, here, self.since, day)
        if move is None or (self.since, move.kind) in self.absences:
            return
        self.absences.add((self.since, move.kind))
        self.changes.append(
            RuleChange(
                self.client_id, day, here, NOTHING, here, move.kind, move.to_key, move.because
            )
        )

    def _compare(self, place: int, row: Row[Any], would: Move | None) -> None:
        kind, to_key = (NOTHING, row.from_key) if would is None else (would.kind, would.to_key)
        if (kind, to_key) == (row.kind, row.to_key):
            return
        because = "No move for this absence." if would is None else would.because
        self.changes.append(
            RuleChange(
                self.client_id,
                row.local_date,
                row.from_key,
                row.kind,
                row.to_key,
                kind,
                to_key,
                because,
                row.kind == "up" and self._then_back(place, row.local_date),
            )
        )

    def _then_back(self, place: int, day: date) -> bool:
        """Whether the next change of rung after this one, within days, was a move back."""
        for later in self.rows[place + 1 :]:
            if (later.local_date - day).days > THEN_BACK_DAYS:
                return False
            if later.superseded_at is None and later.from_key != later.to_key:
                return bool(later.kind == "back")
        return False

    def _remember(self, row: Row[Any], report: DayReport | None) -> None:
        move = Move(
            row.kind, row.from_key, row.to_key, row.rule, "", tuple(row.alerts), row.facts,
            row.rule_version,
        )  # fmt: skip
        past = PastDay(row.local_date, report, move)
        self.history.append(past)
        self.plan_version = row.plan_version
        if row.superseded_at is not None:
            self.passing.append((row.superseded_at, past))
        if row.kind == "override":
            self.since = row.local_date
        elif report is not None and not report.skipped:
            self.since = report.day if self.since is None else max(self.since, report.day)

    def _forget(self, at: datetime) -> None:
        """Take out what no longer stood at this instant, because it had been corrected."""
        for superseded_at, past in [one for one in self.passing if one[0] <= at]:
            self.passing.remove((superseded_at, past))
            for place in range(len(self.history) - 1, -1, -1):
                if self.history[place] is past:
                    del self.history[place]
                    break

    def _pause_ended(self, at: datetime) -> None:
        while self.resumed and self.resumed[0][0] <= at:
            self.since = self.resumed.pop(0)[1]

    def _plan(self, version: int, resting: bool) -> tuple[Plan, Ladder]:
        caution, settings, ladder = self.settings[version]
        return replace(settings.plan(resting), caution=caution), ladder
