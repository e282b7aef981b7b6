"""Acting on many clients: looked at first, done a few at a time, taken back as a whole.

Who is passed over and what follows is worked out in `acts`; here it is loaded and stored.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import update
from sqlmodel import Session, col, select

from rungwise.coach.accounts.hand_over import hand_over
from rungwise.coach.daily.write_to_client import write_to_client
from rungwise.coach.groups import acts
from rungwise.coach.groups.acts import (
    Asked,
    Days,
    Give,
    Hour,
    Pause,
    Rule,
    Tag,
    Write,
)
from rungwise.coach.groups.preview import Line, look
from rungwise.coach.groups.tags import put_tag, take_tag
from rungwise.coach.outbox.texts import Text, queue_to_client
from rungwise.coach.plan.plan_edit import PlanChange, edit_plan
from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import PlanSettings
from rungwise.coach.record.situation import Situation, load
from rungwise.errors import EditedMeanwhile, NotFound, ServiceError
from rungwise.store.idempotent_inserts import rows_updated
from rungwise.store.tables import (
    Client,
    GroupAct,
    GroupActClient,
    Message,
    Trainer,
)

AT_A_TIME = 10
WAITING = "waiting"
# So long the texts of an act wait, and it can be taken back whole.
WAITS = timedelta(minutes=2)
LEFT_ALREADY = "the text has left already"
CHANGED_SINCE = "somebody has changed it since"
TAKEN_BACK = "The trainer took it back."


class LookFirst(EditedMeanwhile):
    """What would follow has changed since you looked. Look at it again."""


class TakenBackBefore(ServiceError):
    """This was taken back already."""


# --- doing it -------------------------------------------------------------------------------------


def begin(
    session: Session,
    now: datetime,
    trainer: Trainer,
    asked: Asked,
    ids: Sequence[int],
    *,
    seen: str,
    once: str,
) -> GroupAct:
    """Take down what was looked at, to be gone on with; LookFirst if that has changed.

    The same form sent twice begins it once.
    """
    before = session.exec(select(GroupAct).where(GroupAct.once == once)).first()
    if before is not None and before.trainer_id == trainer.id:
        return before
    preview = look(session, now, trainer, asked, ids)
    if preview.seen != seen or not once:
        raise LookFirst
    asked = preview.asked
    begun = GroupAct(
        trainer_id=trainer.id,
        kind=acts.kind_of(asked),
        asked=acts.to_json(asked),
        once=once,
        at=now,
    )
    session.add(begun)
    session.flush()
    for place, line in enumerate(preview.lines):
        row = GroupActClient(act_id=begun.id, client_id=line.member.client_id, place=place)
        session.add(row)
    for place, one in enumerate(preview.passed, start=len(preview.lines)):
        row = GroupActClient(act_id=begun.id, client_id=one.member.client_id, place=place)
        row.state, row.why = "passed", one.why
        session.add(row)
    record(
        session,
        now,
        trainer,
        "acted on many",
        act=begun.id,
        kind=begun.kind,
        clients=len(preview.lines),
        passed_over=len(preview.passed),
    )
    session.flush()
    return begun


def go_on(session: Session, now: datetime, trainer: Trainer, act_id: int) -> bool:
    """Do, or take back, the act for the next few clients; whether more are waiting.

    A few in a transaction: a text that tells of a fall must not wait until five hundred are done.
    Each client is looked at again, for they may have fallen since it began.
    """
    begun = act_of(session, trainer, act_id)
    session.refresh(begun, with_for_update=True)
    back = begun.undone_at is not None
    rows = (
        select(GroupActClient)
        .where(
            GroupActClient.act_id == act_id, GroupActClient.state == ("done" if back else WAITING)
        )
        .order_by(col(GroupActClient.place))
        .limit(AT_A_TIME + 1)
    )
    waiting = session.exec(rows).all()
    asked = acts.from_json(begun.kind, begun.asked)
    for row in waiting[:AT_A_TIME]:
        client = session.get_one(Client, row.client_id)
        if back:
            row.why = _undo_one(session, now, trainer, asked, row, client)
            row.state = "taken_back" if row.why is None else "kept"
        else:
            row.why = _do_one(session, now, trainer, asked, row, client)
            row.state = "done" if row.why is None else "passed"
        session.add(row)
    session.flush()
    return len(waiting) > AT_A_TIME


def _do_one(
    session: Session,
    now: datetime,
    trainer: Trainer,
    asked: Asked,
    row: GroupActClient,
    client: Client,
) -> str | None:
    """None when it was done; else why this client is passed over after all."""
    try:
        preview = look(session, now, trainer, asked, [client.id])
    except ServiceError as error:
        return str(error).rstrip(".")
    if preview.passed:
        return preview.passed[0].why
    (line,) = preview.lines
    if isinstance(asked, Tag):
        (put_tag if asked.on else take_tag)(session, now, trainer, client, asked.name)
    elif isinstance(asked, Give):
        row.before = {"trainer_id": client.trainer_id}
        hand_over(session, now, trainer, [client], session.get_one(Trainer, asked.trainer_id))
    elif isinstance(asked, Write):
        once = f"many:{row.act_id}"
        message = write_to_client(session, now, trainer, client, line.body, once=once)
        _waits(session, now, row, message)
    else:
        _change_plan(session, now, trainer, row, client, line)
    return None


def _change_plan(
    session: Session,
    now: datetime,
    trainer: Trainer,
    row: GroupActClient,
    client: Client,
    line: Line,
) -> None:
    situation = _situation(session, client)
    row.before = situation.plan_row.settings
    _set(session, now, trainer, situation, line.effect.settings)
    if line.body:
        text = Text("notice", line.body, name="paused_from")
        _waits(session, now, row, queue_to_client(session, now, situation.practice, client, text))


def _waits(session: Session, now: datetime, row: GroupActClient, message: Message | None) -> None:
    if message is not None:
        message.not_before = now + WAITS
        session.add(message)
        row.message_id = message.id


def _situation(session: Session, client: Client) -> Situation:
    situation = load(session, client)
    if situation is None:
        raise NotFound("No first rung has been set for this client.")
    return situation


def _set(
    session: Session,
    now: datetime,
    trainer: Trainer,
    situation: Situation,
    settings: PlanSettings | None,
) -> None:
    if settings is not None:
        edit_plan(session, now, trainer, situation, PlanChange.keeping(situation, settings))


# --- taking it back -------------------------------------------------------------------------------


def act_of(session: Session, trainer: Trainer, act_id: int) -> GroupAct:
    """An act of this trainer's own; NotFound otherwise."""
    found = session.get(GroupAct, act_id)
    if found is None or found.trainer_id != trainer.id:
        raise NotFound("There is no such act of yours.")
    return found


def clients_of_act(session: Session, act_id: int) -> list[tuple[GroupActClient, Client]]:
    """Whom an act was about, in the order in which it was shown."""
    rows = (
        select(GroupActClient, Client)
        .join(Client, col(Client.id) == col(GroupActClient.client_id))
        .where(GroupActClient.act_id == act_id)
        .order_by(col(GroupActClient.place))
    )
    return list(session.exec(rows).all())


def undo(session: Session, now: datetime, trainer: Trainer, done: GroupAct) -> None:
    """Begin to take back of an act what has not left and nobody has changed since.

    Nobody is cleared or resumed by it: it only puts back an hour, days, dates, a tag or a trainer.
    What was not done yet is not done any more.
    """
    session.refresh(done, with_for_update=True)
    if done.undone_at is not None:
        raise TakenBackBefore
    done.undone_at = now
    session.add(done)
    session.execute(
        update(GroupActClient)
        .where(col(GroupActClient.act_id) == done.id, col(GroupActClient.state) == WAITING)
        .values(state="taken_back")
    )
    record(session, now, trainer, "act on many undone", act=done.id, kind=done.kind)
    session.flush()


def _undo_one(
    session: Session,
    now: datetime,
    trainer: Trainer,
    asked: Asked,
    row: GroupActClient,
    client: Client,
) -> str | None:
    """None when it was taken back; else why not."""
    if isinstance(asked, Tag):
        (take_tag if asked.on else put_tag)(session, now, trainer, client, asked.name)
        return None
    if isinstance(asked, Give):
        return _give_back(session, now, trainer, asked, row, client)
    if isinstance(asked, Write):
        return None if _cancel(session, row) else LEFT_ALREADY
    return _undo_plan(session, now, trainer, asked, row, client)


def _give_back(
    session: Session,
    now: datetime,
    trainer: Trainer,
    asked: Give,
    row: GroupActClient,
    client: Client,
) -> str | None:
    if client.trainer_id != asked.trainer_id:
        return CHANGED_SINCE
    before = session.get_one(Trainer, (row.before or {})["trainer_id"])
    try:
        hand_over(session, now, trainer, [client], before)
    except ServiceError as error:
        # A trainer who gave their clients away has no say about them any more.
        return str(error).rstrip(".")
    return None


def _undo_plan(
    session: Session,
    now: datetime,
    trainer: Trainer,
    asked: Pause | Hour | Days | Rule,
    row: GroupActClient,
    client: Client,
) -> str | None:
    if row.message_id is not None and not _cancel(session, row):
        # They have been told of the pause: ending it is for the client's own page, with a word.
        return LEFT_ALREADY
    situation = _situation(session, client)
    before = PlanSettings.from_json(row.before or {})
    settings = acts.taken_back(asked, before, situation.settings)
    if settings is None:
        return CHANGED_SINCE
    try:
        _set(session, now, trainer, situation, settings)
    except ServiceError as error:
        return str(error).rstrip(".")
    return None


def _cancel(session: Session, row: GroupActClient) -> bool:
    """Take the text back if it still waits."""
    waits = (
        update(Message)
        .where(col(Message.id) == row.message_id, col(Message.state) == "queued")
        .values(state="cancelled", problem=TAKEN_BACK)
    )
    return rows_updated(session, waits) > 0
