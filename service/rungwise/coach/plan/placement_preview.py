"""Before a trainer places a client: what the change would pass over, and what would follow it."""

from dataclasses import dataclass

from sqlmodel import Session

from rungwise.coach.conversation.day_text import is_first_day
from rungwise.coach.daily.schedule import prompt_body
from rungwise.coach.record.picture_link import sample_link
from rungwise.coach.record.situation import Situation, last_prompt, past
from rungwise.errors import ServiceError
from rungwise.ladder.absence import override_move
from rungwise.ladder.explain import explain_next
from rungwise.ladder.moves import PastDay
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.wording.segments import Segments, segments

MOST_LANDMARKS_AT_ONCE = 1


class ManyLandmarks(ServiceError):
    """This goes up past more than one landmark. Tick the box that says you mean it."""


@dataclass(frozen=True, slots=True)
class Preview:
    """What placing the client on `rung` would mean.

    `text` is exactly what the client would get next; `next_step` what the rule would then do;
    `gates` those it would open; `landmarks` those it goes up by, lowest first.
    """

    rung: Rung
    text: str
    size: Segments
    next_step: str
    gates: tuple[str, ...]
    landmarks: tuple[Rung, ...]
    upward: bool

    @property
    def needs_second_look(self) -> bool:
        return len(self.landmarks) > MOST_LANDMARKS_AT_ONCE


def preview(session: Session, situation: Situation, to_key: str) -> Preview:
    """The preview of one placement; KeyError if the ladder has no such rung."""
    ladder, settings = situation.ladder, situation.settings
    rung = ladder[to_key]
    here = situation.placement.rung_key
    place = ladder.index(to_key)
    gates = {one.gate for one in ladder.rungs[: place + 1] if one.gate} - settings.open_gates
    history = past(session, situation.client_id)
    plan = settings.plan(resting=False)
    move = override_move(plan, history, here, to_key, "")
    day = history[-1].day if history else situation.placement.since
    after = [*history, PastDay(day=day, report=None, move=move)]
    last = last_prompt(session, situation.client_id)
    first_day = is_first_day(last.rung_key if last else None, rung.key)
    text = prompt_body(session, situation, rung, sample_link(situation), first_day=first_day)
    return Preview(
        rung=rung,
        text=text,
        size=segments(text),
        next_step=explain_next(ladder, plan, after, to_key),
        gates=tuple(sorted(str(gate) for gate in gates)),
        landmarks=landmarks_up(ladder, here, to_key),
        upward=here in ladder and place > ladder.index(here),
    )


def landmarks_up(ladder: Ladder, from_key: str, to_key: str) -> tuple[Rung, ...]:
    """The landmarks above `from_key` up to and with `to_key`, lowest first; none downward."""
    start = ladder.index(from_key) if from_key in ladder else -1
    between = ladder.rungs[start + 1 : ladder.index(to_key) + 1]
    return tuple(rung for rung in between if rung.landmark)


def check_second_look(situation: Situation, to_key: str, *, meant: bool) -> None:
    """Refuse going up more than one landmark unless the trainer has confirmed it."""
    if to_key not in situation.ladder or meant:
        return
    passed = landmarks_up(situation.ladder, situation.placement.rung_key, to_key)
    if len(passed) > MOST_LANDMARKS_AT_ONCE:
        raise ManyLandmarks
