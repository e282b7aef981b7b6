"""The progress summary put into words and pictures, once, for the page and for the PDF."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from textwrap import wrap
from typing import Any

from rungwise.coach.enrolment.baseline import LANDMARK_WORDS
from rungwise.coach.reports.summary import Sign, Summary
from rungwise.coach.reviews.retests import Result
from rungwise.evidence import kind_of
from rungwise.evidence.sources import ARAUJO_2022
from rungwise.ladder.palette import Theme
from rungwise.ladder.rungs import Rung
from rungwise.web.charts.family_pictures import Stair, at_one_scale, days_grid, stairs
from rungwise.web.ui import labels
from rungwise.wording.rung_words import (
    rung_cautions,
    rung_picture,
    rung_short,
    rung_stand,
)
from rungwise.wording.summary_words import date_words, summary_words, told_lines

# How many letters of a landmark's name stand under one of its stairs.
LETTERS_A_STAIR = 13
NOT_PRACTISING = {
    "resting": "Resting now: no practice until the trainer says so.",
    "paused": "Texts are paused by the trainer.",
    "stopped": "Has ended the texts.",
    "invited": "Has not begun yet.",
}
# Who reads this later must know what it rests on.
WHAT_IT_RESTS_ON = (
    "Days, seconds and how steady it was are what the client told by text, not measurements; "
    "retests were done by the trainer. Published figures are for comparison. This is not a "
    "diagnosis."
)


@dataclass(frozen=True, slots=True)
class Picture:
    """A rung on the page: what it stands for, its words, and the drawing as SVG."""

    name: str
    caption: str
    drawing: str


@dataclass(frozen=True, slots=True)
class RetestLine:
    """One retest: when, what, the result, and published figures with whose they are."""

    when: str
    test: str
    result: str
    beside: tuple[str, ...]


def in_short(summary: Summary) -> tuple[str, ...]:
    """The whole summary in a few sentences, for a colleague in a hurry."""
    asked = sum(week.asked for week in summary.weeks)
    share = f" ({summary.share:.0%})" if summary.share is not None else ""
    lines = [
        f"Practised on {summary.practised} of {labels.counted(summary.planned, 'planned day')}"
        f"{share}, steady to target on {summary.steady}. "
        f"A text went on {labels.counted(asked, 'day')}."
    ]
    lines.append(_way(summary))
    lines.append(_signs_in_short(summary))
    if summary.client.state in NOT_PRACTISING:
        lines.append(NOT_PRACTISING[summary.client.state])
    return tuple(lines)


def _way(summary: Summary) -> str:
    began, now = summary.began_on, summary.now_on
    if began is None or now is None:
        return "The rungs of this time are no longer on the ladder."
    steps = summary.ladder.index(now.key) - summary.ladder.index(began.key)
    if steps == 0:
        way = f"On the rung they began on: {rung_short(now, lengths=summary.lengths)}."
    else:
        named = partial(rung_short, lengths=summary.lengths)
        how = "harder" if steps > 0 else "easier"
        way = (
            f"From {_lower(named(began))} to {_lower(named(now))}: "
            f"{labels.counted(abs(steps), 'rung')} {how}."
        )
    names = [LANDMARK_WORDS.get(rung.landmark or "", "") for rung in summary.landmarks]
    reached = ", ".join(dict.fromkeys(name for name in names if name))
    return f"{way} Landmarks newly stood on: {reached}." if reached else way


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _signs_in_short(summary: Summary) -> str:
    told = (("falls", summary.falls), ("pain", summary.pains), ("dizziness", summary.dizzy))
    if not any(days for _, days in told):
        return "No fall, no pain and no dizziness was told."
    parts = [
        f"{name} {len(days)} ({_days(days)})" if days else f"{name} none" for name, days in told
    ]
    return f"Told: {'; '.join(parts)}."


def _days(days: Sequence[date]) -> str:
    shown = ", ".join(f"{day:%-d %b}" for day in days[-4:])
    return f"… {shown}" if len(days) > 4 else shown


def pictures(summary: Summary, theme: Theme) -> tuple[Picture, ...]:
    """The rung at the beginning, the hardest since, and the one now: each once."""
    named = (
        ("At the beginning", summary.began_on),
        ("Hardest since", summary.best),
        ("Now", summary.now_on),
    )
    found: dict[str, tuple[str, Rung]] = {}
    for name, rung in named:
        if rung is not None:
            before = f"{found[rung.key][0]}; " if rung.key in found else ""
            found[rung.key] = (before + (name if not before else _lower(name)), rung)
    body, lengths = summary.ladder.body, summary.lengths
    return tuple(
        Picture(
            name,
            rung_short(rung, lengths=lengths),
            rung_picture(rung, body, theme=theme, lengths=lengths) if body else "",
        )
        for name, rung in found.values()
    )


def sign_line(sign: Sign) -> tuple[str, str, str]:
    """Date, kind and what the trainer did about it."""
    return f"{sign.day:%-d %b}", labels.kind_words(sign.kind), sign.done or "not handled yet"


def retest_lines(results: Sequence[Result]) -> tuple[RetestLine, ...]:
    """Each retest with a flagged finding or a norm, and the change since the last one."""
    return tuple(_retest_line(result) for result in results)


def _retest_line(result: Result) -> RetestLine:
    retest, scored = result.retest, result.scored
    value, unit = retest.score["value"], retest.score["unit"]
    sex = retest.sex
    findings = scored.findings(retest.age, sex)  # type: ignore[arg-type]  # stored from a Sex
    norms = scored.norms(retest.age, sex)  # type: ignore[arg-type]  # stored from a Sex
    # Paper that may reach the client says nothing of deaths.
    told = [one for one in findings if one.flag and one.source is not ARAUJO_2022]
    beside = [f"{one.says} ({one.source})" for one in told]
    # A flagged finding names the figure it stands beside.
    beside = beside or [f"{one.words}: {one.value:g} {one.unit} ({one.source})" for one in norms]
    # The same for what changed: the figures, not why the line is drawn.
    changed = [] if result.changed is None else [result.changed.says]
    shown = unit if value is None else f"{value:g} {unit}"
    when = f"{retest.day:%-d %b %Y}"
    return RetestLine(when, kind_of(retest.kind).title, shown, (*beside[:1], *changed))


# --- the client's own version ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ForClient:
    """Everything of the plain version, in the client's language."""

    language: str
    title: str
    name: str
    period: str
    practice: tuple[str, ...]
    resting: str
    pictures: tuple[Picture, ...]
    pictures_title: str
    way_title: str
    way: str
    days_title: str
    days: str
    days_key: str
    next_title: str
    next: str
    told: tuple[str, ...]
    mind_title: str
    mind: tuple[str, ...]
    words_title: str
    words: str
    foot: str


def for_client(summary: Summary, theme: Theme) -> ForClient:
    """The plain version. Who rests is shown no task to do."""
    language = summary.client.language
    said = summary_words(language)
    resting = summary.client.state == "resting"
    now = summary.now_on
    return ForClient(
        language=language,
        title=said["title"],
        name=said["name"].format(name=summary.client.called),
        period=said["period"].format(
            first=date_words(summary.first, language), last=date_words(summary.last, language)
        ),
        practice=(
            said["practised"].format(done=summary.practised, planned=summary.planned),
            said["steady"].format(steady=summary.steady),
        ),
        resting=said["resting"] if resting else "",
        pictures=_client_pictures(summary, theme, resting=resting),
        pictures_title=said["scale"],
        way_title=said["way"],
        way=_way_climbed(summary, resting=resting),
        days_title=said["days"],
        days=_days_drawn(summary),
        days_key=said["days_key"],
        next_title=said["next"],
        next=_next_landmark(summary) if not resting else "",
        told=told_lines(summary.falls, summary.pains, summary.dizzy, language),
        mind_title=said["mind"],
        mind=rung_cautions(now, language) if now is not None and not resting else (),
        words_title=said["words"],
        words=summary.to_client,
        foot=said["foot"].format(
            made_on=date_words(summary.made_on, language),
            trainer=summary.trainer,
            practice=summary.practice,
            number=summary.emergency_number,
        ),
    )


def _client_pictures(summary: Summary, theme: Theme, *, resting: bool) -> tuple[Picture, ...]:
    language = summary.client.language
    said = summary_words(language)
    began, now = summary.began_on, summary.now_on
    shown: list[tuple[str, Rung]] = []
    if began is not None and (now is None or began.key != now.key):
        shown.append((said["began"], began))
    if now is not None:
        name = said["now"] if shown else said["same"]
        shown.append((said["before_rest"] if resting else name, now))
    body = summary.ladder.body
    if body is None:
        return ()
    drawn = [
        rung_picture(rung, body, language, theme=theme, for_client=True, lengths=summary.lengths)
        for _, rung in shown
    ]
    return tuple(
        Picture(name, " ".join(rung_stand(rung, body, language=language)), drawing)
        for (name, rung), drawing in zip(shown, at_one_scale(drawn, summary.lengths), strict=True)
    )


def _landmarks(summary: Summary) -> list[Rung]:
    """The landmarks of the ground that the client is on, easiest first, each stance once."""
    now = summary.now_on
    if now is None:
        return []
    named: dict[str, Rung] = {}
    for rung in summary.ladder.rungs:
        if rung.landmark and rung.round == now.round:
            named.setdefault(_stance(rung, summary), rung)
    return list(named.values())


def _stance(rung: Rung, summary: Summary) -> str:
    short = rung_short(rung, summary.client.language, summary.lengths).rpartition(",")[0]
    return short.partition(" (")[0]


def _ahead(summary: Summary) -> Rung | None:
    now = summary.now_on
    if now is None:
        return None
    place = summary.ladder.index(now.key)
    ahead = (one for one in _landmarks(summary) if summary.ladder.index(one.key) > place)
    return next(ahead, None)


def _next_landmark(summary: Summary) -> str:
    ahead = _ahead(summary)
    if ahead is None:
        return ""
    return str(
        summary_words(summary.client.language)["next_says"].format(name=_stance(ahead, summary))
    )


def _way_climbed(summary: Summary, *, resting: bool) -> str:
    """The landmarks as stairs; who rests is shown no next one to climb."""
    now, said = summary.now_on, summary_words(summary.client.language)
    if now is None:
        return ""
    place = summary.ladder.index(now.key)
    marks = _landmarks(summary)
    passed = [one for one in marks if summary.ladder.index(one.key) <= place]
    ahead = _ahead(summary)
    steps = []
    for one in marks:
        name = _in_lines(_stance(one, summary))
        if passed and one is passed[-1]:
            steps.append(Stair(name, "here", _in_lines(said["you_are_here"])))
        elif one in passed:
            steps.append(Stair(name, "passed"))
        elif one is ahead and not resting:
            far = summary.ladder.index(one.key) - place
            note = said["next_step"] if far == 1 else said["next_steps"].format(count=far)
            steps.append(Stair(name, "next", _in_lines(note)))
        else:
            steps.append(Stair(name, "ahead"))
    return stairs(steps, said["way"])


def _short_date(day: date, said: Mapping[str, Any]) -> str:
    return f"{day.day} {said['months'][day.month - 1][:3]}"


def _in_lines(words: str) -> tuple[str, ...]:
    return tuple(wrap(words, LETTERS_A_STAIR))


def _days_drawn(summary: Summary) -> str:
    said = summary_words(summary.client.language)
    return days_grid(
        [(week.monday, _short_date(week.monday, said)) for week in summary.weeks],
        frozenset(day.day for day in summary.held.days if day.verdict == "steady"),
        summary.done,
        summary.last,
        said["weekdays"],
        said["days"],
    )
