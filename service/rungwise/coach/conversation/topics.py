"""Fixed answers to questions, and the rest for the trainer; news of a client's life."""

from rungwise.coach.conversation.result import next_words, progress_told
from rungwise.coach.conversation.turn import Turn
from rungwise.coach.conversation.wishes import task_again
from rungwise.reply.reading import Reading
from rungwise.wording.catalogue import CATALOGUE
from rungwise.wording.texts import weekday_name, word

EVERY_DAY = 7


def fixed_answer(turn: Turn, reading: Reading) -> None:
    """Answer a question whose answer is fixed; it is a note for the trainer all the same."""
    topic = reading.topic
    if topic is None:
        _for_the_trainer(turn, reading)
        return
    asked = CATALOGUE[topic].when.strip('"')
    turn.tell("request", f"The client asked about: {asked}. The fixed answer was sent.")
    standing, language = turn.dossier.standing, turn.dossier.language
    if topic == "progress":
        progress_told(turn)
    elif topic == "why_easy":
        turn.say("why_easy", next=next_words(turn))
    elif topic == "how_foot":
        _which_foot(turn)
    elif topic == "how_often":
        days = standing.settings.weekdays if standing else frozenset(range(EVERY_DAY))
        names = [weekday_name(day, language) for day in sorted(days)]
        every = len(names) == EVERY_DAY
        turn.say(topic, days=word("every_day", language) if every else ", ".join(names))
    else:
        turn.say(topic, target_s=standing.settings.target_s if standing else "")


def _which_foot(turn: Turn) -> None:
    rung, language = turn.dossier.rung_asked(turn.now), turn.dossier.language
    if rung is None or not rung.sides:
        task_again(turn, "The client asked which foot, and got the task again.")
        return
    side = word(str(rung.sides[0]), language)
    where = word("standing" if rung.free_foot else "in_front", language)
    turn.say("how_foot", side=side, where=where)


def _for_the_trainer(turn: Turn, reading: Reading) -> None:
    """Keep a question for the trainer; about today's stance, send the task again."""
    if reading.about_task:
        task_again(turn, "The client got the task again, and was told that you have the question.")
        return
    repeated = "question_kept" in turn.dossier.said
    urgency = "today" if repeated else None
    turn.tell("request", "The client was told that you have the question.", urgency)
    turn.say("resting_thanks" if repeated and turn.held_for_now() else "question_kept")


def news_told(turn: Turn, reading: Reading) -> bool:
    """News of loss or of the home. Health and despair are signs. True when there was any."""
    if reading.news == "loss":
        turn.tell("life_news", "Somebody close has died. The client was told they need not reply.")
        turn.say("news_loss")
    elif reading.news == "home":
        turn.tell("life_news", "Something about the home, or about doing it alone.")
        turn.say("news_home")
    else:
        return False
    return True
