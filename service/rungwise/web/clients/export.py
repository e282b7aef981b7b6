"""Taking everything out as open formats, and erasing a client for ever."""

import tempfile
from collections.abc import Iterator
from hashlib import sha256
from typing import IO

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session
from starlette.background import BackgroundTask
from starlette.responses import StreamingResponse

from rungwise.coach.data.erase import OtherName, erase_client, is_named, scrub
from rungwise.coach.data.export_fhir import write_bundle
from rungwise.coach.data.export_rows import counted, write_csv, write_json
from rungwise.coach.record.access import client_of, clients_of
from rungwise.coach.record.audit import record
from rungwise.errors import NotFound
from rungwise.store.tables import Client
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.forms import FieldsHere
from rungwise.web.ui.layout import framed

router = APIRouter()

FORMS = {
    "csv": ("application/zip", "zip", "CSV files in a ZIP, one a table, and one line a day told"),
    "json": ("application/json", "json", "JSON, everything as it is stored"),
    "fhir": ("application/fhir+json", "fhir.json", "HL7 FHIR R4: patient, observations, care plan"),
}
IN_MEMORY = 4 * 1024 * 1024
PIECE = 256 * 1024


@router.get("/clients/{client_id}/export")
def export_page(visit: Signed, client_id: int) -> Response:
    with visit.parts.store.read() as session:
        client = client_of(session, visit.trainer, client_id)
        return framed(
            visit,
            session,
            "export.html",
            client=client,
            forms=FORMS,
            rows=counted(session, client.id),
        )


@router.get("/export")
def export_all_page(visit: Signed) -> Response:
    with visit.parts.store.read() as session:
        clients = clients_of(session, visit.trainer)
        return framed(visit, session, "export_all.html", forms=FORMS, clients=len(clients))


@router.post("/clients/{client_id}/export/{form}")
def export_client(visit: Signed, client_id: int, form: str) -> Response:
    with visit.parts.store.read() as session:
        client_of(session, visit.trainer, client_id)
    _known(form)
    with visit.parts.store.write() as session:
        record(session, visit.now, visit.trainer, "exported", client_id=client_id, form=form)
    return _taken_out(visit, form, [client_id], f"client-{client_id}")


@router.post("/export/{form}")
def export_all(visit: Signed, form: str) -> Response:
    """Everybody this trainer may see: for the lead the whole practice."""
    _known(form)
    with visit.parts.store.write() as session:
        ids = [client.id for client in clients_of(session, visit.trainer)]
        record(session, visit.now, visit.trainer, "exported", form=form, clients=len(ids))
    return _taken_out(visit, form, ids, "practice" if visit.is_lead else "clients")


def _known(form: str) -> None:
    if form not in FORMS:
        raise NotFound("There is no such format.")


def _taken_out(visit: Visit, form: str, ids: list[int], name: str) -> Response:
    """Written to a file of its own first, so that a slow reader holds no transaction open."""
    media_type, ending, _ = FORMS[form]
    held: IO[bytes] = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115  # closed when sent
    try:
        with visit.parts.store.read() as session:
            _write(visit, session, form, ids, held)
    except BaseException:
        held.close()
        raise
    held.seek(0)
    named = f'attachment; filename="{name}-{visit.now:%Y-%m-%d}.{ending}"'
    return StreamingResponse(
        _pieces(held),
        media_type=media_type,
        headers={"Content-Disposition": named},
        background=BackgroundTask(held.close),
    )


def _write(visit: Visit, session: Session, form: str, ids: list[int], out: IO[bytes]) -> None:
    if form == "csv":
        write_csv(session, out, ids)
    elif form == "json":
        write_json(session, out, visit.now, visit.practice, ids)
    else:
        write_bundle(session, out, visit.now, visit.practice, ids)


def _pieces(held: IO[bytes]) -> Iterator[bytes]:
    while piece := held.read(PIECE):
        yield piece


# --- erasing --------------------------------------------------------------------------------------


@router.get("/clients/{client_id}/erase")
def erase_page(visit: Signed, client_id: int) -> Response:
    with visit.parts.store.read() as session:
        return _erase_page(visit, session, client_of(session, visit.trainer, client_id))


def _erase_page(
    visit: Visit,
    session: Session,
    client: Client,
    *,
    problems: dict[str, str] | None = None,
    given: dict[str, str] | None = None,
    sure: str = "",
) -> Response:
    return framed(
        visit,
        session,
        "erase.html",
        400 if problems else 200,
        client=client,
        rows=counted(session, client.id),
        problems=problems or {},
        given=given or {},
        names={"name": "Name", "understood": "Understood"},
        sure=sure,
    )


@router.post("/clients/{client_id}/erase")
def erase(visit: Signed, client_id: int, fields: FieldsHere) -> Response:
    """First the name typed and a tick; then, on a page that asks once more, the erasure itself."""
    with visit.parts.store.read() as session:
        client = client_of(session, visit.trainer, client_id)
        problems = {}
        if not is_named(client, fields.get("name", "")):
            problems["name"] = str(OtherName())
        if fields.get("understood") != "yes":
            problems["understood"] = "Tick this if you mean it."
        sure = _sure(visit, client)
        if problems or fields.get("sure") != sure:
            shown = "" if problems else sure
            return _erase_page(visit, session, client, problems=problems, given=fields, sure=shown)
    with visit.parts.store.write() as session:
        client = client_of(session, visit.trainer, client_id)
        erase_client(session, visit.now, visit.trainer, client, fields["name"])
    clean = scrub(visit.parts.store)
    return RedirectResponse("/clients/erased" if clean else "/clients/erased?later=true", 303)


def _sure(visit: Visit, client: Client) -> str:
    """What only the page that asks once more holds, for this client as they are now."""
    told = f"erase {client.id} {client.version} {client.name} {visit.csrf}"
    return sha256(told.encode()).hexdigest()[:32]


@router.get("/clients/erased")
def erased(visit: Signed, later: bool = False) -> Response:
    with visit.parts.store.read() as session:
        return framed(visit, session, "erased.html", later=later)
