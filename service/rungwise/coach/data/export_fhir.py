"""Clients in HL7 FHIR R4 (4.0.1): a Bundle of type transaction, which another system can take in.

Sent to a FHIR server as it is, it creates each resource or puts it in the place of the one with the
same identifier; a second export thus replaces the first. What it holds: docs/exports.md.
"""

import json
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import IO, Any
from zoneinfo import ZoneInfo

from sqlalchemy import select as columns
from sqlmodel import Session, col, select

from rungwise.coach.data.fhir_resources import Bundle, ClientResources, PainTold, Resource
from rungwise.coach.record.moves import whole_past
from rungwise.coach.record.progress import day_held
from rungwise.coach.record.situation import load
from rungwise.coach.reviews.retests import results_of
from rungwise.evidence import FourStage, kind_of, score_to_json
from rungwise.store.tables import Baseline, Client, Message, MoveRow, Practice, Trainer

Entries = Iterator[tuple[str, Resource]]
SKIPPED = "The client said: not on this day."


def write_bundle(
    session: Session, out: IO[bytes], now: datetime, practice: Practice, ids: Sequence[int]
) -> None:
    """The whole bundle; written client by client."""
    head = {"resourceType": "Bundle", "type": "transaction", "timestamp": now.isoformat()}
    out.write(json.dumps(head)[:-1].encode() + b', "entry": [')
    first = True
    for entry in _entries(session, now, Bundle(practice), ids):
        out.write(b"\n" if first else b",\n")
        out.write(json.dumps(entry, ensure_ascii=False).encode())
        first = False
    out.write(b"\n]}\n")


def _entries(
    session: Session, now: datetime, bundle: Bundle, ids: Sequence[int]
) -> Iterator[Resource]:
    yield bundle.entry("practice", bundle.organization())
    yield bundle.entry("software", bundle.device())
    trainers = select(Trainer).where(Trainer.practice_id == bundle.practice.id)
    for trainer in session.exec(trainers.order_by(col(Trainer.id))).all():
        yield bundle.entry(f"trainer {trainer.id}", bundle.practitioner(trainer))
    for client_id in ids:
        for about, resource in resources_of(session, now, bundle, client_id):
            yield bundle.entry(about, resource)
        session.expunge_all()
    if bundle.rungs:
        yield bundle.entry("rungs", bundle.code_system())


def resources_of(session: Session, now: datetime, bundle: Bundle, client_id: int) -> Entries:
    """The client's resources with what each is about, the Patient first."""
    client = session.get_one(Client, client_id)
    made = ClientResources(bundle, client)
    yield made.about("patient"), made.patient()
    told: list[str] = []
    for what, resource in _told(session, made):
        told.append(made.about(what))
        yield told[-1], resource
    tested: list[str] = []
    testers: set[int] = set()
    for what, resource, trainer_id in _tests(session, made):
        tested.append(made.about(what))
        testers.add(trainer_id)
        yield tested[-1], resource
    if told:
        yield made.about("told by text"), made.provenance(now, told, [made.subject])
    if tested:
        authors = [bundle.reference(f"trainer {one}") for one in sorted(testers)]
        yield made.about("tested"), made.provenance(now, tested, authors)


def _told(session: Session, made: ClientResources) -> Entries:
    """The plan with its goal and placings, and what the client told of each day."""
    client = made.client
    situation = load(session, client)
    if situation is None:
        return
    moves = select(MoveRow).where(
        MoveRow.client_id == client.id, col(MoveRow.superseded_at).is_(None)
    )
    rows = session.exec(moves.order_by(col(MoveRow.id))).all()
    placed = [
        row
        for number, row in enumerate(rows)
        if number == 0 or row.from_key != row.to_key or row.kind == "rest"
    ]
    yield "goal", made.goal(situation)
    yield "plan", made.care_plan(situation, placed)
    for one in whole_past(session, client.id):
        if one.report is None:
            continue
        if one.report.skipped:
            yield f"not done {one.day}", made.not_done("not done", one.day, SKIPPED)
        held = day_held(situation.ladder, one, situation.settings.target_s)
        if held is not None:
            yield f"hold {held.day} {held.rung_key}", made.hold(situation, held)
        yield from made.signs(one.report)
    for pain in _pains(session, client):
        yield f"pain {pain.day}", made.pain(pain)
    missed = select(Message).where(
        Message.client_id == client.id, Message.kind == "prompt", Message.state == "missed"
    )
    for row in session.exec(missed.order_by(col(Message.id))).all():
        if row.local_date is not None:
            why = row.problem or "No text went."
            yield f"missed {row.local_date}", made.not_done("missed", row.local_date, why)


def _pains(session: Session, client: Client) -> list[PainTold]:
    """Each local date's pain, from the readings of its texts: the last score and place told."""
    zone = ZoneInfo(client.time_zone)
    rows = columns(col(Message.created_at), col(Message.reading)).where(
        col(Message.client_id) == client.id,
        col(Message.direction) == "in",
        col(Message.reading).is_not(None),
    )
    found: dict[date, PainTold] = {}
    for at, read in session.execute(rows.order_by(col(Message.id))).all():
        reading: dict[str, Any] = read or {}
        day = at.astimezone(zone).date()
        before = found.get(day, PainTold(day, None, None))
        score = reading.get("pain_score")
        if reading.get("pain") == "yes" or score is not None:
            place = reading.get("body_part") or before.place
            found[day] = PainTold(day, place, before.score if score is None else score)
    return list(found.values())


def _tests(session: Session, made: ClientResources) -> Iterator[tuple[str, Resource, int]]:
    """The baseline and each retest, with who did it."""
    client_id = made.client.id
    rows = select(Baseline).where(Baseline.client_id == client_id).order_by(col(Baseline.id))
    for row in session.exec(rows).all():
        # Not by score(), which refuses a test that was broken off: it was done all the same.
        score = score_to_json(FourStage(tuple(row.held_s)))
        what, title, by = f"baseline {row.id}", kind_of("four_stage").title, row.trainer_id
        yield what, made.test(what, title, row.on, score, None, by), by
    for result in results_of(session, client_id):
        retest = result.retest
        what, title = f"retest {retest.id}", kind_of(retest.kind).title
        by = retest.trainer_id
        yield what, made.test(what, title, retest.day, retest.score, retest.note, by), by
