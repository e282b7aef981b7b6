"""What a text from a client leads to, in the order in which it is heard.

1. What only a phone or a program wrote is seen, and nothing else.
2. STOP, and whoever gets no texts from us.
3. Signs of harm, whatever else the text says.
4. The answer to the gravest open question about safety.
5. Signs in doubt; HELP; news.
6. Somebody who rests is told so, and the trainer gets the words.
7. Results; then wishes, questions, thanks; and what nothing understood is for the trainer.
"""

from dataclasses import replace
from datetime import datetime

from rungwise.coach.conversation import opt_out, signs
from rungwise.coach.conversation.automatic import automatic, to_a_machine
from rungwise.coach.conversation.courtesy import courtesy_of, greeted_beside
from rungwise.coach.conversation.dossier import Dossier
from rungwise.coach.conversation.effects import Effects, Unread
from rungwise.coach.conversation.falls_asked import overtaken, week_answered
from rungwise.coach.conversation.questions_answered import safety_answer
from rungwise.coach.conversation.result import answers_a_result, day_told
from rungwise.coach.conversation.topics import fixed_answer, news_told
from rungwise.coach.conversation.turn import Turn
from rungwise.coach.conversation.wishes import next_day, wished
from rungwise.concepts.alert_kinds import Urgency
from rungwise.concepts.client_states import State
from rungwise.concepts.questions import QUESTIONS
from rungwise.reply.reading import Asked, Context, Reading
from rungwise.wording.texts import place_words

# Alerts after which nothing is asked, with what the reader is told that a text comes after.
_AFTERMATH: tuple[tuple[str, Asked], ...] = (
    ("emergency", "after_emergency"),
    ("distress", "after_distress"),
)
# What went without having been asked for begins no talk.
_UNASKED = frozenset({"prompt", "reminder_a", "reminder_b", "first"})
BACK_WORDS = ("BACK", "VUELVO")
NEVER_ANSWERED = ("reaction", "receipt", "auto_reply", "quote", "signature")


def context_of(dossier: Dossier, now: datetime) -> Context:
    """What the reader should know when it reads this client's text."""
    standing, rung = dossier.standing, dossier.rung_asked(now)
    usual = dossier.usual_pain
    asked = _asked(dossier, now)
    if standing is None or rung is None:
        return Context(
            language=dossier.language,
            asked=asked,
            our_texts=dossier.our_texts,
            today=dossier.today(now),
            second_reader=dossier.second_reader,
        )
    return Context(
        target_s=standing.settings.target_s,
        sided=len(rung.sides) > 1,
        leads=rung.sides,
        asked=asked,
        language=dossier.language,
        support=rung.support.value,
        our_texts=dossier.our_texts,
        usual_pain=usual.place if usual else None,
        today=dossier.today(now),
        second_reader=dossier.second_reader,
    )


def _asked(dossier: Dossier, now: datetime) -> Asked:
    if dossier.state == State.INVITED:
        return "invite"
    question = dossier.question(now)
    if question is not None and not overtaken(dossier, question):
        return question.kind  # type: ignore[return-value]  # QUESTIONS are Asked
    if dossier.resting:
        for kind, asked in _AFTERMATH:
            if dossier.alert(kind):
                return asked
    return "result"


def on_text(dossier: Dossier, reading: Reading, context: Context, now: datetime) -> Effects:
    """All that follows from a text. Never raises for any reading."""
    turn = Turn(dossier, now)
    if reading.machine in NEVER_ANSWERED and _nothing_own(reading):
        return turn.effects()
    _hear(turn, reading, context)
    understood = not any(
        getattr(step, "name", "") in ("unread", "unread_again") for step in turn.steps
    )
    if understood and dossier.unread_run:
        turn.do(Unread(0))
    if automatic(dossier.lately):
        return to_a_machine(dossier, turn.effects())
    return turn.effects()


def _nothing_own(reading: Reading) -> bool:
    return not reading.own_words.strip()


def _hear(turn: Turn, reading: Reading, context: Context) -> None:
    dossier = turn.dossier
    if reading.kind == "opt_out" and not (reading.wish_until and "away" in reading.asks):
        opt_out.stop(turn, reading)
    elif dossier.state in (State.STOPPED, State.INVITED) or dossier.standing is None:
        opt_out.without_texts(turn, reading, context)
    elif _starts(reading) and not (signs.told(reading, dossier) or signs.doubtful(reading)):
        opt_out.start(turn)
    elif _says_back(turn, reading):
        wished(turn, replace(reading, asks=("back",)), context)
    elif signs.sure_signs(turn, reading, context):
        pass
    elif _help(turn, reading, context):
        signs.help_asked(turn)
    elif safety_answer(turn, reading, context):
        pass
    elif reading.of_other and not answers_a_result(reading, context):
        signs.of_somebody_else(turn)
    elif week_answered(turn, reading, context) or signs.ask_about_doubt(turn, reading, context):
        pass
    elif dossier.resting:
        _while_resting(turn, reading)
    else:
        _practising(turn, reading, context)


def _starts(reading: Reading) -> bool:
    """START, or a wish to begin; "may I go on tomorrow?" of who gets texts is a question."""
    return reading.kind == "opt_in" and not reading.question


def _says_back(turn: Turn, reading: Reading) -> bool:
    """The word that our own text names for the end of time away, which is also a part of a body."""
    away = turn.dossier.away_on(turn.dossier.today(turn.now))
    return away and reading.own_words.strip(" .!").upper() in BACK_WORDS


def _help(turn: Turn, reading: Reading, context: Context) -> bool:
    """HELP, unless it stands in answer to the question whether they are hurt."""
    return reading.kind == "help" and not (context.asked == "hurt" and turn.dossier.resting)


def _while_resting(turn: Turn, reading: Reading) -> None:
    """Every text joins the incident, and gets only what fits somebody who rests."""
    if reading.kind in ("result", "skipped") or reading.done:
        day_told(turn, reading, Context())
        return
    if news_told(turn, reading):
        return
    if "back" in reading.asks:
        turn.line("The client says they are back. Practice still rests.", "request")
        turn.safety("back_held")
        return
    if "call_me" in reading.asks:
        turn.tell("call_me", "The client asks you to call.")
        turn.say("call_me")
        return
    turn.line("The client wrote while resting.", "request")
    if reading.kind == "question" or reading.question:
        turn.safety("resting_when")
    else:
        turn.safety("resting_any")


def _practising(turn: Turn, reading: Reading, context: Context) -> None:
    dossier = turn.dossier
    told = news_told(turn, reading)
    if _only_later(reading) or _only_a_question(reading):
        if reading.topic is not None:
            fixed_answer(turn, reading)
        else:
            turn.say("later_today")
        return
    if answers_a_result(reading, context):
        if told:
            _quietly(turn, reading, context)
        else:
            day_told(turn, reading, context)
        _beside_a_result(turn, reading)
        return
    if told or wished(turn, reading, context):
        return
    if reading.usual == "same":
        turn.tell("pain", "The usual pain, no worse.", Urgency.NOTE)
        usual = dossier.usual_pain
        place = place_words(usual.place, dossier.language) if usual else ""
        turn.safety("usual_same", place=place)
        return
    if reading.effort is not None:
        said = "too hard" if reading.effort == "too_hard" else "too easy"
        turn.tell("request", f"The client finds this rung {said}. Nothing was moved for it.")
        turn.say(reading.effort)
    elif reading.unsafe:
        turn.tell("unsafe", "A caution was sent.")
        turn.say("unsafe_any")
    elif reading.topic is not None or reading.kind == "question" or reading.question:
        fixed_answer(turn, reading)
    elif context.asked in QUESTIONS and reading.answer in ("no", "unknown"):
        turn.answered(context.asked)
        turn.say("done_kept" if context.asked == "done_seconds" else "asked_unanswered", **NONE)
    else:
        _courtesy_or_unread(turn, reading)


def _only_later(reading: Reading) -> bool:
    """Whether practice is put off to later today, and nothing of it is told."""
    put_off = (reading.later or "later_today" in reading.asks) and "call_me" not in reading.asks
    return put_off and not (reading.holds or reading.done or reading.steadiness)


def _only_a_question(reading: Reading) -> bool:
    return reading.topic is not None and not (reading.holds or reading.done or reading.steadiness)


NONE = {"understood": ""}


def _quietly(turn: Turn, reading: Reading, context: Context) -> None:
    """A result beside news: stored, and nothing cheerful is said of it."""
    said = [step for step in turn.steps if getattr(step, "name", None)]
    day_told(turn, reading, context)
    turn.steps = [step for step in turn.steps if not getattr(step, "name", None) or step in said]


def _beside_a_result(turn: Turn, reading: Reading) -> None:
    """What a client asks or wishes beside a result is kept for the trainer, or done quietly."""
    for ask in reading.asks:
        if ask == "back":
            continue
        if ask == "call_me":
            turn.tell("call_me", "The client asks you to call.")
            turn.say("call_me")
        elif ask in ("another_hour", "away") and not turn.held_for_now():
            wished(turn, reading, Context())
            return
        else:
            turn.tell("request", f"The client also asks: {ask.replace('_', ' ')}.")
    if reading.of_other:
        turn.tell("life_news", "The client also writes of somebody else.", Urgency.NOTE)
    if reading.question and not reading.asks:
        turn.tell("request", "The client also asks something.")
    if reading.effort is not None:
        said = "too hard" if reading.effort == "too_hard" else "too easy"
        turn.tell("request", f"The client finds this rung {said}. Nothing was moved for it.")


def _courtesy_or_unread(turn: Turn, reading: Reading) -> None:
    courtesy = courtesy_of(reading.own_words, turn.dossier.language)
    if courtesy is not None:
        if courtesy not in turn.dossier.said and courtesy != "ok":
            day = next_day(turn) if courtesy == "sorry" else ""
            turn.say(courtesy, day=day)
        return
    greeted = greeted_beside(reading.own_words, turn.dossier.language)
    if greeted is not None and greeted not in turn.dossier.said:
        turn.tell("unread", "The client greeted or thanked, and wrote more.")
        turn.say(greeted)
        return
    run = turn.dossier.unread_run + 1
    turn.do(Unread(run))
    if run > 1:
        turn.tell("unread", "Two texts running could not be understood.", Urgency.TODAY)
        turn.safety("unread_again")
    else:
        turn.tell("unread", "This text was not understood; the client was told you get it.")
        turn.say("unread_kept" if _spoken_with_today(turn) else "unread")


def _spoken_with_today(turn: Turn) -> bool:
    """Whether the day's result or another text has had its answer: this one goes on from there."""
    day = turn.dossier.day_of_reply(turn.now)[0]
    return day in turn.dossier.reports or bool(turn.dossier.said - _UNASKED)
