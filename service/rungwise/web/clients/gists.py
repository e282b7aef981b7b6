"""What each fold of a client's page says in its line, so that most need not be opened. Pure."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from rungwise.carriers.phone import phone_shown
from rungwise.coach.record.progress import Progress
from rungwise.coach.record.situation import Situation
from rungwise.concepts.measures import Measures
from rungwise.store.queries.thread import MoveLine
from rungwise.store.tables import Audit, Client, ClientNote, Message
from rungwise.web.ui import labels
from rungwise.web.ui.templating import day

LONGEST = 90


@dataclass(frozen=True, slots=True)
class Gists:
    """One line a fold."""

    holds: str
    texts: str
    moves: str
    plan: str
    notes: str
    about: str
    changes: str


def holds(progress: Progress | None) -> str:
    if progress is None or not progress.days:
        return "none told yet"
    met = sum(min(one.by_side.values()) >= one.target_s for one in progress.days)
    days = labels.counted(len(progress.days), "day")
    return f"target met on {met} of {days} with a hold told"


def texts(client: Client, found: Sequence[Message], measures: Measures) -> str:
    if not found:
        return "none yet"
    last = found[-1]
    told = labels.TOLD_BY.get(last.kind, last.kind).lower()
    who = {"in": client.called, "told": told}.get(last.direction, f"to {client.called}")
    local = client_day(client, last, measures)
    return f"{local}, {who}: “{shortened(last.body)}”" if last.body else f"{local}, {who}"


def client_day(client: Client, message: Message, measures: Measures) -> str:
    local = message.created_at.astimezone(ZoneInfo(client.time_zone))
    return f"{day(local.date())} {measures.hour(local.time())}"


def moves(found: Sequence[MoveLine]) -> str:
    moved = next((line.move for line in found if line.move.kind != "stay"), None)
    if moved is None:
        return "none lately: every day stayed" if found else "none yet"
    return f"the latest {day(moved.local_date)}: {labels.MOVE[moved.kind].lower()}"


def plan(situation: Situation | None) -> str:
    if situation is None:
        return "none yet"
    settings = situation.settings
    days = labels.weekdays(settings.weekdays)
    hour = situation.practice.measures.hour(settings.prompt_at)
    said = f"{days} at {hour}; hold {settings.target_s} s"
    return f"{said}; {settings.caution.name} caution"


def notes(found: Sequence[tuple[ClientNote, str]]) -> str:
    return f"the latest: “{shortened(found[0][0].body)}”" if found else "none yet"


def about(client: Client) -> str:
    language = labels.LANGUAGE.get(client.language, client.language)
    return f"{phone_shown(client.phone)}; {language}; {client.time_zone.replace('_', ' ')} time"


def changes(
    found: Sequence[tuple[Audit, str | None]], named: Callable[[str], str], zone: str
) -> str:
    if not found:
        return "none yet"
    line, who = found[0]
    what = labels.change_words(line.action, line.detail, named)[0].rstrip(".").lower()
    at = line.at.astimezone(ZoneInfo(zone)).date()
    return f"the latest {day(at)}: {what}, by {who or 'the service'}"


def shortened(words: str) -> str:
    """The first words, on one line."""
    line = " ".join(words.split())
    return line if len(line) <= LONGEST else f"{line[:LONGEST].rsplit(' ', 1)[0]}…"
