"""What follows from what a trainer enters of a day: told by phone, seen at a visit, or read wrong.

The same as from a text that says so, but that nothing is said to the client unless the trainer
wants it. What a client told of harm only ever gets worse by it, and nothing here ends a rest.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Literal

from rungwise.coach.conversation.dossier import Dossier
from rungwise.coach.conversation.effects import Effects
from rungwise.coach.conversation.report_fold import fold
from rungwise.coach.conversation.signs import answer_signs, stop_practice, told
from rungwise.coach.conversation.turn import MOVE_ALERTS, Turn
from rungwise.concepts.alert_kinds import Urgency
from rungwise.concepts.questions import SAFETY
from rungwise.concepts.signs import FLAGS, SIGNS, TOLD_OF_A_DAY
from rungwise.ladder.day import DayReport
from rungwise.ladder.stance import Steadiness
from rungwise.reply.reading import Asked, Hold, News, Reading

STOPPED = "Practice was stopped. No text was sent. No more prompts until you clear it."
STOPPED_AND_TEXTED = "Practice was stopped and the safety text sent. No prompts until you clear it."
USUAL = "The usual pain, no worse. The day counts for no move up."
# What a trainer can enter of harm, gravest first, by the names of the table of signs.
ENTERED_SIGNS = tuple(sign for sign in SIGNS if sign != "head")
Practised = Literal["result", "skipped", "other"]
# The questions whose answer settles signs, with those that it settles.
ANSWERED_BY_SIGNS: Mapping[str, frozenset[str]] = {
    "fall_yes_no": frozenset({"fall"}),
    "pain_yes_no": frozenset({"pain"}),
    "worse_yes_no": frozenset({"pain"}),
    "dizzy_yes_no": frozenset({"dizziness"}),
    "today_yes_no": frozenset(TOLD_OF_A_DAY),
}
_SIGN_WORDS = {
    "emergency": "a sign of an emergency",
    "distress": "words of despair",
    "fall": "a fall",
    "dizziness": "dizziness",
    "pain": "pain",
    "near_fall": "nearly a fall",
    "health_news": "news of their health",
}


@dataclass(frozen=True, slots=True)
class Entered:
    """What a trainer says that a client told. `practised`: a result, not practised, or neither.

    `signs` out of ENTERED_SIGNS. `place` where it hurt; `usual`: the pain that is recorded as the
    client's usual one, no worse.
    """

    practised: Practised = "result"
    holds: tuple[Hold, ...] = ()
    steadiness: Steadiness | None = None
    signs: frozenset[str] = frozenset()
    place: str | None = None
    usual: bool = False

    @property
    def says_nothing(self) -> bool:
        return self.practised == "other" and not self.signs and not self.usual

    def reading(self, instead_of: Reading | None = None, asked: Asked = "result") -> Reading:
        """As the reading of a text that says so; with what else the text told, if there was one.

        In answer to a question about a sign, the answer is what was entered of that sign.
        """
        result, signs = self.practised == "result", self.signs
        base = instead_of or Reading(kind="other", correction=True)
        if asked in ANSWERED_BY_SIGNS:
            says = _answer(bool(signs & ANSWERED_BY_SIGNS[asked]))
            base = replace(base, answer=says, yes_no=says)
        return replace(
            base,
            kind=_kind(self),
            holds=self.holds if result else (),
            steadiness=self.steadiness if result else None,
            steadiness_by_side={},
            done=result and not self.holds,
            fall=_answer("fall" in signs),
            pain=_answer("pain" in signs or self.usual),
            dizzy=_answer("dizziness" in signs),
            emergency="emergency" in signs,
            near_fall="near_fall" in signs,
            body_part=self.place,
            usual="same" if self.usual and "pain" not in signs else None,
            head_struck=base.head_struck and "emergency" in signs,
            emergency_doubt=False,
            news=_news(signs, base),
            distress_doubt=False,
            doubted_by=None,
            old=False,
            days_ago=None,
            two_people=False,
            unsure_number=False,
            confidence=1.0,
            because={},
        )


def _answer(told_of: bool) -> Literal["yes", "no"]:
    return "yes" if told_of else "no"


def _kind(entered: Entered) -> Literal["result", "skipped", "safety_only", "other"]:
    if entered.practised != "other":
        return entered.practised
    return "safety_only" if entered.signs or entered.usual else "other"


def _news(signs: frozenset[str], base: Reading) -> News | None:
    if "distress" in signs:
        return "distress"
    if "health_news" in signs:
        return base.news if base.news in ("health", "clinician") else "health"
    return base.news if base.news in ("loss", "home") else None


@dataclass(frozen=True, slots=True)
class DayTold:
    """All that was told of one date, in order, with what each was asked for; `new` is the reading
    that was entered now, `instead_of` the one that it corrects. `texts_client`: the safety text
    goes too, as after a text.
    """

    day: date
    rung_key: str
    readings: Sequence[tuple[Reading, Asked]]
    new: Reading
    instead_of: Reading | None = None
    texts_client: bool = False


def on_told(dossier: Dossier, told_day: DayTold, now: datetime) -> Effects:
    """The day's report and move afresh, and what signs of harm lead to."""
    turn = Turn(dossier, now)
    before = dossier.reports.get(told_day.day)
    was_open = dossier.safety_question
    report = folded(told_day.day, told_day.rung_key, told_day.readings)
    if before is not None and before.unconfirmed and not told_day.new.holds:
        report = replace(report, unconfirmed=True)
    today = told_day.day == dossier.today(now)
    move = turn.decide(report) if today else turn.decide_only(report)
    if move is None:
        return turn.effects()
    _close_questions_of(turn, told_day.day)
    known = told(told_day.instead_of) if told_day.instead_of is not None else ()
    signs = [sign for sign in told(told_day.new, turn.dossier) if sign not in known]
    if signs:
        did = STOPPED_AND_TEXTED if told_day.texts_client else STOPPED
        stop_practice(turn, signs, told_day.new, did)
        if told_day.texts_client:
            answer_signs(turn, signs, told_day.new, was_open.kind if was_open else None)
    elif move.kind == "rest" and not turn.dossier.resting:
        # What was told of harm earlier that day stands, so the client rests by it again.
        turn.rest()
        for kind in move.alerts:
            turn.tell(kind, STOPPED)
    if move.kind != "rest":
        for kind in move.alerts:
            if kind in MOVE_ALERTS:
                turn.tell(kind, MOVE_ALERTS[kind])
    if told_day.new.usual == "same" and not signs:
        turn.tell("pain", USUAL, Urgency.NOTE)
    return turn.effects()


def folded(day: date, rung_key: str, readings: Sequence[tuple[Reading, Asked]]) -> DayReport:
    """The day's report from all that was told of it, in order."""
    report = DayReport(day=day, rung_key=rung_key)
    for reading, asked in readings:
        report = fold(report, reading, asked)
    return report


def _close_questions_of(turn: Turn, day: date) -> None:
    """What was asked about that day's numbers is answered by the trainer."""
    for question in turn.dossier.questions:
        if question.kind not in SAFETY and question.day == day:
            turn.answered(question.kind)


def as_told(reading: Reading, asked: Asked) -> Reading:
    """The reading with the signs that its answer to a question settled."""
    report = fold(DayReport(day=date.min, rung_key=""), reading, asked)
    return replace(reading, fall=report.fall, pain=report.pain, dizzy=report.dizzy)


def lowered(before: Reading, after: Reading, asked: Asked) -> bool:
    """Whether a corrected reading tells less of harm than the reading that it corrects."""
    rank = {"no": 0, "unsure": 1, "yes": 2}
    flags = any(
        rank[getattr(after, flag)] < rank[getattr(before, flag)] for flag in FLAGS if flag != "pain"
    )
    pain = before.pain != "no" and (after.pain == "no" or (after.usual, before.usual) == USUAL_NOW)
    harm = ("emergency", "emergency_doubt", "head_struck", "near_fall", "distress_doubt")
    told_of = any(getattr(before, name) and not getattr(after, name) for name in harm)
    news = before.news in ("distress", "health", "clinician") and after.news != before.news
    took_back = asked in ANSWERED_BY_SIGNS and before.answer != "no" and after.answer == "no"
    return flags or pain or told_of or news or took_back


USUAL_NOW = ("same", None)


def entered_words(entered: Entered) -> str:
    """What was entered, as a sentence for whoever reads it later."""
    parts = []
    if entered.practised == "skipped":
        parts.append("did not practise")
    if entered.practised == "result":
        held = ", ".join(_hold_words(hold) for hold in entered.holds)
        parts.append(f"held {held}" if held else "practised")
        if entered.steadiness:
            parts.append(entered.steadiness)
    parts += [_SIGN_WORDS[sign] for sign in ENTERED_SIGNS if sign in entered.signs]
    if entered.place and "pain" in entered.signs:
        parts[-1 if parts[-1] == "pain" else parts.index("pain")] = f"pain: {entered.place}"
    if entered.usual:
        parts.append("the usual pain, no worse")
    told_of = ", ".join(parts) or "nothing of practice or harm"
    return f"{told_of[:1].upper()}{told_of[1:]}."


def _hold_words(hold: Hold) -> str:
    side = "" if hold.side is None else f"{hold.side} "
    return f"{side}{hold.seconds:g} s"
