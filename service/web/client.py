"""The list of clients, and one client."""

from fastapi import APIRouter, Response
from markupsafe import Markup
from sqlmodel import Session, col, select

from service.coach.people import client_of
from service.coach.prompt import prompt_body
from service.coach.situation import Situation, load, past
from service.ladder.drawing import draw_rung
from service.ladder.explain import explain_next
from service.ladder.rungs import Rung
from service.store import thread
from service.store.tables import Alert, Due
from service.web.frame import framed
from service.web.visit import Signed
from service.wording.rung_words import rung_sentence, rung_short
from service.wording.segments import segments

router = APIRouter()

TEXTS_SHOWN = 40
MOVES_SHOWN = 12


@router.get("/clients/{client_id}")
def one_client(visit: Signed, client_id: int) -> Response:
    with visit.parts.store.read() as session:
        client = client_of(session, visit.trainer, client_id)
        situation = load(session, client)
        open_alerts = session.exec(
            select(Alert).where(Alert.client_id == client.id, Alert.state != "handled")
        ).all()
        return framed(
            visit,
            session,
            "client.html",
            client=client,
            situation=situation,
            now_on=_now_on(session, situation) if situation else None,
            alerts=open_alerts,
            moves=thread.moves(session, client.id, MOVES_SHOWN),
            texts=thread.texts(session, client.id, TEXTS_SHOWN),
            prompt_due=_prompt_due(session, client.id),
            named=RungNames(situation),
            segments=segments,
        )


def _now_on(session: Session, situation: Situation) -> dict[str, object] | None:
    """Where the client is: the rung drawn and in words, the text it gives, and what comes next."""
    key = situation.placement.rung_key
    if key not in situation.ladder:
        return None
    rung = situation.rung
    history = past(session, situation.client_id)
    plan = situation.settings.plan(situation.resting)
    text = prompt_body(situation.client, rung, situation.settings.target_s)
    return {
        "rung": rung,
        "drawing": drawn(situation, rung),
        "sentence": rung_sentence(rung),
        "text": text,
        "size": segments(text),
        "next_step": explain_next(situation.ladder, plan, history, key),
        "place": situation.ladder.index(key) + 1,
        "of": len(situation.ladder),
    }


def drawn(situation: Situation, rung: Rung) -> Markup:
    """The feet on this rung from above, as SVG that takes the page's ink."""
    body = situation.ladder.body
    if body is None:
        return Markup()
    svg = draw_rung(
        rung, body, title=rung_short(rung), description=rung_sentence(rung), theme="auto"
    )
    return Markup(svg)  # noqa: S704  # made of numbers and our own escaped words


class RungNames:
    """Rungs in a few words, also those that a later plan took off the ladder."""

    def __init__(self, situation: Situation | None) -> None:
        self.situation = situation

    def __call__(self, key: str) -> str:
        if self.situation is not None and key in self.situation.ladder:
            return rung_short(self.situation.ladder[key])
        return key


def _prompt_due(session: Session, client_id: int) -> Due | None:
    rows = select(Due).where(Due.kind == "prompt", Due.subject_id == client_id)
    return session.exec(rows.order_by(col(Due.at))).first()
