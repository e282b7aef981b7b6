"""The answer to an open question about safety, by the decision tables of concepts/answers.py."""

import re
from dataclasses import replace
from datetime import timedelta

from rungwise.coach.conversation.effects import AskedAgain
from rungwise.coach.conversation.report_fold import fold
from rungwise.coach.conversation.signs import ASKED, TOO_MUCH_PAIN, again_of, doubtful
from rungwise.coach.conversation.turn import Turn
from rungwise.concepts.alert_kinds import Urgency
from rungwise.concepts.answers import ANSWERS, Outcome
from rungwise.concepts.questions import QUESTIONS
from rungwise.concepts.signs import SIGNS, TOLD_OF_A_DAY
from rungwise.reply.reading import Context, Reading
from rungwise.wording.texts import place_words

# After these nothing is asked, and every text joins the incident.
AFTERMATHS = ("after_emergency", "after_distress")
MOST_PAIN = 10
_TOO_MUCH = Outcome(
    "pain_score_high",
    "rests",
    "The client says how bad the pain is.",
    (("pain", Urgency.URGENT),),
    anew=True,
)
_BARE = re.compile(r"\D{0,14}?(\d{1,2})\W*")


def safety_answer(turn: Turn, reading: Reading, context: Context) -> bool:
    """Act on the answer to the gravest open question. True when there was one to answer."""
    question = turn.dossier.safety_question
    if question is None:
        if context.asked not in AFTERMATHS:
            return False
        act_on(turn, reading, context, ANSWERS[context.asked][reading.answer or "other"])
        return True
    if question.kind == "fall_day" and reading.days_ago is not None:
        _day_told(turn, reading.days_ago)
        return True
    outcome = _by_number(turn, reading, question.kind)
    if outcome is None and reading.answer is not None:
        outcome = _table(turn, question.kind).get(reading.answer)
    if outcome is None:
        _unclear(turn, reading, context, question.kind, question.unclear)
        return True
    if question.kind == "today_yes_no" and outcome.text == "old_event_kept":
        line = "An older event: ask for re-screening if the screening does not have it."
        alert = (turn.dossier.alert_of(question.kind), Urgency.TODAY)
        outcome = replace(outcome, line=line, alerts=(alert,))
    # Of a day that is not known there is no answer to keep.
    turn.answered(question.kind, reading.answer if question.kind != "fall_day" else None)
    act_on(turn, reading, context, outcome)
    return True


def _day_told(turn: Turn, days_ago: int) -> None:
    """The day of a fall that was told when the week's was asked."""
    day = turn.dossier.today(turn.now) - timedelta(days=days_ago)
    turn.answered("fall_day", day.isoformat())
    turn.line(f"The client says the fall was on {day:%A %d %B}.", "fall")
    turn.safety("fall_day_kept")


def _table(turn: Turn, kind: str) -> dict[str, Outcome]:
    """The question's table. HELP told no sign, so that a "not hurt" gives back what was before."""
    rows = dict(ANSWERS["hurt_after_help" if kind == "hurt" and not turn.dossier.resting else kind])
    if kind == "fall_yes_no" and turn.dossier.alert("near_fall") and not turn.dossier.resting:
        # The doubt was of a word, not of an own loss of balance.
        cleared = ANSWERS["pain_yes_no"]["no"]
        rows["no"] = Outcome(cleared.text, cleared.after, rows["no"].line)
    if kind == "today_yes_no":
        rows |= _as_of_now(turn)
    return rows


def _as_of_now(turn: Turn) -> dict[str, Outcome]:
    """Yes to "today, or in the last days?" is the sign itself, as of now."""
    told = turn.dossier.first_alert(TOLD_OF_A_DAY) or "fall"
    yes = ANSWERS[SIGNS[told].doubt or "fall_yes_no"]["yes"]
    return {"yes": yes, "unknown": yes}


def _by_number(turn: Turn, reading: Reading, kind: str) -> Outcome | None:
    """What a figure for how bad it is leads to; a bare number is never a hold here."""
    score = _score(reading)
    if score is None and kind == "pain_score" and reading.severe:
        return _TOO_MUCH
    if score is None or score > MOST_PAIN:
        return None
    if kind == "pain_score":
        if score <= TOO_MUCH_PAIN:
            line = f"The client puts the pain at {score} of 10."
            return Outcome("pain_score_kept", "unchanged", line)
        return _too_much(score)
    usual = turn.dossier.usual_pain
    if kind == "worse_yes_no" and usual is not None:
        return ANSWERS[kind]["no" if score <= min(usual.score, TOO_MUCH_PAIN) else "yes"]
    if kind == "pain_yes_no":
        if score == 0:
            return ANSWERS[kind]["no"]
        return ANSWERS[kind]["yes"] if score <= TOO_MUCH_PAIN else _too_much(score)
    return None


def _score(reading: Reading) -> int | None:
    """How bad, from 0 to 10; a bare number up to ten is one."""
    if reading.pain_score is not None:
        return reading.pain_score
    bare = _BARE.fullmatch(reading.own_words.strip())
    return int(bare[1]) if bare else None


def _too_much(score: int) -> Outcome:
    return replace(_TOO_MUCH, line=f"The client puts the pain at {score} of 10.")


def act_on(turn: Turn, reading: Reading, context: Context, outcome: Outcome) -> None:
    day, rung_key = turn.dossier.day_of_reply(turn.now)
    report = turn.report_of(day, rung_key)
    told_result = reading.kind in ("result", "skipped") or reading.done
    if (report is not None and (outcome.after != "unchanged" or day in turn.dossier.reports)) or (
        report is not None and told_result
    ):
        turn.decide(fold(report, reading, context.asked))
    if outcome.after == "rests":
        turn.rest()
    if any(kind == "emergency" for kind, _ in outcome.alerts):
        turn.answered("fall_day")  # nobody who should be calling for help is asked for dates
    if outcome.alerts:
        for kind, urgency in outcome.alerts:
            turn.tell(kind, outcome.line, urgency, anew=outcome.anew)
    else:
        turn.line(outcome.line)
    language, usual = turn.dossier.language, turn.dossier.usual_pain
    place = place_words(reading.body_part, language)
    if outcome.text == "usual_same":
        place = place_words(usual.place, language) if usual else ""
    values: dict[str, object] = {"place": place, "score": _score(reading)}
    waiting = turn.dossier.safety_question
    if outcome.text != "help_no" or waiting is None:
        # "What can we help with?" gives way to the question that has waited.
        turn.safety(_fitting(outcome.text, place, _score(reading)), **values)
    if outcome.then is not None:
        turn.ask(outcome.then, day)
        if outcome.text not in ("safety_fall", QUESTIONS[outcome.then].text):
            turn.safety(QUESTIONS[outcome.then].text)
    elif waiting is not None and outcome.after != "rests":
        # Another question has waited for this answer.
        turn.safety(QUESTIONS[waiting.kind].text, place=values["place"])


def _fitting(text: str, place: str, score: int | None) -> str:
    """The wording that names what was told, where it was."""
    if text == "pain_score_kept" and (score is None or not place):
        return "resting_any"
    if text == "pain_score_high" and (score is None or not place):
        return "pain_high"
    return text


def _unclear(turn: Turn, reading: Reading, context: Context, kind: str, unclear: int) -> None:
    """The first answer that is none gets the question in other words; the second is urgent."""
    row = QUESTIONS[kind]
    day, rung_key = turn.dossier.day_of_reply(turn.now)
    report = turn.report_of(day, rung_key)
    # An unclear answer to "are you hurt?" is no doubt of a pain beside it.
    same = {kind, "pain_yes_no"} if kind == "hurt" else {kind}
    others = [other for other in doubtful(reading) if other not in same]
    if report is not None and (reading.kind == "result" or reading.done or others):
        turn.decide(fold(report, reading, context.asked))
    for other in others:
        # A sign in doubt beside it: told to the trainer, and asked when this one is answered.
        turn.tell(QUESTIONS[other].alert or "help", ASKED, Urgency.TODAY)
        turn.ask(other, day)
    usual = turn.dossier.usual_pain
    place = place_words(usual.place, turn.dossier.language) if usual else ""
    if unclear == 0:
        turn.do(AskedAgain(kind))
        did = "The answer was not clear; the question was asked once more."
        if row.doubt and kind != "hurt":
            turn.tell(turn.dossier.alert_of(kind), did, Urgency.TODAY)
        else:
            turn.line(did, row.alert or "help")
        turn.safety(again_of(turn, kind), place=place)
        return
    if unclear > 1 or row.waits is None:
        if row.waits is None:
            turn.answered(kind)
        turn.line("The client wrote again.", row.alert or "help")
        turn.safety("resting_any")
        return
    turn.do(AskedAgain(kind))
    if kind == "worse_yes_no":
        turn.answered(kind)
        turn.rest()
    alert = turn.dossier.alert_of(kind)
    turn.tell(alert, "Two answers were not clear. Please phone the client.", "urgent", anew=True)
    turn.safety(row.unclear, place=place)
