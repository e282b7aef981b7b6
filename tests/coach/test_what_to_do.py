"""The first sentence on a client: every row of the table, their order, and what is never hidden."""

from dataclasses import replace

import pytest

from rungwise.coach.reports.what_to_do import (
    SENTENCES,
    Act,
    Course,
    Facts,
    OpenAlert,
    what_to_do,
)
from rungwise.concepts.alert_kinds import ALERT_KINDS, ALERTS, RESTING_KINDS

CALM = Facts(
    called="Ivo",
    state="active",
    state_since="3 Nov",
    next_text="today at 17:00",
    last_reply="on Sat 28 Nov at 17:42",
)


def alert(kind: str, urgency: str = "") -> OpenAlert:
    return OpenAlert(7, kind, urgency or str(ALERTS[kind].urgency), "today at 09:06")


def with_alerts(*alerts: OpenAlert) -> Facts:
    return replace(CALM, alerts=alerts)


# What is known, which row speaks, and the whole sentence. In the order of the table.
TOLD = [
    (with_alerts(alert("emergency")), "emergency",
     "Phone Ivo now: an emergency sign was told today at 09:06."),
    (with_alerts(alert("distress")), "distress",
     "Phone Ivo now: they wrote words of despair today at 09:06."),
    (with_alerts(alert("fall")), "fall", "Phone Ivo now: a fall was told today at 09:06."),
    (with_alerts(alert("dizziness")), "dizziness",
     "Phone Ivo now: dizziness was told today at 09:06, and practice rests until you say where to "
     "go on."),
    (with_alerts(alert("pain")), "pain",
     "Phone Ivo now: pain was told today at 09:06, and practice rests until you say where to go "
     "on."),
    (with_alerts(alert("near_fall")), "near_fall",
     "Phone Ivo: they nearly fell or fell, told today at 09:06, and practice rests until you say "
     "where to go on."),
    (with_alerts(alert("help")), "help", "Phone Ivo: they asked for help today at 09:06."),
    (replace(CALM, asked="a fall"), "asked",
     "Wait for Ivo’s answer, or phone: they were asked about a fall, and practice texts are held "
     "until they say."),
    (with_alerts(alert("health_news")), "health_news",
     "Ask Ivo about the news of their health, today at 09:06: practice rests until you say where "
     "to go on."),
    (with_alerts(alert("undeliverable")), "undeliverable",
     "Phone Ivo and check the number: a text did not arrive today at 09:06."),
    (with_alerts(alert("opted_out")), "opted_out",
     "Phone Ivo if you want to know why: they stopped the texts today at 09:06."),
    (with_alerts(alert("call_me")), "call_me", "Phone Ivo: they asked for a call today at 09:06."),
    (with_alerts(alert("life_news")), "life_news",
     "Phone Ivo when you can: news from home came today at 09:06."),
    (with_alerts(alert("silence")), "silence",
     "Phone Ivo: texts go unanswered, the last word came on Sat 28 Nov at 17:42."),
    (replace(with_alerts(alert("silence")), last_reply=""), "silence",
     "Phone Ivo: texts go unanswered, and no word ever came."),
    (with_alerts(alert("away")), "away",
     "Phone Ivo: no practice for weeks, and practice rests until you say where to go on."),
    (replace(with_alerts(alert("stuck")), stuck_rule="lowest"), "stuck on the lowest",
     "See Ivo, or phone: wobbly or short again on the lowest rung, and there is none easier."),
    (replace(with_alerts(alert("stuck")), stuck_rule="unknown_rung"), "off the ladder",
     "Choose a rung for Ivo: theirs is no longer on the ladder."),
    (replace(with_alerts(alert("stuck")), stuck_rule="bad_days", backs=("21 Nov", "26 Nov")),
     "stuck",
     "Place Ivo one landmark lower, or see them first: gone back again from the same rung, on "
     "21 Nov and 26 Nov."),
    (replace(with_alerts(alert("gate_reached")), gate="one leg"), "gate_reached",
     "Look at one leg with Ivo before you open it: every rung before it is steady, and its gate "
     "is closed."),
    (with_alerts(alert("held_back")), "held_back",
     "See Ivo practise, or choose the rung: the rule keeps them on this one."),
    (with_alerts(alert("auto_answers")), "auto_answers",
     "Phone Ivo: a machine answers the texts, last today at 09:06."),
    (replace(CALM, placed=False), "no rung",
     "Choose a rung for Ivo: none is set, so no practice text goes."),
    (replace(CALM, state="resting"), "resting",
     "Say where Ivo goes on, or leave the rest: resting since 3 Nov."),
    (replace(CALM, today="not_arrived"), "not arrived",
     "Phone Ivo if today matters: today’s text did not arrive."),
    (with_alerts(alert("unsafe")), "unsafe",
     "Phone Ivo: practised unsafely, by their own words today at 09:06."),
    (with_alerts(alert("request")), "request",
     "Read what Ivo asked or wished today at 09:06, and answer what is open."),
    (with_alerts(alert("unread")), "unread",
     "Read what Ivo wrote today at 09:06: it was not understood."),
    (with_alerts(alert("retest_due")), "retest_due", "Plan a retest with Ivo: one is due."),
    # A kind that this version does not know is still looked at.
    (with_alerts(OpenAlert(7, "of_later", "note", "today at 09:06")), "another alert",
     "Look at what is open for Ivo, since today at 09:06."),
    (replace(CALM, course=Course("decline", "")), "decline",
     "Phone Ivo and see them soon: what they tell has become worse."),
    (replace(CALM, course=Course("told_too_well", "")), "told_too_well",
     "Watch Ivo practise at the next visit: they tell steadier days than expected."),
    (replace(CALM, course=Course("plateau_dose", "")), "plateau_dose",
     "Talk with Ivo about more days a week: practice is rare and no farther for weeks."),
    (replace(CALM, course=Course("plateau_step", "")), "plateau_step",
     "See what holds Ivo’s next step back: steady for weeks, and no farther."),
    (replace(CALM, course=Course("plateau_visit", "")), "plateau_visit",
     "Look at it together at a visit: Ivo has come no farther for weeks."),
    (replace(CALM, state="invited", placed=False), "invited",
     "Ask Ivo whether they agree to texts: none go until they do."),
    (replace(CALM, state="stopped"), "stopped",
     "Phone Ivo if you want to go on: they stopped the texts on 3 Nov."),
    (replace(CALM, state="paused"), "paused",
     "Begin Ivo’s texts again when it suits: paused since 3 Nov."),
    (replace(CALM, away_until="5 Dec"), "away now", "Nothing to do now: Ivo is away until 5 Dec."),
    (replace(CALM, today="held"), "held",
     "Nothing to do now: today’s text for Ivo was held back."),
    (replace(CALM, went_back="26 Nov"), "went back",
     "Leave Ivo where the rule put them: moved back on 26 Nov, after wobbly, short or missed "
     "days."),
    (replace(CALM, today="wobbly"), "wobbly",
     "Nothing to press: Ivo was wobbly today, and the rule counts it."),
    (replace(CALM, today="steady"), "practised",
     "Nothing to do now: Ivo practised today and was steady."),
    (replace(CALM, today="skipped"), "told",
     "Nothing to do now: Ivo has answered today’s text."),
    (replace(CALM, today="waiting"), "waiting",
     "Nothing to do yet: Ivo has today’s text and may still answer."),
    (CALM, "due", "Nothing to do now: Ivo’s next text goes today at 17:00."),
    (replace(CALM, next_text=""), "nothing", "See Ivo’s plan: no text is due."),
]  # fmt: skip


@pytest.mark.parametrize(("facts", "row", "sentence"), TOLD, ids=[row for _, row, _ in TOLD])
def test_each_sentence(facts: Facts, row: str, sentence: str) -> None:
    advice = what_to_do(facts)
    assert (advice.row, advice.says) == (row, sentence)


def test_every_row_is_in_the_table_above_and_in_its_order() -> None:
    told = list(dict.fromkeys(row for _, row, _ in TOLD))
    assert told == [row.name for row in SENTENCES]


def test_every_kind_of_alert_has_its_sentence_in_the_order_of_the_kinds() -> None:
    kinds = [row.alert for row in SENTENCES if row.alert]
    assert tuple(dict.fromkeys(kinds)) == ALERT_KINDS


@pytest.mark.parametrize("later", range(1, len(TOLD)))
def test_what_stands_higher_is_said_before_what_stands_lower(later: int) -> None:
    """Each pair of neighbours that can be known at once."""
    (before, first, _), (after, second, _) = TOLD[later - 1], TOLD[later]
    both = replace(after, alerts=(*before.alerts, *after.alerts))
    if first == second or not before.alerts or len({one.kind for one in both.alerts}) < 2:
        return
    both = replace(both, stuck_rule=before.stuck_rule or after.stuck_rule)
    assert what_to_do(both).row == first


def test_an_alert_raised_to_urgent_comes_before_graver_kinds_of_today() -> None:
    facts = with_alerts(alert("call_me"), alert("unread", "urgent"))
    assert what_to_do(facts).row == "unread"
    assert what_to_do(with_alerts(alert("call_me"), alert("unread"))).row == "call_me"


@pytest.mark.parametrize("kind", sorted(RESTING_KINDS | {"help", "silence"}))
def test_what_may_hurt_somebody_is_phoned_about_and_never_moves_them(kind: str) -> None:
    for today in ("steady", "due", "none"):
        facts = replace(with_alerts(alert(kind)), today=today, course=Course("plateau_step", ""))
        advice = what_to_do(facts)
        assert advice.row == kind
        assert advice.phone_first
        assert advice.act is Act.OPEN_ALERT
        assert advice.alert_id == 7


def test_nobody_is_said_to_be_well_while_anything_is_open() -> None:
    for kind in ALERT_KINDS:
        for state in ("active", "resting", "paused", "stopped"):
            facts = replace(with_alerts(alert(kind)), state=state, today="steady")
            assert not what_to_do(facts).says.startswith("Nothing")
