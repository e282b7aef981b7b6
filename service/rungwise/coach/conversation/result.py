"""A day's result: the report it makes, the move, and the answer that says what was understood."""

from datetime import date
from statistics import median

from rungwise.coach.conversation.report_fold import HELD_ON, fold, missing
from rungwise.coach.conversation.turn import MOVE_ALERTS, Turn, with_holds_unconfirmed
from rungwise.concepts.alert_kinds import Urgency
from rungwise.concepts.client_states import State
from rungwise.concepts.questions import PASSING
from rungwise.ladder.day import DayReport, judge_day
from rungwise.ladder.moves import Move
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.reply.reading import Context, Reading
from rungwise.wording.results import number, understood
from rungwise.wording.texts import weekday_name, word

# A number is asked about if it is that far from what the client told lately.
LATELY, LEAST_LATELY = 10, 3
FAR_BELOW, FAR_ABOVE = 0.5, 2.0
NUMBER_QUESTIONS = (
    *("result", "seconds", "sides", "steadiness", "number"),
    *("both_sides", "done_seconds", "day"),
)
_SIDES_ASKED = ("both_sides", "sides")


def answers_a_result(reading: Reading, context: Context) -> bool:
    """Whether a text tells of practice, or answers what was asked about it."""
    if reading.kind in ("result", "skipped") or reading.done:
        return True
    if context.asked not in NUMBER_QUESTIONS or context.asked == "result":
        return False
    told = bool(reading.holds) or reading.steadiness is not None
    side = context.asked == "both_sides" and reading.side is not None
    return (
        told or side or reading.to_both or reading.same_as_before or _yes_or_no(reading) is not None
    )


def _yes_or_no(reading: Reading) -> str | None:
    if reading.answer in ("yes", "no"):
        return reading.answer
    return reading.yes_no


def day_told(turn: Turn, reading: Reading, context: Context) -> None:
    """Store the day's result, decide, and say what was understood and what follows."""
    question = turn.dossier.question(turn.now)
    if question is not None and (question.kind != context.asked or question.kind not in PASSING):
        question = None
    asked = question.kind if question is not None else None
    day, rung_key = turn.dossier.day_of_reply(turn.now)
    day = question.day if question is not None else day
    if asked:
        turn.answered(asked)
    if reading.two_people and len(reading.holds) != 1:
        turn.say("ask_whose")
        return
    if reading.days_ago:
        _of_another_day(turn)
        return
    if reading.same_as_before and not reading.holds and not _same_side(turn, reading, context, day):
        turn.ask("seconds", day)
        turn.say("ask_same")
        return
    earlier = turn.dossier.reports.get(day)
    base = turn.report_of(day, rung_key)
    if base is None:
        return
    report = fold(base, reading, context.asked)
    if asked == "number" and _yes_or_no(reading) == "no" and not reading.holds:
        turn.decide(report)
        turn.ask("seconds", day)
        turn.say("ask_seconds", understood="")
        return
    if asked != "number" and _surprising(turn, report, reading):
        report = with_holds_unconfirmed(report)
    move = turn.decide(report)
    if move is None:
        return
    for kind in move.alerts:
        if turn.held_for_now() and turn.dossier.alert(kind) is not None:
            continue  # the day's sign was told before; this text tells no new one
        turn.tell(kind, MOVE_ALERTS.get(kind, "Nothing was moved."))
    if reading.unsafe:
        repeated = turn.dossier.alert("unsafe") is not None
        turn.tell("unsafe", "A caution was sent. The day counts for no move up.", _note(repeated))
    if reading.usual == "same":
        turn.tell("pain", "The usual pain, no worse. The day counts for no move up.", Urgency.NOTE)
    corrected = reading.correction and earlier is not None
    _answer(turn, report, move, reading, asked, corrected=corrected)


def _same_side(turn: Turn, reading: Reading, context: Context, day: date) -> bool:
    """Whether "the same" is about the sides: "same on each side", or in answer to that question."""
    told = turn.dossier.reports.get(day)
    if told is None or not told.holds:
        return False
    alone = any(hold.side is None for hold in told.holds)
    return context.asked in _SIDES_ASKED or (alone and reading.side == "both")


def _of_another_day(turn: Turn) -> None:
    """Yesterday's result is no result of today: it stands in the thread, and today's is asked."""
    turn.say("ask_seconds", understood=word("for_today", turn.dossier.language))


def _note(repeated: bool) -> Urgency:
    return Urgency.TODAY if repeated else Urgency.NOTE


def _surprising(turn: Turn, report: DayReport, reading: Reading) -> bool:
    """Whether a number had better be asked about: it would move far back, or is far from usual."""
    standing = turn.dossier.standing
    rung = turn.dossier.rung
    seconds = [hold.seconds for hold in report.holds if hold.seconds is not None]
    if standing is None or rung is None or not reading.holds or not seconds or reading.correction:
        return False
    if report.rung_key != rung.key:
        return False
    target_s = standing.settings.target_s
    if reading.unsure_number and _number_matters(turn, report, rung, target_s):
        return True
    judged = judge_day(rung, report, target_s)
    if judged.verdict == "far_short" and report.steadiness != "wobbly":
        return True
    lately = _held_lately(turn, rung)
    if len(lately) < LEAST_LATELY:
        return max(seconds) > FAR_ABOVE * 2 * target_s
    usual = median(lately)
    above = max(seconds) > FAR_ABOVE * max(usual, target_s)
    return above or (min(seconds) < FAR_BELOW * usual and report.steadiness != "wobbly")


def _number_matters(turn: Turn, report: DayReport, rung: Rung, target_s: float) -> bool:
    """Whether a number that may have been another would move the client, or is far from usual.

    A day told as wobbly too: that it was wobbly does not make its seconds surer.
    """
    move = turn.would_decide(report)
    if move is not None and move.kind in ("back", "up"):
        return True
    seconds = [hold.seconds for hold in report.holds if hold.seconds is not None]
    lately = _held_lately(turn, rung)
    usual = median(lately) if len(lately) >= LEAST_LATELY else target_s
    return min(seconds) < FAR_BELOW * usual or max(seconds) > FAR_ABOVE * max(usual, target_s)


def _held_lately(turn: Turn, rung: Rung) -> list[float]:
    told = [
        hold.seconds
        for past in list(turn.dossier.past)[-LATELY:]
        if past.report is not None and past.report.rung_key == rung.key
        for hold in past.report.holds
        if hold.seconds is not None
    ]
    return told[-LATELY:]


def _answer(
    turn: Turn,
    report: DayReport,
    move: Move,
    reading: Reading,
    asked: str | None,
    *,
    corrected: bool,
) -> None:
    standing = turn.dossier.standing
    if standing is None:
        return
    if turn.dossier.resting:
        turn.line("The client told a result.")
        turn.safety("resting_result")
        return
    if report.skipped:
        turn.say("skipped_a")
        return
    rung = _rung_in(standing.ladder, report.rung_key)
    told = _understood(turn, report, rung, corrected=corrected)
    if report.unconfirmed:
        seconds = [hold.seconds for hold in report.holds if hold.seconds is not None]
        turn.ask("number", report.day)
        turn.say("ask_number", seconds=number(turn.dossier.language, min(seconds)))
        return
    if rung is None:
        turn.say("stay_a")
        return
    if report.done and not report.holds:
        _done(turn, report)
        return
    one_side = asked == "sides" and _yes_or_no(reading) == "no" and not reading.holds
    if not one_side and _ask_missing(turn, report, rung, told):
        return
    shorter = "up_b" if move.kind == "up" else "stay_b"
    shorter = "back_c" if move.kind == "back" else shorter
    turn.say_composed(told, _follows(turn, report, move, reading), turn.words(shorter))


def _rung_in(ladder: Ladder, key: str) -> Rung | None:
    return ladder[key] if key in ladder else None  # noqa: SIM401  # a Ladder has no get


def _understood(turn: Turn, report: DayReport, rung: Rung | None, *, corrected: bool) -> str:
    language = turn.dossier.language
    leads = rung.sides if rung else ()
    told = understood(language, report.holds, report.steadiness, report.steadiness_by_side, leads)
    if report.day != turn.dossier.today(turn.now):
        weekday = weekday_name(report.day.weekday(), language)
        told = word("for_day", language).format(weekday=weekday, told=_lower(told))
    return f"{word('put_right', language)} {told}" if corrected else told


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _done(turn: Turn, report: DayReport) -> None:
    """Practised, without seconds: they are asked once, and the day counts as done."""
    if "done_ask" in turn.dossier.said:
        turn.say("done_kept")
        return
    if turn.dossier.state == State.ACTIVE:
        turn.ask("done_seconds", report.day)
    turn.say("done_ask")


def _ask_missing(turn: Turn, report: DayReport, rung: Rung, told: str) -> bool:
    """Ask one thing that is missing for the day to be judged. True when something was asked."""
    standing = turn.dossier.standing
    wanted = missing(report, rung, standing.settings.target_s) if standing else None
    lone = [hold.seconds for hold in report.holds if hold.side is None and hold.seconds]
    of_one_side = len(rung.sides) > 1 and len(lone) == 1 and len(report.holds) == 1
    if of_one_side and wanted in (None, "sides"):
        turn.ask("both_sides", report.day)
        turn.say("ask_both_sides", seconds=number(turn.dossier.language, lone[0]))
        return True
    if wanted is None:
        return False
    turn.ask(wanted, report.day)
    if wanted == "sides":
        has = {str(hold.side) for hold in report.holds}
        side = next((str(one) for one in rung.sides if str(one) not in has), "left")
        turn.say("ask_other_side", understood=told, side=word(side, turn.dossier.language))
    elif wanted == "seconds":
        name = "ask_seconds_sided" if len(rung.sides) > 1 else "ask_seconds"
        turn.say(name, understood=told)
    else:
        turn.say("ask_steadiness", understood=told)
    return True


def _follows(turn: Turn, report: DayReport, move: Move, reading: Reading) -> str:
    """The sentence that says what comes next."""
    if report.no_credit == HELD_ON or reading.support == "more":
        return turn.words("no_credit_support")
    if reading.unsafe:
        return turn.words("unsafe_any")
    if turn.held_for_now():
        return turn.words("hold_for_now")
    if move.kind == "up":
        return turn.words(turn_variant(turn, "up_far" if _far(turn, move) else "up_a"))
    if move.kind == "back":
        return turn.words(turn_variant(turn, "back_a"))
    if move.rule == "gate":
        return turn.words("gate")
    if move.rule == "other_rung":
        return turn.words("stay_a")
    if report.steadiness == "wobbly" and "stay_wobbly" not in turn.dossier.said:
        return turn.words("stay_wobbly")
    soon = steady_days_missing(move)
    if soon:
        return turn.words("stay_soon", steady_days=steady_days_words(turn, soon))
    return turn.words(turn_variant(turn, "stay_a"))


FAR_STEPS = 4


def _far(turn: Turn, move: Move) -> bool:
    standing = turn.dossier.standing
    if standing is None or move.from_key not in standing.ladder:
        return False
    ladder = standing.ladder
    return ladder.index(move.to_key) - ladder.index(move.from_key) >= FAR_STEPS


def steady_days_missing(move: Move) -> int:
    """How many more steady days a move up wants, as the rule says; 0 when it does not."""
    run, needed = move.facts.get("steady_days"), move.facts.get("steady_days_needed")
    if move.rule != "gathering" or not isinstance(run, int) or not isinstance(needed, int):
        return 0
    return max(needed - run, 0)


def steady_days_words(turn: Turn, count: int) -> str:
    name = "steady_day" if count == 1 else "steady_days"
    return word(name, turn.dossier.language).format(count=count)


VARIANTS = {
    "up_a": ("up_a", "up_b", "up_c"),
    "stay_a": ("stay_a", "stay_b", "stay_c"),
    "back_a": ("back_a", "back_b", "back_c"),
    "up_far": ("up_far",),
}


def turn_variant(turn: Turn, first: str) -> str:
    """One of a text's wordings, in turn, so that it is never the one of the last time."""
    names = VARIANTS[first]
    return names[len(turn.dossier.past) % len(names)]


def next_words(turn: Turn) -> str:
    """What comes next, by the client's own record: "2 more steady days and we go up a little"."""
    past = turn.dossier.past
    last = past[-1].move if past else None
    language = turn.dossier.language
    trainer = turn.dossier.trainer or word("your_trainer", language)
    if last is not None and last.rule in ("gate", "stuck"):
        return word("next_looks", language).format(trainer=trainer)
    soon = steady_days_missing(last) if last is not None else 0
    if soon:
        said = steady_days_words(turn, soon)
        return word("next_steady", language).format(steady_days=said)
    return word("next_when", language)


def days_practised(turn: Turn, today: date, days: int) -> tuple[int, int]:
    """How many of the last days had practice, and how many of them were steady."""
    standing = turn.dossier.standing
    practised = steady = 0
    for past in turn.dossier.past:
        report = past.report
        if report is None or standing is None or not 0 <= (today - past.day).days < days:
            continue
        if report.skipped or not (report.holds or report.done or report.steadiness):
            continue
        practised += 1
        if report.rung_key in standing.ladder:
            judged = judge_day(standing.ladder[report.rung_key], report, standing.settings.target_s)
            steady += judged.verdict == "steady"
    return practised, steady


WEEKS_LOOKED_AT_DAYS = 28
TOO_FEW_DAYS = 3


def progress_told(turn: Turn) -> None:
    """From their own record; too few days to say, or wobbly for weeks, are said as they are."""
    today = turn.dossier.today(turn.now)
    days, steady = days_practised(turn, today, WEEKS_LOOKED_AT_DAYS)
    if days < TOO_FEW_DAYS:
        turn.say("progress_few", days=days)
    elif steady * 2 < days:
        turn.tell("request", "Wobbly on most days, and asks about it: please look.")
        turn.say("progress_trainer", days=days)
    else:
        turn.say("progress", days=days, steady=steady, next=next_words(turn))
