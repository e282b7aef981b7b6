"""Signs of harm in a text: what is surely told, what is in doubt, and what each sets off.

Words are read before state: a sign is heard in every state and at every hour. One safety text
goes, of the gravest; one question, of the gravest open; every sign is told to the trainer.
"""

import re

from rungwise.coach.conversation.dossier import Dossier
from rungwise.coach.conversation.report_fold import fold
from rungwise.coach.conversation.turn import Turn
from rungwise.concepts.alert_kinds import ALERTS, Urgency
from rungwise.concepts.questions import QUESTIONS, SAFETY
from rungwise.concepts.signs import BEFORE_HURT, SIGNS, TOLD_OF_A_DAY
from rungwise.reply.reading import Asked, Context, Reading
from rungwise.wording.texts import place_words

RESTED = "Practice was stopped and the safety text sent. No more prompts until you clear it."
ASKED = "One question was sent. Nothing moves and no prompt goes until it is answered."
PHONE = "The client gets no texts: please phone."
_HEALTH = ("health", "clinician")
TOO_MUCH_PAIN = 5
GRAVE_AFTER_A_FALL = ("hip", "groin", "back", "head")
_NOW = re.compile(r"\b(now|today|just|this morning|hoy|ahora|ahorita|ya)\b", re.IGNORECASE)


def told(reading: Reading, dossier: Dossier | None = None) -> list[str]:
    """The signs surely told, gravest first; `dossier` lends what was told before."""
    fell = reading.fall == "yes" or (dossier is not None and dossier.alert("fall") is not None)
    pain = reading.pain == "yes" and not reading.old and not is_usual(reading, dossier)
    emergency = reading.emergency and not _long_ago(reading)
    found = {
        # A hip can be broken and be stood on at first.
        "emergency": emergency or (pain and fell and reading.body_part in GRAVE_AFTER_A_FALL),
        "head": reading.head_struck and not emergency,
        "distress": reading.news == "distress",
        "fall": reading.fall == "yes" and not reading.old,
        "dizziness": reading.dizzy == "yes" and not reading.old,
        "pain": pain,
        "near_fall": reading.near_fall and reading.fall != "yes" and not reading.old,
        "health_news": reading.news in _HEALTH,
    }
    return [sign for sign in SIGNS if found[sign]]


def is_usual(reading: Reading, dossier: Dossier | None) -> bool:
    """Whether the pain is the one that the trainer recorded, told no worse than it was recorded."""
    if reading.usual not in ("same", "unsaid"):
        return False
    usual = dossier.usual_pain if dossier is not None else None
    most = min(usual.score, TOO_MUCH_PAIN) if usual is not None else TOO_MUCH_PAIN
    return (reading.pain_score or 0) <= most


def _long_ago(reading: Reading) -> bool:
    """Whether all that is told was long ago; a word of now beside it makes it of now."""
    return reading.old and _NOW.search(reading.own_words) is None


def doubtful(reading: Reading) -> list[str]:
    """The questions that signs in doubt call for, gravest first."""
    any_sign = reading.emergency or reading.emergency_doubt
    any_sign = any_sign or {reading.fall, reading.dizzy, reading.pain} != {"no"}
    if _long_ago(reading) and any_sign:
        return ["today_yes_no"]
    found = {
        "emergency_yes_no": reading.emergency_doubt and not reading.emergency,
        "fall_yes_no": reading.fall == "unsure" and not reading.near_fall,
        "dizzy_yes_no": reading.dizzy == "unsure",
        "pain_yes_no": reading.pain == "unsure" and reading.usual is None,
        "worse_yes_no": reading.usual == "unsaid" and reading.pain_score is None,
    }
    return [kind for kind in SAFETY if found.get(kind)]


def sure_signs(turn: Turn, reading: Reading, context: Context) -> bool:
    """Act on what is surely told. True when something was, and all is said."""
    signs = told(reading, turn.dossier)
    if not signs or _answers_only(turn, signs, reading, context):
        return False
    was_open = turn.dossier.safety_question
    _store(turn, reading, context.asked)
    stop_practice(turn, signs, reading, RESTED)
    answer_signs(turn, signs, reading, was_open.kind if was_open else None)
    return True


def stop_practice(turn: Turn, signs: list[str], reading: Reading, did: str) -> None:
    """All that sure signs lead to besides texts: the client rests, and the trainer is told."""
    _close_answered(turn, signs, reading)
    anew = _is_news(turn, signs, reading)
    turn.rest()
    _close_week(turn, signs, reading)
    turn.close_number_questions()
    for sign in signs:
        row = SIGNS[sign]
        urgency = row.urgency if anew else Urgency.NOTE
        turn.tell(row.alert, did, urgency, anew=anew and row.urgency == Urgency.URGENT)


def answer_signs(turn: Turn, signs: list[str], reading: Reading, was_open: str | None) -> None:
    """The one safety text, and the question that follows it. `was_open` was asked before."""
    _first_text(turn, signs, reading)
    _next_question(turn, signs, reading, was_open)


def _answers_only(turn: Turn, signs: list[str], reading: Reading, context: Context) -> bool:
    """Whether what is told is but the answer to what was asked: "they will keep me in"."""
    if context.asked in ("after_emergency", "after_distress") and signs == ["health_news"]:
        return reading.answer in ("no", "cannot")
    question = turn.dossier.safety_question
    if question is None or signs != ["pain"]:
        return False
    if question.kind == "hurt":
        return reading.answer in ("yes", "cannot", "unknown")
    return question.kind == "pain_score" and (
        reading.pain_score is not None or reading.answer is not None
    )


def _store(turn: Turn, reading: Reading, asked: Asked) -> None:
    """Store the report, so that the move and its reason show the sign."""
    day, rung_key = turn.dossier.day_of_reply(turn.now)
    report = turn.report_of(day, rung_key)
    if report is not None:
        turn.decide(fold(report, reading, asked))


def _close_answered(turn: Turn, signs: list[str], reading: Reading) -> None:
    """Close the questions that these signs answer, or that no longer matter beside them."""
    answers = {SIGNS[sign].doubt for sign in signs}
    if "pain" in signs:
        answers |= {"worse_yes_no"}
    if "emergency" in signs or "head" in signs:
        answers |= {"hurt", "pain_score", "fall_yes_no", "fall_day"}
    if reading.answer in ("no", "comfort") or (signs[0] == "near_fall" and _only_help(turn)):
        answers |= {"hurt"}  # "no, but I nearly fell"
    for kind in SAFETY:
        if kind in answers or kind == "today_yes_no":
            turn.answered(kind)


def _close_week(turn: Turn, signs: list[str], reading: Reading) -> None:
    """A fall told, or a no beside another sign, answers the calendar's question about falls.

    On which day it was is asked after "are you hurt?", where it was not told.
    """
    week = turn.dossier.asked("fall_weekly")
    if week is None:
        return
    if "fall" not in signs:
        turn.answered("fall_weekly", reading.answer if reading.answer == "no" else None)
        return
    turn.answered("fall_weekly", "yes")
    if signs[0] == "fall" and reading.days_ago is None:
        turn.ask("fall_day", week.day, week.since)


def _only_help(turn: Turn) -> bool:
    """Whether "are you hurt?" was asked by HELP alone: a near fall then asks its own question."""
    return turn.dossier.first_alert(BEFORE_HURT) is None


def _is_news(turn: Turn, signs: list[str], reading: Reading) -> bool:
    """Whether something is told that the incident does not have: the same again is a line."""
    if not reading.back_reference:
        return True
    return any(turn.dossier.alert(SIGNS[sign].alert) is None for sign in signs)


def _first_text(turn: Turn, signs: list[str], reading: Reading) -> None:
    """The one safety text, of the gravest sign; despair beside an emergency gets both."""
    first = signs[0]
    if first in ("emergency", "head"):
        turn.safety(SIGNS[first].text)
        if "distress" in signs:
            turn.safety(_despair(turn))
    elif first == "distress":
        turn.safety(_despair(turn))
    elif first == "near_fall" and turn.dossier.alert("fall") is not None:
        # A fall is told already, and whether they are hurt comes first.
        turn.safety("ask_hurt_again" if _hurt_open(turn) else "safety_near_fall")
    elif first == "near_fall" and _graver_is_open(turn):
        turn.safety("safety_near_fall")  # the graver question is repeated; this one waits
    elif first == "health_news":
        turn.safety("news_clinician" if reading.news == "clinician" else "news_health")
    elif first == "pain" and (reading.pain_score or 0) > TOO_MUCH_PAIN:
        place = place_words(reading.body_part, turn.dossier.language)
        name = "pain_score_high" if place else "pain_high"
        turn.safety(name, place=place, score=reading.pain_score)
    else:
        turn.safety(SIGNS[first].text)


def _hurt_open(turn: Turn) -> bool:
    return any(each.kind == "hurt" for each in turn.dossier.questions)


def _graver_is_open(turn: Turn) -> bool:
    """Whether a question is open that comes before "did you fall?"."""
    gravest = turn.dossier.safety_question
    return gravest is not None and SAFETY.index(gravest.kind) < SAFETY.index("fall_yes_no")


def _despair(turn: Turn) -> str:
    return "despair" if turn.dossier.crisis else "despair_no_line"


def _next_question(turn: Turn, signs: list[str], reading: Reading, was_open: str | None) -> None:
    """Ask one thing: what follows the gravest sign, or the graver question that was open."""
    today = turn.dossier.day_of_reply(turn.now)[0]
    first = signs[0]
    if first in ("emergency", "head", "distress"):
        # Nothing is asked of somebody who should be calling for help.
        return
    if first == "near_fall" and turn.dossier.alert("fall") is not None:
        return
    wanted = [then for sign in signs if (then := SIGNS[sign].then)]
    if "fall" in signs:
        wanted = [kind for kind in wanted if kind != "fall_yes_no"]
    wanted += [kind for kind in doubtful(reading) if kind not in wanted]
    if "pain" in signs and reading.pain_score is not None:
        wanted = [kind for kind in wanted if kind != "pain_score"]
    still = turn.dossier.safety_question
    if not wanted and still is None:
        return
    for kind in sorted(set(wanted), key=SAFETY.index, reverse=True):
        turn.ask(kind, today)
    gravest = turn.dossier.safety_question
    if gravest is None or (SIGNS[first].asks_within and gravest.kind == SIGNS[first].then):
        return
    row = QUESTIONS[gravest.kind]
    text = again_of(turn, gravest.kind) if gravest.kind == was_open else row.text
    turn.safety(text, **_values(turn, gravest.kind))


def again_of(turn: Turn, kind: str) -> str:
    """The other words of a question: after HELP no fall was told."""
    return "ask_hurt_help" if kind == "hurt" and _only_help(turn) else QUESTIONS[kind].again


def _values(turn: Turn, kind: str) -> dict[str, object]:
    """What the text of this question needs beside what every text may need."""
    if kind != "worse_yes_no":
        return {}
    usual = turn.dossier.usual_pain
    return {"place": place_words(usual.place, turn.dossier.language) if usual else ""}


def ask_about_doubt(turn: Turn, reading: Reading, context: Context) -> bool:
    """Ask about what may be a sign, and hold practice. True when there was a doubt."""
    kinds = doubtful(reading)
    if not kinds:
        return False
    _store(turn, reading, context.asked)
    turn.hold()
    if context.asked == "fall_weekly":
        turn.answered("fall_weekly", "no" if reading.answer == "no" else "unknown")
    turn.close_number_questions()
    by_statistics = reading.doubted_by == "statistics"
    day = turn.dossier.day_of_reply(turn.now)[0]
    for kind in kinds:
        urgency = Urgency.NOTE if by_statistics else Urgency.TODAY
        turn.tell(_alert_of(kind, reading), ASKED, urgency)
    for kind in reversed(kinds):
        turn.ask(kind, day)
    gravest = turn.dossier.safety_question
    if gravest is not None:
        row = QUESTIONS[gravest.kind]
        text = row.text if gravest.kind in kinds else row.again
        turn.safety(text, **_values(turn, gravest.kind))
    return True


def _alert_of(kind: str, reading: Reading) -> str:
    """The alert that a question belongs to; an old sign's is its own kind's."""
    if kind != "today_yes_no":
        return QUESTIONS[kind].alert or "unread"
    if reading.emergency or reading.emergency_doubt:
        return "emergency"
    told = (sign for sign in TOLD_OF_A_DAY if getattr(reading, str(SIGNS[sign].flag)) != "no")
    return next(told, "fall")


def help_asked(turn: Turn) -> None:
    """HELP may come from someone on the floor: say who this is, and ask whether they are hurt."""
    dossier = turn.dossier
    urgent = dossier.resting or dossier.doubt is not None
    did = "The answer said who this is, asked whether they are hurt and gave the emergency number."
    turn.tell("help", did, Urgency.URGENT if urgent else Urgency.TODAY, anew=urgent)
    turn.hold()
    turn.ask("hurt", dossier.today(turn.now))
    turn.say("help", "help")


def of_somebody_else(turn: Turn) -> None:
    """A sign clearly of another person: never the client's, and told to the trainer."""
    turn.tell("life_news", "The client writes of somebody else.", ALERTS["life_news"].urgency)
    turn.safety("sign_of_other")
