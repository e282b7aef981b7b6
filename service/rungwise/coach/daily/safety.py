"""The safety conversation: fall, pain, dizziness, emergency sign, and every doubt about one.

Whatever else a text says, one of these comes first. A sure one rests the client at once, tells
the trainer and sends the fixed safety text; a doubtful one asks one yes/no question and tells the
trainer. Only the trainer clears the client.
"""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session

from rungwise.coach.alerting.alerts import Raised, open_alert, raise_alert
from rungwise.coach.daily.day_result import decide_reply
from rungwise.coach.daily.exchange import Reply
from rungwise.coach.outbox.texts import cancel_prompts
from rungwise.coach.record import questions
from rungwise.reply.reading import Asked
from rungwise.store.due import clear_due
from rungwise.store.tables import Client, Practice

RESTED = "Practice was stopped and the safety text sent. No more prompts until you clear it."
ASKED = "One yes/no question was sent. Nothing moves and no prompt goes until it is answered."
# Gravest first: the first that applies gives the text and the follow-up question.
SURE: tuple[tuple[str, str, str, Asked | None], ...] = (
    # reading field, alert kind, text, follow-up
    ("emergency", "emergency", "safety_emergency", None),
    ("fall", "fall", "safety_fall", "hurt"),
    ("dizzy", "dizziness", "safety_dizzy", "hurt"),
    ("pain", "pain", "safety_pain", "pain_score"),
)
DOUBTFUL: tuple[tuple[str, str, Asked], ...] = (
    # reading field, alert kind, question
    ("fall", "near_fall", "fall_yes_no"),
    ("dizzy", "dizziness", "dizzy_yes_no"),
    ("pain", "pain", "pain_yes_no"),
)
FOLLOW_UP = ("hurt", "pain_score")
NOT_BEGUN = "invited"


def hear(reply: Reply) -> bool:
    """Act on the safety part of a reading. True when that is all there is to do."""
    session, now, reading = reply.session, reply.now, reply.reading
    asked = reply.context.asked
    question = questions.current_question(session, now, reply.situation.client_id)
    sure = [row for row in SURE if getattr(reading, row[0]) in ("yes", True)]
    doubtful = [row for row in DOUBTFUL if getattr(reading, row[0]) == "unsure"]
    graver = [row for row in sure if row[0] != "pain"]
    # Who rests is past every doubt; who only asked for help may tell of one in the answer.
    new_doubt = bool(doubtful) and not sure and not reply.situation.resting
    if question is not None and asked in FOLLOW_UP and not graver and not new_doubt:
        questions.answered(session, now, question, reply.message)
        _follow_up_answered(reply)
        # And may tell the day's result in the same breath.
        return reply.situation.resting or reading.kind not in ("result", "skipped")
    if sure:
        if question is not None and question.kind in questions.SAFETY:
            questions.answered(session, now, question, reply.message)
        _rest(reply, sure)
        return True
    if doubtful:
        if question is not None and asked in FOLLOW_UP:
            questions.answered(session, now, question, reply.message)
        _doubt(reply, doubtful)
        return True
    if question is not None and asked in questions.DOUBTS and reading.yes_no == "no":
        questions.answered(session, now, question, reply.message)
        kind = next(row[1] for row in DOUBTFUL if row[2] == asked)
        _add_words(reply, (kind,), "The client answered no.")
        # Who did not fall may still have come near it.
        reply.say("safety_near_fall" if asked == "fall_yes_no" else "doubt_cleared", "safety")
    return False


def _rest(reply: Reply, sure: list[tuple[str, str, str, Asked | None]]) -> None:
    # Stored as the day's report, so that the move and its reason show it.
    decide_reply(reply, reply.day)
    rest_client(reply.session, reply.now, reply.client)
    for _, kind, _, _ in sure:
        reply.alert(kind, RESTED)
    _, _, text, follow_up = sure[0]
    reply.say(text, "safety")
    if follow_up is not None:
        questions.ask(reply.session, reply.now, reply.client.id, follow_up, reply.day)
        reply.say(questions.TEXT_OF[follow_up], "safety")


def rest_client(session: Session, now: datetime, client: Client) -> None:
    """No prompts, no reminders, from this moment until a trainer clears the client."""
    if client.state == "stopped":
        # A later START must not undo the rest.
        if client.stopped_from != NOT_BEGUN:
            client.stopped_from = "resting"
    elif client.state not in ("resting", NOT_BEGUN):
        # Ending a rest must not begin texts for somebody who was never cleared or never agreed.
        client.state = "resting"
        client.state_since = now
    session.add(client)
    cancel_prompts(session, client.id)
    clear_due(session, "prompt", client.id)
    clear_due(session, "reminder", client.id)


def _doubt(reply: Reply, doubtful: list[tuple[str, str, Asked]]) -> None:
    decide_reply(reply, reply.day)
    for _, kind, _ in doubtful:
        reply.alert(kind, ASKED, "today")
    cancel_prompts(reply.session, reply.client.id)
    _, _, asked = doubtful[0]
    questions.ask(reply.session, reply.now, reply.client.id, asked, reply.day)
    reply.say(questions.TEXT_OF[asked], "safety")


def _follow_up_answered(reply: Reply) -> None:
    """Whatever comes in answer to "are you hurt?" or "how bad?" joins the alert."""
    reading = reply.reading
    did = "The client answered the follow-up question."
    text = "pain_score_kept"
    if reading.yes_no == "yes":
        did, text = "The client says they are hurt.", "hurt_yes"
    elif reading.yes_no == "no":
        did, text = "The client says they are not hurt.", "hurt_no"
    if reading.pain_score is not None:
        did = f"The client puts the pain at {reading.pain_score} of 10."
    kinds = [kind for _, kind, _, _ in SURE] + ["help"]
    if reading.pain == "yes" or reading.yes_no == "yes":
        decide_reply(reply, reply.day)
        rest_client(reply.session, reply.now, reply.client)
        reply.alert("pain" if reading.pain == "yes" else "emergency", did, "urgent")
    elif not reply.situation.resting:
        # They asked for help, and are not hurt: nothing was stopped, nothing needs resting.
        text = "doubt_cleared"
    _add_words(reply, kinds, did)
    reply.say(text, "safety")


def _add_words(reply: Reply, kinds: Sequence[str], did: str) -> None:
    """Put these words with the open alerts they belong to; with none open, open the first kind."""
    opened = [kind for kind in kinds if open_alert(reply.session, reply.client.id, kind)]
    for kind in opened:
        reply.alert(kind, did, "note")
    if not opened:
        reply.alert(kinds[0], did)


def help_asked(reply: Reply) -> None:
    """HELP may come from someone on the floor: say who this is, ask whether they are hurt."""
    doubt = questions.open_doubt(reply.session, reply.client.id)
    did = "The answer said who this is, asked whether they are hurt and gave the emergency number."
    urgent = reply.situation.resting or doubt is not None
    reply.alert("help", did, "urgent" if urgent else "today")
    questions.ask(reply.session, reply.now, reply.client.id, "hurt", reply.day)
    reply.say("help", "help")


def doubt_unanswered(
    session: Session, now: datetime, practice: Practice, client: Client, asked: str
) -> None:
    """Nobody answered a yes/no question about safety in time: the alert becomes urgent."""
    kind = next(row[1] for row in DOUBTFUL if row[2] == asked)
    did = "The question was not answered in 30 minutes. Please call the client."
    raise_alert(session, now, practice, client, Raised(kind, did, "urgent"))
