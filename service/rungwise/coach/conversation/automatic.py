"""A machine at the other end that answers every text, noticed by how much it writes.

Somebody's auto-reply may look like anything, so what counts is how many texts came and how alike
they are. It is then answered no more until it writes less. Signs of harm are heard and paged as
ever, because a person may write from the same phone.
"""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from rungwise.coach.conversation.dossier import Dossier, Lately
from rungwise.coach.conversation.effects import Ask, Become, Effects, Say, Step, Tell
from rungwise.coach.conversation.turn import Turn
from rungwise.concepts.alert_kinds import ALERTS, RESTING_KINDS, Urgency
from rungwise.concepts.client_states import State
from rungwise.concepts.questions import SAFETY

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
# More than anybody writes, in one telling of a fall too. Common practice, no source.
MOST_IN_AN_HOUR, MOST_IN_A_DAY = 20, 60
# The same words so often within an hour, figures aside, where they are more than a yes or a hello.
MOST_ALIKE, SHORTEST_ALIKE = 5, 12
_UNTEXTED = (State.STOPPED, State.INVITED)
KIND = "auto_answers"
DID = (
    "So many texts came from this phone, or the same so often, as only a machine sends. They are "
    "kept and no longer answered, and no day is taken from them, until fewer come. Signs of harm "
    "are still heard. Please call and ask what answers on this phone."
)
_NO_LETTERS = re.compile(r"[\W\d_]+")


def automatic(lately: Lately | None) -> bool:
    """Whether a machine seems to write."""
    if lately is None:
        return False
    many = lately.in_hour > MOST_IN_AN_HOUR or lately.in_day > MOST_IN_A_DAY
    return many or lately.alike > MOST_ALIKE


def lately(
    heard: Sequence[tuple[datetime, str]], said: Iterable[tuple[datetime, str]], now: datetime
) -> Lately:
    """What these texts in, with their words, and ours, with their names, come to by now."""
    within = [words for at, words in heard if now - at < HOUR]
    bare = Counter(_NO_LETTERS.sub(" ", words.casefold()).strip() for words in within)
    return Lately(
        in_hour=len(within),
        in_day=sum(now - at < DAY for at, _ in heard),
        alike=max((n for words, n in bare.items() if len(words) >= SHORTEST_ALIKE), default=0),
        said=frozenset(name for at, name in said if now - at < HOUR),
    )


def to_a_machine(dossier: Dossier, effects: Effects) -> Effects:
    """These effects as they are where a machine seems to write.

    Of harm and STOP everything is kept, but each text is said once an hour and an open alert pages
    at its own pace. Of all else nothing is; the trainer is told once, and the client once a day.
    """
    turn = Turn(dossier, effects.at)
    if any(_grave(step) for step in effects.steps):
        for step in effects.steps:
            _calmly(turn, dossier, step)
        return turn.effects()
    if dossier.alert(KIND) is None:
        turn.tell(KIND, DID)
    if "many_texts" not in dossier.said and dossier.state not in _UNTEXTED:
        turn.safety("many_texts")
    return turn.effects()


def _grave(step: Step) -> bool:
    match step:
        case Tell(kind, _, urgency, _):
            urgency = urgency or ALERTS[kind].urgency
            return urgency == Urgency.URGENT or (kind in RESTING_KINDS and urgency != Urgency.NOTE)
        case Ask(kind, _):
            return kind in SAFETY
        case Become(state, _):
            return state == State.STOPPED
    return False


def _calmly(turn: Turn, before: Dossier, step: Step) -> None:
    if isinstance(step, Say) and before.lately is not None and step.name in before.lately.said:
        return
    if isinstance(step, Tell):
        opened = before.alert(step.kind)
        if opened is not None and opened.urgency == Urgency.URGENT:
            step = replace(step, urgency=str(Urgency.TODAY), anew=False)
    turn.do(step)
