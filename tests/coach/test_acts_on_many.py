"""What an act over many does to each client, whom it passes over, and that it frees nobody."""

from dataclasses import fields, replace
from datetime import date, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.coach.groups.acts import (
    HELD,
    IN_DOUBT,
    KINDS,
    Asked,
    Days,
    Give,
    Hour,
    Member,
    Pause,
    Rule,
    Tag,
    Write,
    check,
    effects,
    from_json,
    kind_of,
    seen_hash,
    taken_back,
    to_json,
    why_not,
)
from rungwise.coach.record.codec import PlanSettings
from rungwise.concepts.client_states import State
from rungwise.errors import ImpossibleValue

TODAY = date(2026, 3, 2)
WEEK = Pause(TODAY + timedelta(days=3), TODAY + timedelta(days=9))
ACTS: list[Asked] = [WEEK, Hour(time(10, 30)), Days(frozenset({0, 2, 4})), Rule(1)]
ACTS += [Write("Hello {called}")]
MEMBER = Member(1, "Ada Sample", "Ada", "en", "active", TODAY, 1, PlanSettings())
MANY_AWAY = tuple((date(2027, 1, day), date(2027, 1, day)) for day in range(1, 21))


@pytest.mark.parametrize("asked", ACTS)
@pytest.mark.parametrize("state", [State.RESTING, State.STOPPED])
def test_who_is_held_or_stopped_is_passed_over_by_every_act_on_texts(asked, state) -> None:
    member = replace(MEMBER, state=state)
    assert why_not(asked, member) == HELD[state]
    assert effects(asked, [member])[0] == []


@pytest.mark.parametrize("asked", ACTS)
def test_who_is_asked_about_a_fall_is_passed_over(asked: Asked) -> None:
    assert why_not(asked, replace(MEMBER, in_doubt=True)) == IN_DOUBT


@pytest.mark.parametrize(
    ("asked", "changed", "why"),
    [
        (WEEK, {"state": "invited"}, "texts have not begun"),
        (WEEK, {"state": "paused"}, "paused already"),
        (WEEK, {"settings": None}, "no first rung has been set"),
        (WEEK, {"today": TODAY + timedelta(days=10)}, "that is over where they are"),
        (
            WEEK,
            {"settings": PlanSettings(away=((TODAY, TODAY + timedelta(days=20)),))},
            "is away then already",
        ),
        (
            WEEK,
            {"settings": PlanSettings(away=MANY_AWAY)},
            "has too many dates away",
        ),
        (Hour(time(9, 0)), {}, "has this hour already"),
        (
            Hour(time(18, 0)),
            {"settings": PlanSettings(reminder_at=time(18, 0))},
            "their evening reminder would come before it",
        ),
        (Days(frozenset(range(7))), {}, "has these days already"),
        (Rule(2), {}, "is on it already"),
        (Rule(2), {"settings": None}, "no first rung has been set"),
        (Write("x"), {"state": "invited"}, "texts have not begun"),
        (Write("x"), {"night": True}, "it is outside your texting hours there"),
        (Tag("Tuesday"), {"tags": frozenset({"Tuesday"})}, "has it already"),
        (Tag("Tuesday", on=False), {}, "has it not"),
        (Give(2, "Omar"), {"trainer_id": 2}, "is theirs already"),
    ],
)
def test_why_somebody_is_passed_over(asked: Asked, changed: dict, why: str) -> None:
    assert why_not(asked, replace(MEMBER, **changed)) == why


@pytest.mark.parametrize(
    ("asked", "changed"),
    [
        (Hour(time(10, 0)), {"state": "invited"}),
        (Hour(time(10, 0)), {"state": "paused"}),
        (Write("x"), {"state": "paused"}),
        (Tag("Tuesday"), {"state": "resting"}),
        (Tag("Tuesday"), {"state": "stopped"}),
        (Give(2, "Omar"), {"state": "resting", "in_doubt": True}),
        (WEEK, {"night": True}),
    ],
)
def test_what_frees_nobody_is_done_to_them_too(asked: Asked, changed: dict) -> None:
    assert why_not(asked, replace(MEMBER, **changed)) == ""


MAY_CHANGE = {"prompt_at", "weekdays", "away"}
STATES = st.sampled_from([state.value for state in State])
DATES = st.dates(TODAY, TODAY + timedelta(days=300))
ANY_ACT = st.one_of(
    st.tuples(DATES, st.integers(0, 60)).map(lambda one: Pause(one[0], one[0] + timedelta(one[1]))),
    st.times().map(lambda one: Hour(one.replace(second=0, microsecond=0))),
    st.frozensets(st.integers(0, 6), min_size=1).map(Days),
    st.text(min_size=1).map(Write),
    st.builds(Tag, st.text(min_size=1), st.booleans()),
    st.builds(Give, st.integers(1, 9), st.text(min_size=1)),
)
ANY_SETTINGS = st.builds(
    PlanSettings,
    prompt_at=st.times(),
    weekdays=st.frozensets(st.integers(0, 6), min_size=1),
    open_gates=st.frozensets(st.sampled_from(["single_leg", "first_soft"])),
    target_s=st.integers(5, 30),
)


@given(ANY_ACT, STATES, ANY_SETTINGS, st.booleans())
def test_no_act_changes_more_than_hour_days_and_dates(asked, state, settings, in_doubt) -> None:
    member = replace(MEMBER, state=state, settings=settings, in_doubt=in_doubt)
    done, passed = effects(asked, [member])
    assert len(done) + len(passed) == 1
    for one in done:
        if one.settings is None:
            continue
        assert not in_doubt
        assert state not in HELD
        other = [
            each.name
            for each in fields(settings)
            if getattr(one.settings, each.name) != getattr(settings, each.name)
        ]
        assert set(other) <= MAY_CHANGE


@given(st.sampled_from(ACTS[:3]), ANY_SETTINGS)
def test_taking_back_puts_the_settings_back(asked, settings) -> None:
    done, _ = effects(asked, [replace(MEMBER, settings=settings)])
    for one in done:
        assert one.settings is not None
        assert taken_back(asked, settings, one.settings) == settings


def test_taking_back_leaves_what_somebody_changed_since() -> None:
    before = PlanSettings()
    assert taken_back(Hour(time(10, 0)), before, PlanSettings(prompt_at=time(11, 0))) is None
    assert taken_back(Days(frozenset({1})), before, before) is None
    assert taken_back(Rule(1), before, before) is None
    assert taken_back(WEEK, before, before) is None
    # What else was changed since stays.
    now = PlanSettings(prompt_at=time(10, 0), target_s=15)
    assert taken_back(Hour(time(10, 0)), before, now) == PlanSettings(target_s=15)


@given(ANY_ACT)
def test_an_act_is_stored_and_read_back(asked: Asked) -> None:
    assert from_json(kind_of(asked), to_json(asked)) == asked
    assert kind_of(asked) in KINDS


def test_the_hash_follows_whatever_would_follow() -> None:
    def seen(asked: Asked, *members: Member) -> str:
        return seen_hash(asked, *effects(asked, members))

    one = seen(WEEK, MEMBER)
    assert one == seen(WEEK, MEMBER)
    others = [
        seen(replace(WEEK, last=WEEK.last + timedelta(days=1)), MEMBER),
        seen(WEEK, replace(MEMBER, version=2)),
        seen(WEEK, replace(MEMBER, state="resting")),
        seen(WEEK, replace(MEMBER, settings=PlanSettings(target_s=15))),
        seen(WEEK, MEMBER, replace(MEMBER, client_id=2)),
    ]
    assert len({one, *others}) == 6


@pytest.mark.parametrize(
    "asked",
    [
        Pause(TODAY, TODAY - timedelta(days=1)),
        Pause(TODAY - timedelta(days=9), TODAY - timedelta(days=2)),
        Pause(TODAY, TODAY + timedelta(days=400)),
        Days(frozenset()),
        Days(frozenset({7})),
        Rule(3),
        Rule(0),
        Tag(""),
        Tag("x" * 41),
    ],
)
def test_what_can_be_done_to_nobody_is_refused(asked: Asked) -> None:
    with pytest.raises(ImpossibleValue):
        check(asked, TODAY)
