"""STOP, START, agreeing to texts, and what comes from somebody who gets no texts from us."""

from rungwise.coach.conversation import signs
from rungwise.coach.conversation.effects import Answered, Become, Begin, TakeBack
from rungwise.coach.conversation.turn import Turn
from rungwise.concepts.alert_kinds import RESTING_KINDS, Urgency
from rungwise.concepts.client_states import State, moved
from rungwise.concepts.questions import QUESTIONS
from rungwise.concepts.signs import SIGNS
from rungwise.reply.reading import Context, Reading

# Asked after a sign that was told already: its alert is urgent, and its chain goes on.
AFTER_A_SIGN = ("hurt", "pain_score")


def stop(turn: Turn, reading: Reading) -> None:
    """Texts end at once, which is confirmed once; a question's hold becomes a rest."""
    dossier = turn.dossier
    told = signs.told(reading, dossier)
    doubts = signs.doubtful(reading)
    if dossier.state == State.STOPPED and not told and not doubts:
        return
    _close_questions(turn)
    if told or doubts:
        _alarm(turn, told, doubts)
    before = turn.dossier
    if before.state == State.STOPPED:
        return
    turn.do(Become(moved(before.state, State.STOPPED, "client"), before.state))
    turn.do(TakeBack(everything=True))
    if before.alert("distress"):
        # Nothing stands down, and no text reaches them now.
        turn.tell("distress", f"The client said STOP. {signs.PHONE}", Urgency.URGENT, anew=True)
    turn.tell("opted_out", "Texts ended at once, and that was confirmed.")
    turn.say("stop_done", "opt_out")


def _close_questions(turn: Turn) -> None:
    """Nothing is waited for any more; what was in doubt is urgent, for nobody can be asked."""
    for question in turn.dossier.questions:
        row = QUESTIONS[question.kind]
        after_help = question.kind == "hurt" and not turn.dossier.resting
        if row.doubt and (question.kind not in AFTER_A_SIGN or after_help):
            did = "The client said STOP with this question open. Please phone."
            turn.tell(turn.dossier.alert_of(question.kind), did, Urgency.URGENT)
            turn.rest()
        elif row.safety:
            turn.line("Texts have ended: phone the client.", row.alert or "help")
        turn.do(Answered(question.kind))


def _alarm(turn: Turn, told: list[str], doubts: list[str]) -> None:
    """A sign told by someone we may not text: people are told, and one safety text goes.

    It answers their own words and can save a life, so it goes even after STOP. Nothing is asked.
    """
    if (told and told != ["health_news"]) or doubts:
        turn.rest()
    for sign in told:
        row = SIGNS[sign]
        did = f"Practice was stopped and the safety text sent. {signs.PHONE}"
        turn.tell(row.alert, did, row.urgency, anew=row.urgency == Urgency.URGENT)
    if not told:
        for kind in doubts:
            turn.tell(QUESTIONS[kind].alert or "fall", signs.PHONE, Urgency.URGENT)
    first = told[0] if told else None
    if first == "near_fall":
        turn.safety("safety_near_fall")
    elif first == "distress" and not turn.dossier.crisis:
        turn.safety("despair_no_line")
    elif first is not None:
        turn.safety(SIGNS[first].text)
    elif "resting_any" not in turn.dossier.said:
        # Once a day: the words are in doubt, and each text is on its way to people anyhow.
        turn.safety("resting_any")


def without_texts(turn: Turn, reading: Reading, context: Context) -> None:
    """A text from somebody who stopped, has not begun, or has no rung yet."""
    dossier = turn.dossier
    told, doubts = signs.told(reading, dossier), signs.doubtful(reading)
    if told or doubts:
        _alarm(turn, told, doubts)
    begins = reading.kind == "opt_in" or _wishes_to_begin(dossier.state, reading)
    if begins and dossier.state == State.STOPPED and not told:
        start(turn)
    elif dossier.state == State.INVITED and not told and not doubts:
        _invited(turn, reading, context)
    elif reading.kind == "help":
        turn.tell("help", f"{signs.PHONE} The answer asked whether they are hurt.")
        turn.say("help", "help")
    elif not told and not doubts:
        turn.tell("request", "No text was sent: this client gets none at present.")


def _wishes_to_begin(state: str, reading: Reading) -> bool:
    return state == State.STOPPED and "back" in reading.asks


def start(turn: Turn) -> None:
    """Texts go on, and a client who was resting rests on: only the trainer ends a rest."""
    dossier = turn.dossier
    if dossier.state == State.STOPPED:
        underneath = dossier.stopped_from or State.ACTIVE
        turn.do(Become(moved(dossier.state, underneath, "client")))
    active = turn.dossier.state == State.ACTIVE
    turn.say("start_done" if active else "start_resting")


def _declines(turn: Turn, reading: Reading, context: Context) -> bool:
    """A plain no to the invitation; beside an open incident it may be about that."""
    no = context.asked == "invite" and "no" in (reading.answer, reading.yes_no)
    return no and not any(alert.kind in RESTING_KINDS for alert in turn.dossier.alerts)


def _invited(turn: Turn, reading: Reading, context: Context) -> None:
    """Whether somebody who was invited agrees, in any words."""
    yes = reading.kind == "opt_in" or (context.asked == "invite" and reading.answer == "yes")
    if yes and turn.dossier.may_begin and turn.dossier.standing is not None:
        turn.do(Begin())
        turn.say("first", "welcome")
    elif yes:
        turn.tell(
            "request", "The client agrees to texts, but something still stands against the first."
        )
        turn.say("invite_yes_wait")
    elif _declines(turn, reading, context):
        turn.do(Become(moved(turn.dossier.state, State.STOPPED, "client"), State.INVITED))
        turn.tell("opted_out", "The client does not want texts.")
        turn.say("invite_no")
    elif reading.kind == "help":
        turn.tell("help", signs.PHONE)
        turn.say("help", "help")
    else:
        turn.tell("request", "The client has not agreed to texts yet. Nothing else was answered.")
