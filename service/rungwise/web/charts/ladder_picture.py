"""The ladder of a client drawn: landmarks, gates, ceiling, the rung they are on, the way so far.

Left, the way over time; right, the ladder of the present ground, hardest on top. Presentation
attributes only, in the page's own ink, so that a strict content security policy can hold it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from html import escape

from markupsafe import Markup

from rungwise.coach.record.situation import Situation
from rungwise.concepts.measures import Lengths
from rungwise.ladder.progression import PastDay
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.wording.rung_words import rung_short

WIDTH = 284
PATH_LEFT, PATH_RIGHT = 2, 64
RAIL_LEFT, RAIL_RIGHT = 76, 98
WORDS_AT = 106
STEP, NAMED, EDGE = 3.6, 18.0, 24.0
FONT = 13
WEEKS = 8


@dataclass(frozen=True, slots=True)
class Drawn:
    """The picture, and the same in sentences."""

    svg: Markup
    sentences: tuple[str, ...]


def draw_ladder(situation: Situation, history: Sequence[PastDay], today: date) -> Drawn | None:
    """The part of the ladder on the client's present ground; None off the ladder."""
    key = situation.placement.rung_key
    if key not in situation.ladder:
        return None
    sheet = _Sheet(situation, history, today)
    sentences = tuple(in_words(situation))
    about = f"<title>The ladder</title><desc>{escape(' '.join(sentences))}</desc>"
    svg = (
        f'<svg class="ladder" role="img" viewBox="0 0 {WIDTH} {sheet.height:.0f}" '
        f'font-size="{FONT}">{about}{"".join(sheet.parts())}</svg>'
    )
    return Drawn(Markup(svg), sentences)  # noqa: S704  # numbers and escaped words of ours


def in_words(situation: Situation) -> Iterator[str]:
    """Where the client is, and what lies below and above, as the drawing shows it."""
    ladder, key = situation.ladder, situation.placement.rung_key
    place, named = ladder.index(key), partial(short, lengths=situation.lengths)
    yield f"Rung {place + 1} of {len(ladder)}."
    below = [rung for rung in ladder.rungs[:place] if rung.landmark]
    if below:
        yield f"Last landmark passed: {named(below[-1])}."
    above = [(at, rung) for at, rung in enumerate(ladder.rungs) if at > place]
    landmark = next(((at, rung) for at, rung in above if rung.landmark), None)
    if landmark:
        yield f"Next landmark: {named(landmark[1])}, {_up(landmark[0] - place)}."
    gate = next(
        ((at, rung.gate) for at, rung in above if rung.gate and _closed(situation, rung)), None
    )
    if gate:
        yield f"Next closed gate: {str(gate[1]).replace('_', ' ')}, {_up(gate[0] - place)}."
    if situation.plan_row.profile["limits"]["ceiling_key"]:
        yield f"Ceiling: {named(ladder.rungs[-1])}."


def short(rung: Rung, lengths: Lengths) -> str:
    """A landmark's name in a few words, without what the hands do."""
    return rung_short(rung, lengths=lengths).rpartition(",")[0]


def _named(rung: Rung, lengths: Lengths) -> str:
    """A landmark's name without the trade's word for it: the rail is narrow."""
    return short(rung, lengths).partition(" (")[0]


def _up(rungs: int) -> str:
    return "one rung up" if rungs == 1 else f"{rungs} rungs up"


def _closed(situation: Situation, rung: Rung) -> bool:
    return rung.gate not in situation.settings.open_gates


class _Sheet:
    """Works out where everything goes, from the bottom rung of the ground upwards."""

    def __init__(self, situation: Situation, history: Sequence[PastDay], today: date) -> None:
        self.situation = situation
        self.here = situation.rung
        self.ladder: Ladder = situation.ladder
        self.rungs = [rung for rung in self.ladder.rungs if rung.round == self.here.round]
        self.history = history
        self.today = today
        self.begin = today - timedelta(weeks=WEEKS)
        heights: dict[str, float] = {}
        at = EDGE
        for rung in self.rungs:
            named = self._is_named(rung)
            at += NAMED / 2 if named else STEP / 2
            heights[rung.key] = at
            at += NAMED / 2 if named else STEP / 2
        self.height = at + EDGE
        self.y = {key: self.height - up for key, up in heights.items()}

    def _is_named(self, rung: Rung) -> bool:
        return bool(rung.landmark or rung.gate or rung.key == self.here.key)

    def parts(self) -> Iterator[str]:
        top, low = EDGE - 8, self.height - EDGE + 8
        for x in (RAIL_LEFT, RAIL_RIGHT):
            yield _line(x, top, x, low, 2)
        for rung in self.rungs:
            yield from self._rung(rung)
        yield from self._ends(top)
        yield from self._way()

    def _rung(self, rung: Rung) -> Iterator[str]:
        y = self.y[rung.key]
        here = rung.key == self.here.key
        landmark = bool(rung.landmark)
        if landmark:
            faint = 'stroke-opacity="0.18"'
            yield _line(PATH_LEFT, y, RAIL_LEFT, y, 1, faint)
        yield _line(RAIL_LEFT, y, RAIL_RIGHT, y, 3 if landmark else 1)
        if rung.gate and _closed(self.situation, rung):
            yield _line(RAIL_LEFT - 9, y + 7, RAIL_RIGHT + 9, y + 7, 4)
        if here:
            left, right = RAIL_LEFT - 3, RAIL_RIGHT + 3
            yield (
                f'<path d="M{left} {y - 7:.1f}H{right}L{right + 9} {y:.1f}'
                f'L{right} {y + 7:.1f}H{left}Z" fill="currentColor"/>'
            )
        if self._is_named(rung):
            yield self._name(rung, y, here=here)

    def _name(self, rung: Rung, y: float, *, here: bool) -> str:
        if here:
            named = _named(rung, self.situation.lengths).lower()
            name = f"Now: {named}" if rung.landmark else "Now"
            return _words(name, WORDS_AT + 6, y, 'font-weight="700"')
        if rung.landmark:
            return _words(_named(rung, self.situation.lengths), WORDS_AT, y)
        state = "closed" if _closed(self.situation, rung) else "open"
        name = str(rung.gate).replace("_", " ")
        return _words(f"Gate: {name}, {state}", WORDS_AT, y, 'font-style="italic"')

    def _ends(self, top: float) -> Iterator[str]:
        """The ceiling if it is on this ground, else what comes after it."""
        after = self.ladder.above(self.rungs[-1].key)
        if after is not None:
            yield _words(f"Then: {_ground(after)}", WORDS_AT, top + 2, 'fill-opacity="0.8"')
        elif self.situation.plan_row.profile["limits"]["ceiling_key"]:
            yield _line(RAIL_LEFT - 12, top - 4, RAIL_RIGHT + 12, top - 4, 2)
            yield _line(RAIL_LEFT - 12, top, RAIL_RIGHT + 12, top, 2)
            yield _words("Ceiling", WORDS_AT + 6, top, 'font-style="italic"')

    def _way(self) -> Iterator[str]:
        """The way over the last weeks, one step for each day that moved the client."""
        places = [(past.day, past.move.to_key) for past in self.history]
        before = [key for day, key in places if day < self.begin]
        within = [(day, key) for day, key in places if day >= self.begin]
        at = self._level(before[-1]) if before else None
        points: list[tuple[float, float]] = [] if at is None else [(PATH_LEFT, at)]
        for day, key in within:
            x, y = self._x(day), self._level(key)
            if points and points[-1][1] != y:
                points.append((x, points[-1][1]))
            if not points or points[-1] != (x, y):
                points.append((x, y))
        points.append((PATH_RIGHT, self._level(self.here.key)))
        line = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        look = 'class="climbed" fill="none" stroke="currentColor" stroke-width="2"'
        yield f'<polyline points="{line}" {look}/>'
        low = self.height - 6
        small = f'font-size="{FONT - 2}" fill-opacity="0.8"'
        yield _words(f"{self.begin:%-d %b}", PATH_LEFT, low, small)
        yield _words("today", PATH_RIGHT, low, f'{small} text-anchor="end"')

    def _x(self, day: date) -> float:
        gone = (day - self.begin).days / (7 * WEEKS)
        return PATH_LEFT + gone * (PATH_RIGHT - PATH_LEFT)

    def _level(self, key: str) -> float:
        """Where a rung is; one on other ground, or off the ladder now, at this one's edge."""
        if key in self.y:
            return self.y[key]
        first = self.ladder.index(self.rungs[0].key)
        easier = key not in self.ladder or self.ladder.index(key) < first
        return self.height - EDGE + 4 if easier else EDGE - 4


def _ground(rung: Rung) -> str:
    words = {"mat": "on the mat", "half_foam": "on half foam", "firm": "on firm ground"}
    return words[rung.surface]


def _line(x1: float, y1: float, x2: float, y2: float, width: float, more: str = "") -> str:
    where = f'x1="{x1:g}" y1="{y1:.1f}" x2="{x2:g}" y2="{y2:.1f}"'
    return f'<line {where} stroke="currentColor" stroke-width="{width:g}" {more}/>'


def _words(text: str, x: float, y: float, more: str = "") -> str:
    return f'<text x="{x:g}" y="{y + 4.5:.1f}" fill="currentColor" {more}>{escape(text)}</text>'
