"""Two settings of the rule compared by lot: written down, drawn for who agreed, looked at once.

A lot changes the client's plan as a trainer's change of preset does, and nothing else. What came of
it is worked out anew from what is stored, as the research export has it.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from secrets import token_hex

from sqlmodel import Session, col, select

from rungwise.coach.plan.plan_edit import PlanChange, edit_plan
from rungwise.coach.record.access import require_lead
from rungwise.coach.record.audit import record
from rungwise.coach.record.falls import falls_of
from rungwise.coach.record.moves import whole_past
from rungwise.coach.record.situation import load
from rungwise.coach.reviews.retests import local_date
from rungwise.coach.reviews.sessions import sessions_of
from rungwise.errors import EditedMeanwhile, ImpossibleValue, NotFound, ServiceError
from rungwise.evidence.comparison import (
    Compared,
    Comparison,
    Protocol,
    compare,
    days_followed,
    falls_apart,
    lot,
)
from rungwise.ladder.caution import PRESETS
from rungwise.ladder.estimate import difficulty
from rungwise.store.tables import Client, ComparedClient, ComparisonRow, Trainer

LONGEST_WORDS = 500
SHORTEST_WORDS = 10
_ONE_DAY = timedelta(days=1)


class StillRunning(ServiceError):
    """A comparison is under way. End it before you write down another."""


class NoLot(ServiceError):
    """No lot is drawn any more: the stopping rule that was written down is met, or it has ended."""


class NotAgreed(ServiceError):
    """Say that the client agreed and that either setting suits them, or leave them out."""


class DrawnBefore(EditedMeanwhile):
    """This client has a lot already."""


def latest(session: Session, practice_id: int) -> ComparisonRow | None:
    rows = select(ComparisonRow).where(ComparisonRow.practice_id == practice_id)
    return session.exec(rows.order_by(col(ComparisonRow.id).desc()).limit(1)).first()


def protocol_of(row: ComparisonRow) -> Protocol:
    return Protocol(row.first, row.second, row.outcome, row.days, row.lots, row.falls_apart)


def protocol_given(given: Mapping[str, str]) -> Protocol:
    """The protocol as a lead filled it in; ImpossibleValue for what can't be."""
    for name in ("first", "second"):
        if given.get(name) not in PRESETS:
            raise ImpossibleValue("setting", given.get(name), f"one of {', '.join(PRESETS)}")
    numbers = {}
    for name in ("days", "clients", "falls_apart"):
        try:
            numbers[name] = int(given.get(name, ""))
        except ValueError:
            shown = name.replace("_", " ")
            raise ImpossibleValue(shown, given.get(name), "a whole number") from None
    return Protocol(given["first"], given["second"], given.get("outcome", ""), **numbers)


def words_given(name: str, given: str) -> str:
    words = " ".join(given.split())[:LONGEST_WORDS]
    if len(words) < SHORTEST_WORDS:
        raise ImpossibleValue(name, given, "a few words")
    return words


def write_down(
    session: Session, now: datetime, trainer: Trainer, protocol: Protocol, ethics: str
) -> ComparisonRow:
    """Lock what will be compared, before the first lot. Only the lead, and one at a time."""
    require_lead(trainer)
    before = latest(session, trainer.practice_id)
    if before is not None and not is_over(session, now, before):
        raise StillRunning
    row = ComparisonRow(
        practice_id=trainer.practice_id,
        first=protocol.first,
        second=protocol.second,
        outcome=protocol.outcome,
        days=protocol.days,
        lots=protocol.clients,
        falls_apart=protocol.falls_apart,
        ethics=words_given("review", ethics),
        seed=token_hex(16),
        locked_by=trainer.id,
        locked_at=now,
    )
    session.add(row)
    session.flush()
    record(session, now, trainer, "comparison locked", comparison=row.id, mark=protocol.mark)
    return row


def draw(
    session: Session,
    now: datetime,
    trainer: Trainer,
    row: ComparisonRow,
    client: Client,
    agreed_on: str,
    *,
    both_suit: bool,
) -> ComparedClient:
    """The lot of a client who agreed, and their plan by it."""
    session.refresh(row, with_for_update=True)
    today = local_date(client, now)
    try:
        agreed = date.fromisoformat(agreed_on)
    except ValueError:
        raise ImpossibleValue("day", agreed_on, "a date such as 2026-05-04") from None
    if agreed > today:
        raise ImpossibleValue("day", agreed_on, "today or a day before")
    situation = load(session, client)
    if not both_suit or situation is None or client.state != "active":
        raise NotAgreed
    if session.get(ComparedClient, (row.id, client.id)) is not None:
        raise DrawnBefore
    if why_no_lot(session, now, row):
        raise NoLot
    arm = protocol_of(row).arms[lot(row.seed, row.drawn)]
    drawn = ComparedClient(
        comparison_id=row.id,
        client_id=client.id,
        place=row.drawn,
        arm=arm,
        agreed_on=agreed,
        drawn_by=trainer.id,
        drawn_on=today,
        drawn_at=now,
    )
    row.drawn += 1
    session.add(row)
    session.add(drawn)
    session.flush()
    record(
        session, now, trainer, "lot drawn", client_id=client.id, comparison=row.id, arm=arm,
        agreed_on=agreed.isoformat(),
    )  # fmt: skip
    change = replace(PlanChange.keeping(situation, situation.settings), caution=arm)
    edit_plan(session, now, trainer, situation, change)
    return drawn


def withdraw(
    session: Session, now: datetime, trainer: Trainer, row: ComparisonRow, client: Client
) -> None:
    """The client no longer agrees: from today their days count no more. The plan stays."""
    drawn = session.get(ComparedClient, (row.id, client.id))
    if drawn is None:
        raise NotFound("This client has no lot.")
    if drawn.withdrawn_on is None:
        drawn.withdrawn_on = local_date(client, now)
        session.add(drawn)
        record(session, now, trainer, "lot withdrawn", client_id=client.id, comparison=row.id)


def end(session: Session, now: datetime, trainer: Trainer, row: ComparisonRow, why: str) -> None:
    """End it before its time, for a reason that is kept. From today no day counts."""
    require_lead(trainer)
    if row.ended_at is None:
        row.ended_why = words_given("reason", why)
        row.ended_at = now
        session.add(row)
        record(session, now, trainer, "comparison ended", comparison=row.id)


# --- where it stands ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Drawn:
    """A client with their lot, and the first and last date that counts, as far as they may."""

    client: Client
    lot: ComparedClient
    first: date
    last: date


def drawn_in(session: Session, row: ComparisonRow) -> list[Drawn]:
    rows = (
        select(ComparedClient, Client)
        .join(Client, col(Client.id) == col(ComparedClient.client_id))
        .where(ComparedClient.comparison_id == row.id)
        .order_by(col(ComparedClient.place))
    )
    found = []
    for one, client in session.exec(rows):
        last = one.drawn_on + timedelta(days=row.days)
        if one.withdrawn_on is not None:
            last = min(last, one.withdrawn_on - _ONE_DAY)
        if row.ended_at is not None:
            last = min(last, local_date(client, row.ended_at) - _ONE_DAY)
        found.append(Drawn(client, one, one.drawn_on + _ONE_DAY, last))
    return found


def lots_of(
    session: Session, practice_ids: Collection[int]
) -> dict[int, list[tuple[ComparisonRow, Drawn]]]:
    """Every client's lots, in all comparisons of these practices."""
    rows = select(ComparisonRow).where(col(ComparisonRow.practice_id).in_(practice_ids))
    found: dict[int, list[tuple[ComparisonRow, Drawn]]] = defaultdict(list)
    for row in session.exec(rows.order_by(col(ComparisonRow.id))).all():
        for one in drawn_in(session, row):
            found[one.client.id].append((row, one))
    return found


def is_over(session: Session, now: datetime, row: ComparisonRow) -> bool:
    """Whether everybody has been followed to the end, with a day for late replies."""
    if row.ended_at is not None:
        return True
    everybody = drawn_in(session, row)
    full = row.drawn >= row.lots
    return full and all(local_date(one.client, now) > one.last + _ONE_DAY for one in everybody)


def why_no_lot(session: Session, now: datetime, row: ComparisonRow) -> str | None:
    """Why the stopping rule draws no further lot; None while it does."""
    if row.ended_at is not None:
        return "It was ended before its time."
    apart = falls_apart(protocol_of(row).arms, compared(session, now, row))
    if apart >= row.falls_apart:
        return (
            f"The stopping rule is met: {apart} more clients told a fall in one arm than in the "
            f"other. End it, and look at each plan."
        )
    return "As many lots are drawn as were written down." if row.drawn >= row.lots else None


def compared(session: Session, now: datetime, row: ComparisonRow) -> list[Compared]:
    """Everybody with a lot, and what was told in the days that count."""
    everybody = drawn_in(session, row)
    if not everybody:
        return []
    clients = [one.client for one in everybody]
    begins = min(one.first for one in everybody)
    sessions = sessions_of(session, clients, begins, now.date())
    # All of them: what refers back is told from a fall before only where that is known.
    falls = falls_of(session, clients, min(one.created_at for one in clients))
    found = []
    for one in everybody:
        held = [(each.day.toordinal(), each.planned, each.done) for each in sessions[one.client.id]]
        told = _told(session, one.client)
        span = one.first.toordinal(), one.last.toordinal()
        fell = any(one.first <= fall.day <= one.last for fall in falls.get(one.client.id, ()))
        found.append(Compared(one.lot.arm, days_followed(held, told, *span), fell))
    return found


def _told(session: Session, client: Client) -> Sequence[tuple[int, float | None, str | None]]:
    """Each day told, as the research export has it."""
    situation = load(session, client)
    if situation is None:
        return []
    ladder = situation.ladder
    found: list[tuple[int, float | None, str | None]] = []
    for one in whole_past(session, client.id):
        if one.report is not None:
            key, said = one.report.rung_key, one.move.facts.get("verdict")
            hard = round(difficulty(ladder[key]), 3) if key in ladder else None
            found.append((one.day.toordinal(), hard, None if said is None else str(said)))
    return found


def result(session: Session, now: datetime, row: ComparisonRow) -> Comparison | None:
    """What came of it; None until it is over, so that nobody looks early."""
    if not is_over(session, now, row):
        return None
    protocol = protocol_of(row)
    return compare(protocol.arms, compared(session, now, row), protocol.outcome)
