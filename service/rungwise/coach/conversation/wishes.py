"""Wishes: what only makes practice gentler or quieter is done at once; the rest is the trainer's.

"Back", "away", "easier", "another hour" end no hold, no question and no rest.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, time, timedelta

from rungwise.coach.conversation.dossier import Dossier, Standing
from rungwise.coach.conversation.effects import Say, SetPlan
from rungwise.coach.conversation.result import next_words, progress_told
from rungwise.coach.conversation.turn import Turn
from rungwise.coach.record.codec import PlanSettings
from rungwise.concepts.client_states import State
from rungwise.concepts.measures import Measures
from rungwise.ladder.rungs import Rung
from rungwise.reply.reading import Ask, Context, Reading
from rungwise.ticks.due import next_due
from rungwise.wording.dates import date_words, hour_words
from rungwise.wording.rung_words import rung_text
from rungwise.wording.texts import weekday_name

# A client may ask for so long without texts; longer is the trainer's to set.
MOST_AWAY_DAYS = 28
A_WEEK = 7
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

Handler = Callable[[Turn, Reading], None]


def wished(turn: Turn, reading: Reading, context: Context) -> bool:
    """Do or pass on what the client asks for. True when there was a wish."""
    if context.asked == "away_until" and (reading.wish_until or reading.answer or reading.yes_no):
        turn.answered("away_until")
        _away(turn, reading)
        return True
    if context.asked == "hour" and reading.wish_time:
        turn.answered("hour")
        _another_hour(turn, reading)
        return True
    # News of being back is no wish of somebody who is not away.
    asks = [ask for ask in reading.asks if ask != "back" or _is_away(turn) or turn.held_for_now()]
    if not asks:
        return False
    HANDLERS[asks[0]](turn, reading)
    for other in asks[1:]:
        turn.tell("request", f"The client also asks: {_plain(other)}.")
    return True


def _plain(ask: str) -> str:
    return ask.replace("_", " ")


def _settings(turn: Turn) -> PlanSettings | None:
    return turn.dossier.standing.settings if turn.dossier.standing else None


def _is_away(turn: Turn) -> bool:
    return turn.dossier.away_on(turn.dossier.today(turn.now))


def _next_date(turn: Turn, after: date | None = None) -> date:
    """The date of the next prompt, as the plan has it now."""
    settings, dossier = _settings(turn), turn.dossier
    today = dossier.today(turn.now)
    if settings is None:
        return today + timedelta(days=1)
    done = dossier.prompt.day if dossier.prompt else None
    due = next_due(
        turn.now,
        dossier.zone,
        settings.prompt_at,
        settings.weekdays,
        away=settings.away,
        quiet=dossier.quiet,
        after_date=max((day for day in (done, after) if day), default=None),
    )
    return due.local_date if due else today + timedelta(days=1)


def next_day(turn: Turn) -> str:
    """The weekday of the next prompt, in the client's words."""
    return weekday_name(_next_date(turn).weekday(), turn.dossier.language)


def _another_hour(turn: Turn, reading: Reading) -> None:
    settings, dossier = _settings(turn), turn.dossier
    if reading.wish_time is None or settings is None:
        turn.ask("hour", dossier.today(turn.now))
        turn.tell("request", "The client asks for another hour; which one was asked.")
        turn.say("hour_ask")
        return
    at = time.fromisoformat(reading.wish_time)
    hour = Measures(clock=dossier.clock or 24).hour(at)
    if dossier.quiet.covers(at):
        language = dossier.language
        begins, ends = (
            hour_words(dossier.quiet.ends, language, dossier.clock),
            hour_words(dossier.quiet.begins, language, dossier.clock),
        )
        turn.tell("request", f"The client asks for {hour}, outside texting hours.")
        turn.say("hour_outside", **{"from": begins, "until": ends})
        return
    turn.do(SetPlan(replace(settings, prompt_at=at)))
    turn.tell("request", f"Done for the client: texts come at {hour} from now on.")
    day = next_day(turn)
    turn.say("hour_set", day=day, hour=hour_words(at, dossier.language, dossier.clock))


def _other_days(turn: Turn, reading: Reading) -> None:
    language = turn.dossier.language
    names = [weekday_name(WEEKDAYS.index(day), language) for day in reading.wish_days]
    days = ", ".join(names) or "other days"
    turn.tell("request", f"The client asks for other days: {days}.")
    turn.say("days_asked", days=days)


def _later_today(turn: Turn, _reading: Reading) -> None:
    turn.say("later_today")


def _away(turn: Turn, reading: Reading) -> None:
    """No texts from-to, at most 28 days; without a date it is asked for, then a week is taken."""
    settings, dossier = _settings(turn), turn.dossier
    today = dossier.today(turn.now)
    if settings is None:
        turn.tell("request", "The client will be away.")
        turn.say("news_kept")
        return
    first = date.fromisoformat(reading.wish_from) if reading.wish_from else today
    back = date.fromisoformat(reading.wish_until) if reading.wish_until else None
    asked = "away_ask" in dossier.said
    if back is None and not asked and not reading.wish_from:
        turn.ask("away_until", today)
        turn.tell("request", "The client will be away; until when was asked.")
        turn.say("away_ask")
        return
    name = "away_set" if first <= today else "away_from"
    if back is None or back <= first:
        back, name = first + timedelta(days=A_WEEK), "away_week"
    longest = first + timedelta(days=MOST_AWAY_DAYS)
    if back > longest:
        back, name = longest, "away_long"
    away = (first, back - timedelta(days=1))
    changed = replace(
        settings,
        away=tuple(sorted({*settings.away, away})),
        wished_away=tuple(sorted({*settings.wished_away, away})),
    )
    turn.do(SetPlan(changed))
    turn.tell("request", f"Away by their own wish: no texts from {first} until {back}.")
    language = dossier.language
    values = {"date": date_words(back, language), "from": date_words(first, language)}
    turn.say(name, **values, until=values["date"])


def _back(turn: Turn, _reading: Reading) -> None:
    """Back ends only a time away that the client asked for; never a rest, a hold or a doubt."""
    dossier, settings = turn.dossier, _settings(turn)
    if turn.held_for_now() or dossier.state == State.PAUSED or settings is None:
        turn.line("The client says they are back. Practice still rests.", "request")
        turn.safety("back_held")
        return
    today = dossier.today(turn.now)
    ended = [one for one in settings.wished_away if one[0] <= today <= one[1]]
    if not ended:
        turn.tell("request", "The client says they are back; the time away is one that you set.")
        turn.safety("back_held")
        return
    left = tuple(one for one in settings.away if one not in ended)
    kept = [(first, today - timedelta(days=1)) for first, _ in ended if first < today]
    wished = tuple(one for one in settings.wished_away if one not in ended)
    changed = replace(
        settings, away=tuple(sorted({*left, *kept})), wished_away=tuple(sorted({*wished, *kept}))
    )
    turn.do(SetPlan(changed))
    turn.tell("request", "Back from their time away, by their own word.")
    turn.say("back_set", day=next_day(turn))


def _easier(turn: Turn, _reading: Reading) -> None:
    """An easier rung for today, without a move; at the lowest, leave it."""
    dossier, standing = turn.dossier, turn.dossier.standing
    rung = dossier.rung_asked(turn.now)
    turn.tell("request", "The client asks for an easier one today.")
    if standing is None or rung is None:
        turn.say("too_hard")
        return
    place = standing.ladder.index(rung.key)
    if place == 0:
        turn.say("easier_lowest")
        return
    easier = standing.ladder.rungs[place - 1]
    task = _told(dossier, standing, easier)
    turn.do(Say("easier_set", turn.words("easier_set", task=task), rung_key=easier.key))


def _told(dossier: Dossier, standing: Standing, rung: Rung) -> str:
    return rung_text(rung, standing.body, standing.telling, dossier.language)


def _harder(turn: Turn, _reading: Reading) -> None:
    turn.tell("request", "The client asks for a harder one. Nothing was moved for it.")
    turn.say("harder_no", next=next_words(turn))


def _call_me(turn: Turn, _reading: Reading) -> None:
    turn.tell("call_me", "The client asks you to call.")
    turn.say("call_me")


def _repeat(turn: Turn, _reading: Reading) -> None:
    task_again(turn, "The client asked for the task again, and got it.")


def task_again(turn: Turn, did: str) -> None:
    """Send today's task again, where the client may practise and is on the rung it asked for."""
    dossier, standing, rung = turn.dossier, turn.dossier.standing, turn.dossier.rung
    asked = dossier.day_of_reply(turn.now)[1]
    here = rung is not None and asked == rung.key
    if standing is not None and rung is not None and asked in standing.kept_up_keys:
        rung, here = standing.ladder[asked], True
    if standing is None or rung is None or not here or dossier.state != State.ACTIVE:
        turn.tell("request", "The client asks for the task; none was sent.")
        turn.say("question_kept")
        return
    turn.tell("request", did)
    task = _told(dossier, standing, rung)
    turn.do(Say("task_again", turn.words("task_again", task=task), rung_key=rung.key))


def _picture(turn: Turn, _reading: Reading) -> None:
    rung = turn.dossier.rung
    asked = turn.dossier.day_of_reply(turn.now)[1]
    # The link shows the rung they are on, which is not always what the day's text asks for.
    if turn.dossier.picture and rung is not None and asked in (None, rung.key):
        turn.tell("request", "The client asked for a picture, and got the link.")
        turn.say("picture", link=turn.dossier.picture)
        return
    turn.tell("request", "The client asks for a picture.")
    turn.say("picture_asked")


def _progress(turn: Turn, _reading: Reading) -> None:
    turn.tell("request", "The client asked how they are doing, and was told from their record.")
    progress_told(turn)


def _who(turn: Turn, _reading: Reading) -> None:
    turn.say("who")


def _new_number(turn: Turn, _reading: Reading) -> None:
    turn.tell("request", "The client writes of a new number: confirm it before texts go there.")
    turn.say("number_asked")


def _how_to(turn: Turn, _reading: Reading) -> None:
    task_again(turn, "The client asked how to do it, and got the task again.")


HANDLERS: Mapping[Ask, Handler] = {
    "another_hour": _another_hour,
    "other_days": _other_days,
    "later_today": _later_today,
    "away": _away,
    "back": _back,
    "easier": _easier,
    "harder": _harder,
    "call_me": _call_me,
    "repeat": _repeat,
    "picture": _picture,
    "how_to": _how_to,
    "progress": _progress,
    "who": _who,
    "new_number": _new_number,
}
