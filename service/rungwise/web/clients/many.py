"""Acting on many clients: tick or filter, fill in, see what follows for each, do it, take it back.

Nothing is done before the trainer has seen what would follow for each client and who is passed
over: the second press carries the hash of what was shown.
"""

from collections.abc import Sequence
from datetime import date
from secrets import token_urlsafe
from time import monotonic

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session, col, select

from rungwise.coach.accounts.hand_over import able
from rungwise.coach.groups import acts
from rungwise.coach.groups.acts import Asked, Days, Give, Hour, Pause, Rule, Tag, Write
from rungwise.coach.groups.many import (
    WAITS,
    LookFirst,
    act_of,
    begin,
    clients_of_act,
    go_on,
    undo,
)
from rungwise.coach.groups.preview import (
    MOST_AT_ONCE,
    NobodyChosen,
    Preview,
    look,
    members_of,
)
from rungwise.coach.groups.tags import tags_of
from rungwise.coach.record.fields import hour
from rungwise.concepts.measures import Measures
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.store.queries import roster
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, GroupAct
from rungwise.web.clients.client_list import Looking, wanted_by
from rungwise.web.clients.plan import RULE_WORDS
from rungwise.web.http.auth import LARGEST_ID, Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.reports.home_visits import sheet_page
from rungwise.web.ui.labels import weekdays
from rungwise.web.ui.layout import framed
from rungwise.wording.price import Price, price_from

router = APIRouter()

LATEST = 30
LONGEST_S = 20.0
STATES = ("waiting", "done", "passed", "taken_back", "kept")
# What each act is called on its button and in its heading.
ACTS = {
    "pause": "Pause",
    "hour": "Change the hour of",
    "days": "Change the days of",
    "rule": "Change the rule of",
    "write": "Write to",
    "tag": "Tag",
    "give": "Hand over",
}


@router.get("/clients/many")
def latest_acts(visit: Signed) -> Response:
    """What this trainer has done to many at once, latest first."""
    with visit.parts.store.read() as session:
        rows = (
            select(GroupAct)
            .where(GroupAct.trainer_id == visit.trainer.id)
            .order_by(col(GroupAct.id).desc())
            .limit(LATEST)
        )
        found = [(one, _told(one, visit.practice.measures)) for one in session.exec(rows).all()]
        return framed(visit, session, "many_acts.html", acts=found)


@router.post("/clients/many")
def choose_look_or_do(visit: Signed, fields: FieldsHere) -> Response:
    kind = fields.get("act", "")
    if kind == "print":
        return _printed(visit, fields)
    if kind not in ACTS:
        raise ImpossibleValue("act", kind, " or ".join(ACTS))
    with visit.parts.store.read() as session:
        ids = _chosen(session, visit, fields)
    step = fields.get("step", "")
    try:
        if step == "do":
            with visit.parts.store.write() as session:
                begun = begin(
                    session,
                    visit.now,
                    visit.trainer,
                    _asked(kind, fields),
                    ids,
                    seen=fields.get("seen", ""),
                    once=fields.get("once", ""),
                )
                act_id = begun.id
            _carry_on(visit, act_id)
            return RedirectResponse(f"/clients/many/{act_id}", 303)
        with visit.parts.store.read() as session:
            asked = _asked(kind, fields) if step == "look" else None
            preview = look(session, visit.now, visit.trainer, asked, ids) if asked else None
            return _page(visit, session, fields, ids, preview)
    except LookFirst as error:
        with visit.parts.store.read() as session:
            preview = look(session, visit.now, visit.trainer, _asked(kind, fields), ids)
            return _page(visit, session, fields, ids, preview, str(error), 409)
    except ServiceError as error:
        if status_of(error) == 404 or isinstance(error, NobodyChosen):
            raise
        with visit.parts.store.read() as session:
            return _page(visit, session, fields, ids, None, str(error), status_of(error))


def _printed(visit: Visit, fields: Fields) -> Response:
    """Everything of those chosen that a trainer takes along. It changes nothing."""
    with visit.parts.store.read() as session:
        ids = _chosen(session, visit, fields)
        members = members_of(session, visit.now, visit.trainer, ids)
        clients = [session.get_one(Client, one.client_id) for one in members]
        return sheet_page(visit, session, clients)


def _chosen(session: Session, visit: Visit, fields: Fields) -> list[int]:
    """Those ticked; everybody whom the list showed, on all its pages, when nobody was."""
    ticked = (fields.get("clients") or fields.get("client", "")).split()
    if ticked:
        fits = all(one.isascii() and one.isdecimal() and int(one) <= LARGEST_ID for one in ticked)
        if not fits:
            raise NobodyChosen
        return list(dict.fromkeys(map(int, ticked)))
    asked = Looking.of_address(fields.get("list", ""))
    wanted = wanted_by(session, visit, asked)
    found = roster.client_ids(session, Scope.of(visit.trainer), visit.now, wanted, MOST_AT_ONCE + 1)
    if not found:
        raise NobodyChosen
    return found


def _asked(kind: str, fields: Fields) -> Asked:
    """What is to be done, from the form; ImpossibleValue for what can't be read."""
    if kind in ("pause", "hour", "days", "rule"):
        return _asked_of_the_plan(kind, fields)
    if kind == "write":
        return Write(fields.get("body", ""))
    if kind == "give":
        to = fields.get("to", "")
        return Give(int(to) if to.isascii() and to.isdecimal() and len(to) < 10 else 0, "")
    return Tag(" ".join(fields.get("tag", "").split()), fields.get("on", "yes") == "yes")


def _asked_of_the_plan(kind: str, fields: Fields) -> Asked:
    if kind == "pause":
        first = _date("first day", fields.get("first", ""))
        return Pause(first, _date("last day", fields.get("last", "") or fields.get("first", "")))
    if kind == "hour":
        return Hour(hour(fields.get("prompt_at", "") or "-"))
    if kind == "days":
        ticked = fields.get("weekdays", "").split()
        return Days(frozenset(number for number in range(7) if str(number) in ticked))
    given = fields.get("version", "")
    return Rule(int(given) if given in map(str, RULE_WORDS) else 0)


def _date(name: str, given: str) -> date:
    try:
        return date.fromisoformat(given)
    except ValueError:
        raise ImpossibleValue(name, given, "a date such as 2026-05-01") from None


def _page(
    visit: Visit,
    session: Session,
    fields: Fields,
    ids: Sequence[int],
    preview: Preview | None,
    told: str = "",
    status: int = 200,
) -> Response:
    kind = fields["act"]
    return framed(
        visit,
        session,
        "many.html",
        status,
        kind=kind,
        title=ACTS[kind],
        members=members_of(session, visit.now, visit.trainer, ids),
        clients=" ".join(map(str, ids)),
        given=fields,
        preview=preview,
        told=told,
        once=token_urlsafe(16),
        tags=tags_of(session, visit.trainer),
        receivers=able(session, visit.practice.id),
        price=_price(visit, preview.segments) if preview else None,
        today=visit.now.date(),
        called=acts.CALLED,
        rules=RULE_WORDS,
        waits_min=int(WAITS.total_seconds() // 60),
    )


def _price(visit: Visit, segments: int) -> Price | None:
    held = visit.practice.segment_price
    return price_from(held).times(segments) if held and segments else None


def _told(done: GroupAct, measures: Measures) -> str:
    """What was done, in a few words that come after the act's name."""
    match acts.from_json(done.kind, done.asked):
        case Pause(first, last):
            told = f"Pause from {first:%a %-d %b} to {last:%a %-d %b %Y}"
        case Hour(prompt_at):
            told = f"The day's text at {measures.hour(prompt_at)}"
        case Days(chosen):
            told = f"Practice on {weekdays(chosen)}"
        case Rule(version):
            told = RULE_WORDS[version]
        case Write(body):
            told = f"Text: {body}"
        case Give(name=name):
            told = f"Hand over to {name}"
        case Tag(name, on):
            told = f"Tag {name} {'put on' if on else 'taken off'}"
    return told


def _carry_on(visit: Visit, act_id: int) -> None:
    """Go on for as long as a browser surely waits; what is left then has a button of its own."""
    until = monotonic() + LONGEST_S
    while monotonic() < until:
        with visit.parts.store.write() as session:
            if not go_on(session, visit.now, visit.trainer, act_id):
                return


@router.get("/clients/many/{act_id}")
def one_act(visit: Signed, act_id: int) -> Response:
    with visit.parts.store.read() as session:
        done = act_of(session, visit.trainer, act_id)
        rows = clients_of_act(session, act_id)
        by_state = {state: [pair for pair in rows if pair[0].state == state] for state in STATES}
        left = by_state["done"] if done.undone_at else by_state["waiting"]
        return framed(
            visit,
            session,
            "many_act.html",
            act=done,
            told=_told(done, visit.practice.measures),
            rows=by_state,
            left=left,
            texts=any(row.message_id for row, _ in rows),
            leaves_at=done.at + WAITS,
        )


@router.post("/clients/many/{act_id}/on")
def go_on_with(visit: Signed, act_id: int) -> Response:
    _carry_on(visit, act_id)
    return RedirectResponse(f"/clients/many/{act_id}", 303)


@router.post("/clients/many/{act_id}/undo")
def undo_act(visit: Signed, act_id: int) -> Response:
    with visit.parts.store.write() as session:
        undo(session, visit.now, visit.trainer, act_of(session, visit.trainer, act_id))
    _carry_on(visit, act_id)
    return RedirectResponse(f"/clients/many/{act_id}", 303)
