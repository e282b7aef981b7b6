"""What a trainer is to do about one client now, and why, in one sentence. Pure.

`SENTENCES` holds every sentence there is, in order of urgency; the first row that holds is said.
An alert that was raised to urgent comes before everything that is for today.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum


class Act(StrEnum):
    """What the button beside the sentence does; a page knows its address and its words."""

    OPEN_ALERT = "open_alert"
    PLACE_LOWER = "place_lower"
    CHOOSE_RUNG = "choose_rung"
    LOOK_AT_GATE = "look_at_gate"
    BEGIN_AGAIN = "begin_again"
    SEE_START = "see_start"
    RETEST = "retest"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An alert nobody has handled; `when` in words of the client's clock: today at 09:06."""

    id: int
    kind: str
    urgency: str
    when: str
    seen: bool = False


@dataclass(frozen=True, slots=True)
class Course:
    """What stands on a client's course: a rule of visits or a plateau, and its sentence."""

    rule: str
    says: str


@dataclass(frozen=True, slots=True)
class Facts:
    """All that the sentences look at; dates and times in words of the client's calendar.

    `stuck_rule` is the rule of the move that raised the alert, `backs` the days of moves back in
    its window. `below` names the landmark under the client's rung, `gate` the one before them.
    `latest` is the last day's mark of the strip with `latest_day`; `went_back` the day of a move
    back since the last practice.
    """

    called: str
    state: str
    state_since: str
    today: str = "none"
    next_text: str = ""
    last_reply: str = ""
    placed: bool = True
    alerts: Sequence[OpenAlert] = ()
    asked: str = ""
    stuck_rule: str = ""
    backs: Sequence[str] = ()
    below: str = ""
    gate: str = ""
    away_until: str = ""
    went_back: str = ""
    course: Course | None = None
    by_kind: Mapping[str, OpenAlert] = field(init=False)

    def __post_init__(self) -> None:
        by_kind = {one.kind: one for one in self.alerts}
        object.__setattr__(self, "by_kind", by_kind)


@dataclass(frozen=True, slots=True)
class Advice:
    """The sentence, the act beside it, and whether the phone is what to take first."""

    row: str
    says: str
    act: Act
    phone_first: bool = False
    alert_id: int | None = None


@dataclass(frozen=True, slots=True)
class Sentence:
    """One row: when it holds, and what it says. `alert` names the kind that it is about."""

    name: str
    holds: Callable[[Facts], bool]
    says: Callable[[Facts], str]
    act: Act = Act.NONE
    phone_first: bool = False
    alert: str | None = None


URGENT, TODAY, NOTE = ("urgent", "today", "note")


def _alert(
    kind: str, says: str, act: Act = Act.OPEN_ALERT, *, phone: bool = True, name: str = ""
) -> Sentence:
    """A sentence about an open alert of this kind, with {called} and {when} filled in."""

    def told(facts: Facts) -> str:
        return says.format(called=facts.called, when=facts.by_kind[kind].when)

    return Sentence(name or kind, lambda facts: kind in facts.by_kind, told, act, phone, kind)


def _listed(days: Sequence[str]) -> str:
    return " and ".join((", ".join(days[:-1]), days[-1])) if len(days) > 1 else "".join(days)


def _stuck(facts: Facts) -> str:
    on = f", on {_listed(facts.backs)}" if facts.backs else ""
    return (
        f"Place {facts.called} one landmark lower, or see them first: "
        f"gone back again from the same rung{on}."
    )


def _lowest(facts: Facts) -> str:
    return (
        f"See {facts.called}, or phone: wobbly or short again on the lowest rung, "
        f"and there is none easier."
    )


def _off_ladder(facts: Facts) -> str:
    return f"Choose a rung for {facts.called}: theirs is no longer on the ladder."


def _gate(facts: Facts) -> str:
    gate = facts.gate or "the next stance"
    return (
        f"Look at {gate} with {facts.called} before you open it: every rung before it is steady, "
        f"and its gate is closed."
    )


def _course(rule: str, says: str, act: Act = Act.NONE) -> Sentence:
    def told(facts: Facts) -> str:
        return says.format(called=facts.called)

    return Sentence(
        rule, lambda facts: facts.course is not None and facts.course.rule == rule, told, act
    )


def _stuck_by(*rules: str) -> Callable[[Facts], bool]:
    return lambda facts: "stuck" in facts.by_kind and facts.stuck_rule in rules


def _is(state: str) -> Callable[[Facts], bool]:
    return lambda facts: facts.state == state


def _today_is(mark: str) -> Callable[[Facts], bool]:
    return lambda facts: facts.today == mark


RESTS = "practice rests until you say where to go on"
# In order of urgency. Alerts stand in the order of their kinds.
SENTENCES: tuple[Sentence, ...] = (
    _alert("emergency", "Phone {called} now: an emergency sign was told {when}."),
    _alert("distress", "Phone {called} now: they wrote words of despair {when}."),
    _alert("fall", "Phone {called} now: a fall was told {when}."),
    _alert("dizziness", f"Phone {{called}} now: dizziness was told {{when}}, and {RESTS}."),
    _alert("pain", f"Phone {{called}} now: pain was told {{when}}, and {RESTS}."),
    _alert("near_fall", f"Phone {{called}}: they nearly fell or fell, told {{when}}, and {RESTS}."),
    _alert("help", "Phone {called}: they asked for help {when}."),
    Sentence(
        "asked",
        lambda facts: bool(facts.asked),
        lambda facts: (
            f"Wait for {facts.called}’s answer, or phone: they were asked about {facts.asked}, "
            f"and practice texts are held until they say."
        ),
        phone_first=True,
    ),
    _alert("health_news", f"Ask {{called}} about the news of their health, {{when}}: {RESTS}."),
    _alert("undeliverable", "Phone {called} and check the number: a text did not arrive {when}."),
    _alert("opted_out", "Phone {called} if you want to know why: they stopped the texts {when}."),
    _alert("call_me", "Phone {called}: they asked for a call {when}."),
    _alert("life_news", "Phone {called} when you can: news from home came {when}."),
    Sentence(
        "silence",
        lambda facts: "silence" in facts.by_kind,
        lambda facts: (
            f"Phone {facts.called}: texts go unanswered, the last word came {facts.last_reply}."
            if facts.last_reply
            else f"Phone {facts.called}: texts go unanswered, and no word ever came."
        ),
        Act.OPEN_ALERT,
        phone_first=True,
        alert="silence",
    ),
    _alert("away", f"Phone {{called}}: no practice for weeks, and {RESTS}."),
    Sentence("stuck on the lowest", _stuck_by("lowest"), _lowest, Act.OPEN_ALERT, True, "stuck"),
    Sentence(
        "off the ladder", _stuck_by("unknown_rung"), _off_ladder, Act.CHOOSE_RUNG, alert="stuck"
    ),
    Sentence(
        "stuck", lambda facts: "stuck" in facts.by_kind, _stuck, Act.PLACE_LOWER, alert="stuck"
    ),
    Sentence(
        "gate_reached",
        lambda facts: "gate_reached" in facts.by_kind,
        _gate,
        Act.LOOK_AT_GATE,
        alert="gate_reached",
    ),
    _alert(
        "held_back",
        "See {called} practise, or choose the rung: the rule keeps them on this one.",
        Act.CHOOSE_RUNG,
        phone=False,
    ),
    _alert("auto_answers", "Phone {called}: a machine answers the texts, last {when}."),
    Sentence(
        "no rung",
        lambda facts: not facts.placed and facts.state != "invited",
        lambda facts: f"Choose a rung for {facts.called}: none is set, so no practice text goes.",
        Act.CHOOSE_RUNG,
    ),
    Sentence(
        "resting",
        _is("resting"),
        lambda facts: (
            f"Say where {facts.called} goes on, or leave the rest: "
            f"resting since {facts.state_since}."
        ),
        Act.CHOOSE_RUNG,
        phone_first=True,
    ),
    Sentence(
        "not arrived",
        _today_is("not_arrived"),
        lambda facts: f"Phone {facts.called} if today matters: today’s text did not arrive.",
        phone_first=True,
    ),
    _alert("unsafe", "Phone {called}: practised unsafely, by their own words {when}."),
    _alert(
        "request",
        "Read what {called} asked or wished {when}, and answer what is open.",
        phone=False,
    ),
    _alert("unread", "Read what {called} wrote {when}: it was not understood.", phone=False),
    _alert("retest_due", "Plan a retest with {called}: one is due.", Act.RETEST, phone=False),
    Sentence(
        "another alert",
        lambda facts: bool(facts.alerts),
        lambda facts: f"Look at what is open for {facts.called}, since {facts.alerts[0].when}.",
        Act.OPEN_ALERT,
    ),
    _course("decline", "Phone {called} and see them soon: what they tell has become worse."),
    _course(
        "told_too_well",
        "Watch {called} practise at the next visit: they tell steadier days than expected.",
    ),
    _course(
        "plateau_dose",
        "Talk with {called} about more days a week: practice is rare and no farther for weeks.",
    ),
    _course(
        "plateau_step",
        "See what holds {called}’s next step back: steady for weeks, and no farther.",
        Act.CHOOSE_RUNG,
    ),
    _course(
        "plateau_visit",
        "Look at it together at a visit: {called} has come no farther for weeks.",
        Act.CHOOSE_RUNG,
    ),
    Sentence(
        "invited",
        _is("invited"),
        lambda facts: f"Ask {facts.called} whether they agree to texts: none go until they do.",
        Act.SEE_START,
        phone_first=True,
    ),
    Sentence(
        "stopped",
        _is("stopped"),
        lambda facts: (
            f"Phone {facts.called} if you want to go on: "
            f"they stopped the texts on {facts.state_since}."
        ),
        phone_first=True,
    ),
    Sentence(
        "paused",
        _is("paused"),
        lambda facts: (
            f"Begin {facts.called}’s texts again when it suits: paused since {facts.state_since}."
        ),
        Act.BEGIN_AGAIN,
    ),
    Sentence(
        "away now",
        lambda facts: bool(facts.away_until),
        lambda facts: f"Nothing to do now: {facts.called} is away until {facts.away_until}.",
    ),
    Sentence(
        "held",
        _today_is("held"),
        lambda facts: f"Nothing to do now: today’s text for {facts.called} was held back.",
    ),
    Sentence(
        "went back",
        lambda facts: bool(facts.went_back),
        lambda facts: (
            f"Leave {facts.called} where the rule put them: "
            f"moved back on {facts.went_back}, after wobbly, short or missed days."
        ),
    ),
    Sentence(
        "wobbly",
        lambda facts: facts.today in ("wobbly", "short"),
        lambda facts: (
            f"Nothing to press: {facts.called} was {facts.today} today, and the rule counts it."
        ),
    ),
    Sentence(
        "practised",
        _today_is("steady"),
        lambda facts: f"Nothing to do now: {facts.called} practised today and was steady.",
    ),
    Sentence(
        "told",
        lambda facts: facts.today in ("skipped", "unfinished"),
        lambda facts: f"Nothing to do now: {facts.called} has answered today’s text.",
    ),
    Sentence(
        "waiting",
        _today_is("waiting"),
        lambda facts: f"Nothing to do yet: {facts.called} has today’s text and may still answer.",
    ),
    Sentence(
        "due",
        lambda facts: bool(facts.next_text),
        lambda facts: f"Nothing to do now: {facts.called}’s next text goes {facts.next_text}.",
    ),
    Sentence(
        "nothing",
        lambda _: True,
        lambda facts: f"See {facts.called}’s plan: no text is due.",
    ),
)
_RANK = {URGENT: 0, TODAY: 1, NOTE: 2}


def what_to_do(facts: Facts) -> Advice:
    """The one sentence for this client now."""
    raised = {one.kind for one in facts.alerts if one.urgency == URGENT}
    in_order = sorted(SENTENCES, key=lambda row: row.alert not in raised)
    row = next(row for row in in_order if row.holds(facts))
    about = facts.by_kind.get(row.alert or "")
    if about is None and row.act is Act.OPEN_ALERT:
        about = next(iter(facts.alerts), None)
    alert_id = about.id if about else None
    return Advice(row.name, row.says(facts), row.act, row.phone_first, alert_id)
