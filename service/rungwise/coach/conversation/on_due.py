"""What the clock leads to for one client: the day's prompt, and questions nobody answered."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta

from rungwise.coach.conversation.dossier import Dossier, OpenQuestion
from rungwise.coach.conversation.effects import Answered, Effects, Say
from rungwise.coach.conversation.turn import Turn
from rungwise.concepts.alert_kinds import Urgency
from rungwise.concepts.client_states import State
from rungwise.concepts.questions import DOUBT_WAITS, HELP_WAITS, QUESTIONS
from rungwise.ladder.absence import decide_absence
from rungwise.ladder.body import Body
from rungwise.ladder.rungs import Rung
from rungwise.wording.answers import prompt_text
from rungwise.wording.rung_words import Telling, rung_text

SILENT_AFTER = 3
MINUTE = timedelta(minutes=1)


def waits(dossier: Dossier, question: OpenQuestion) -> timedelta | None:
    """How long this question waits for its answer; None: for ever.

    "Are you hurt?" after a sign waits for nobody, for the sign is urgent already; its next page
    says that no answer came.
    """
    if question.kind == "hurt" and dossier.resting:
        return HELP_WAITS
    return QUESTIONS[question.kind].waits


def on_unanswered(dossier: Dossier, kind: str, now: datetime) -> Effects:
    """Nobody answered a question in time: people are told, the client is sent nothing."""
    turn = Turn(dossier, now)
    row = QUESTIONS[kind]
    minutes = int((row.waits or DOUBT_WAITS) / MINUTE)
    did = f"The question was not answered in {minutes} minutes. Please call the client."
    if kind == "fall_weekly":
        turn.do(Answered(kind))  # the week stays missing
    elif kind == "hurt" and dossier.resting:
        turn.line("No answer to 'are you hurt?'. Please call the client.", "help")
    else:
        turn.tell(dossier.alert_of(kind), did, Urgency.URGENT, anew=True)
        if kind == "worse_yes_no":
            turn.do(Answered(kind))
            turn.rest()
    return turn.effects()


def on_prompt(dossier: Dossier, day: date, now: datetime) -> Effects:
    """The client's hour has come: the day's text, or nothing while they are not to practise."""
    turn = Turn(dossier, now)
    standing = dossier.standing
    if standing is None or dossier.state != State.ACTIVE or dossier.doubt is not None:
        return turn.effects()
    silent = dossier.prompts_unanswered
    if silent > 0 and silent % SILENT_AFTER == 0:
        turn.tell("silence", f"No reply to the last {silent} prompts. Prompts go on.")
    plan = standing.settings.plan(dossier.resting)
    move = decide_absence(
        standing.ladder, plan, dossier.past, standing.rung_key, standing.since, day
    )
    if move is not None:
        turn.moved_by_absence(day, move)
    if not turn.dossier.resting and turn.dossier.rung is not None:
        body = standing.ladder.measured
        rung = turn.dossier.rung
        if move is None:
            rung = standing.rung_on(day)
        turn.do(_prompt(turn.dossier, rung, body, standing.telling))
    return turn.effects()


def _prompt(dossier: Dossier, rung: Rung, body: Body, telling: Telling) -> Say:
    text = task_body(rung, body, telling, dossier.language, dossier.wording)
    return Say("prompt", text, "prompt", rung.key)


def task_body(
    rung: Rung, body: Body, telling: Telling, language: str, wording: Mapping[str, str]
) -> str:
    """The exact text that asks for this rung."""
    task = rung_text(rung, body, telling, language)
    return prompt_text(task, language, sides=rung.sides, wording=wording)
