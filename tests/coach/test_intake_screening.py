"""The screening's rules, the home checklist, the first rung from a baseline, and the phone."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from screened import harmless

from rungwise.coach.enrolment.baseline import LANDMARK_WORDS, first_rung
from rungwise.coach.enrolment.home_checklist import CHECKLIST, NAMES, missing, not_ready
from rungwise.coach.enrolment.phone_check import look_at
from rungwise.coach.enrolment.screening import GRAVITY, not_asked, screen, screened_then
from rungwise.coach.enrolment.screening_questions import BY_NAME, QUESTIONS
from rungwise.errors import ImpossibleValue
from rungwise.evidence.four_stage import four_stage
from rungwise.ladder import Body, Equipment, Ladder, Limits, build_ladder
from rungwise.time_zone import other_zones, zone_for, zones_of

answers = st.fixed_dictionaries(
    {one.name: st.sampled_from([choice.value for choice in one.choices]) for one in QUESTIONS}
)


def ladder_for(**body: object) -> Ladder:
    return build_ladder(Body.estimate(1650, "female", **body), Equipment(), Limits())  # type: ignore[arg-type]


# --- screening ------------------------------------------------------------------------------------


def test_only_harmless_answers_let_a_client_start() -> None:
    screened = screen(harmless())
    assert screened.outcome == "start"
    assert screened.reasons == ()
    assert screened.cares == ()
    assert not screened.no_soft_surface


@pytest.mark.parametrize(
    ("name", "answer", "outcome"),
    [
        ("falls", "one", "start"),
        ("falls", "more", "ask_first"),
        ("dizzy", "yes", "ask_first"),
        ("chest", "yes", "ask_first"),
        ("faint", "yes", "ask_first"),
        ("surgery", "yes", "ask_first"),
        ("stands", "no", "not_by_text"),
        ("numb", "yes", "start"),
        ("sight", "no", "ask_first"),
        ("aid", "yes", "ask_first"),
        ("drowsy", "yes", "ask_first"),
        ("texts", "no", "not_by_text"),
        ("thinner", "yes", "start"),
        ("bones", "thin", "start"),
        ("bones", "broken", "ask_first"),
        ("stroke", "yes", "ask_first"),
        ("nerves", "yes", "ask_first"),
        ("vertigo", "yes", "ask_first"),
        ("memory", "yes", "ask_first"),
        ("sugar", "yes", "ask_first"),
        ("joint", "yes", "start"),
        ("hearing", "yes", "start"),
        ("fear", "yes", "start"),
        ("glasses", "yes", "start"),
        ("pain", "yes", "start"),
        ("aid_outdoors", "yes", "start"),
        ("underfoot", "yes", "start"),
    ],
)
def test_each_answer_leads_where_it_should(name: str, answer: str, outcome: str) -> None:
    screened = screen({**harmless(), name: answer})
    assert screened.outcome == outcome
    told = screened.reasons if outcome != "start" else screened.cares
    assert told == (BY_NAME[name].choice(answer).says,)


@pytest.mark.parametrize("name", BY_NAME)
def test_not_sure_is_never_the_harmless_answer(name: str) -> None:
    question = BY_NAME[name]
    screened = screen({**harmless(), name: "unsure"})
    assert (*screened.reasons, *screened.cares) == (question.choice("unsure").says,)
    verdicts = {one.verdict for one in question.choices}
    if question.since == 1 or "ask_first" in verdicts:
        assert screened.outcome == "ask_first"


def test_a_screening_of_the_first_version_is_read_as_it_was_asked() -> None:
    """Who answered eleven questions keeps their outcome, and is told what was not asked yet."""
    then = {one.name: one.choices[0].value for one in QUESTIONS if one.since == 1}
    assert len(then) == 11
    assert screened_then(then).outcome == "start"
    assert screened_then({**then, "dizzy": "yes"}).reasons == ("Gets dizzy on standing.",)
    newer = [one.name for one in not_asked(then)]
    assert newer == [one.name for one in QUESTIONS if one.since > 1]
    assert not_asked(harmless()) == ()
    assert screened_then(harmless()) == screen(harmless())


def test_every_question_says_what_its_answers_do_and_by_whom() -> None:
    for question in QUESTIONS:
        assert question.does.endswith(".")
        assert question.source
        grave = [one.label for one in question.choices if one.verdict != "fine"]
        assert all(label in question.does for label in grave)


@pytest.mark.parametrize("answer", ["yes", "unsure"])
def test_numb_feet_stay_on_firm_ground(answer: str) -> None:
    assert screen({**harmless(), "numb": answer}).no_soft_surface


@settings(max_examples=100)
@given(answers)
def test_the_gravest_answer_decides_and_each_grave_one_is_told(given_answers) -> None:
    screened = screen(given_answers)
    choices = [BY_NAME[name].choice(value) for name, value in given_answers.items()]
    gravest = max(GRAVITY.index(choice.verdict) for choice in choices)
    assert screened.outcome == {0: "start", 1: "start", 2: "ask_first", 3: "not_by_text"}[gravest]
    grave = {choice.says for choice in choices if choice.verdict in ("ask_first", "not_by_text")}
    assert set(screened.reasons) == grave
    assert set(screened.cares) == {one.says for one in choices if one.verdict == "care"}


@settings(max_examples=100)
@given(answers, st.data())
def test_a_graver_answer_never_makes_it_lighter(given_answers, data) -> None:
    order = ("start", "ask_first", "not_by_text")
    name = data.draw(st.sampled_from(list(BY_NAME)))
    now = BY_NAME[name].choice(given_answers[name])
    graver = [
        one.value
        for one in BY_NAME[name].choices
        if GRAVITY.index(one.verdict) >= GRAVITY.index(now.verdict)
    ]
    worse = {**given_answers, name: data.draw(st.sampled_from(graver))}
    assert order.index(screen(worse).outcome) >= order.index(screen(given_answers).outcome)


@pytest.mark.parametrize("name", BY_NAME)
def test_every_question_must_be_answered_by_one_of_its_choices(name: str) -> None:
    without = {one: value for one, value in harmless().items() if one != name}
    for wrong in (without, {**harmless(), name: ""}, {**harmless(), name: "perhaps"}):
        with pytest.raises(ImpossibleValue) as refused:
            screen(wrong)
        assert refused.value.field == name


def test_a_question_that_is_not_asked_is_refused() -> None:
    with pytest.raises(ImpossibleValue, match="question is 'height'"):
        screen({**harmless(), "height": "yes"})


def test_every_question_is_whole() -> None:
    for question in QUESTIONS:
        assert question.asks.endswith("?")
        assert question.why.endswith(".")
        assert question.source
        assert [one.value for one in question.choices].count("unsure") == 1
        assert question.choices[0].verdict == "fine"
        for choice in question.choices[1:]:
            assert choice.says.endswith("."), choice


# --- the home -------------------------------------------------------------------------------------


@pytest.mark.parametrize("in_place", [frozenset(), frozenset(NAMES), frozenset({"light"})])
def test_what_is_missing_at_home_is_told(in_place: frozenset[str]) -> None:
    assert [item.name for item in missing(in_place)] == [n for n in NAMES if n not in in_place]
    needed = {item.name for item in CHECKLIST if item.needed} - in_place
    assert {item.name for item in not_ready(in_place)} == needed


def test_counter_floor_and_phone_are_needed() -> None:
    assert {item.name for item in CHECKLIST if item.needed} == {"counter", "floor", "phone"}


# --- the first rung -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("held", "landmark"),
    [
        ([4.0], None),
        ([10.0, 3.0], "feet_apart"),
        ([10.0, 10.0, 4.0], "staggered"),
        ([10.0, 10.0, 10.0, 2.0], "semi_tandem"),
        ([10.0, 10.0, 10.0, 10.0], "toe_touch"),
    ],
)
def test_practice_starts_one_landmark_below_what_was_held(held, landmark) -> None:
    ladder = ladder_for()
    suggested = first_rung(ladder, four_stage(held))
    assert suggested.rung.landmark == landmark
    if landmark is None:
        assert suggested.rung == ladder.rungs[0]
        assert "not held" in suggested.because
    else:
        assert suggested.because.endswith(f"one landmark lower: {LANDMARK_WORDS[landmark]}.")


def test_without_a_baseline_it_is_the_lowest_rung() -> None:
    ladder = ladder_for()
    assert first_rung(ladder, None).rung == ladder.rungs[0]


def test_a_sore_toe_without_half_foam_starts_at_tandem_instead_of_toe_touch() -> None:
    suggested = first_rung(ladder_for(big_toe_pain=True), four_stage([10.0] * 4))
    assert suggested.rung.landmark == "tandem"


def test_a_ceiling_or_a_wide_stance_never_gives_a_rung_as_hard_as_what_was_held() -> None:
    hardest_held = (None, "feet_narrowest", "semi_tandem", "tandem", "single_leg")
    bodies = [Body.estimate(1650, "male"), Body.estimate(1650, "male", narrowest_offset_mm=150)]
    tops = [None, *(rung.key for rung in ladder_for().rungs[::9])]
    for body, held, top in product(bodies, range(5), tops):
        ladder = build_ladder(body, Equipment(mat_layers=2), Limits(ceiling_key=top))
        shown = four_stage([10.0] * held + [5.0] * (held < 4))
        rung = first_rung(ladder, shown).rung
        assert rung.gate is None
        order = [one.landmark for one in build_ladder(body, Equipment(), Limits()).rungs]
        landmark = hardest_held[held]
        if landmark not in order:
            landmark = "feet_together"
        if rung.landmark is not None:
            assert order.index(rung.landmark) < order.index(landmark)


# --- the phone ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("raw", "country", "e164", "warning"),
    [
        ("(202) 555-0177", "US", "+12025550177", None),
        ("07400 123456", "GB", "+447400123456", None),
        ("020 7946 0018", "GB", "+442079460018", "fixed line"),
        ("+1 800 555 0100", "US", "+18005550100", "free-phone"),
        ("+44 7700 900123", "US", "+447700900123", "Check every digit"),
    ],
)
def test_a_phone_is_told_apart(raw: str, country: str, e164: str, warning: str | None) -> None:
    phone = look_at(raw, country)
    assert phone.e164 == e164
    assert (warning or "") in (phone.warning or "")
    assert (phone.warning is None) == (warning is None)


@pytest.mark.parametrize("raw", ["", "hello", "12", "+1 202 555 017", "+0123456789"])
def test_what_is_no_number_is_refused(raw: str) -> None:
    with pytest.raises(ImpossibleValue):
        look_at(raw, "US")


@pytest.mark.parametrize(
    ("raw", "practice_zone", "zone"),
    [
        ("+12025550177", "America/Chicago", "America/New_York"),
        ("+442079460018", "America/New_York", "Europe/London"),
        ("+447700900123", "America/New_York", "Europe/London"),
        ("+34612345678", "Europe/Madrid", "Europe/Madrid"),
        ("+18005550100", "America/Denver", "America/Denver"),
    ],
)
def test_the_zone_comes_from_the_number_or_the_practice(raw, practice_zone, zone) -> None:
    found = zone_for(look_at(raw, "US").zones, "", practice_zone)
    assert found.zone == zone
    assert found.note


def test_a_number_of_several_zones_elsewhere_must_be_chosen_for() -> None:
    with pytest.raises(ImpossibleValue, match="Australia"):
        zone_for(look_at("+61412345678", "US").zones, "", "America/New_York")
    chosen = zone_for(look_at("+61412345678", "US").zones, "Australia/Perth", "America/New_York")
    assert chosen.zone == "Australia/Perth"
    with pytest.raises(ImpossibleValue, match="zone name"):
        zone_for(look_at("+61412345678", "US").zones, "Mars/Base", "America/New_York")


def test_zones_are_listed_by_country_once() -> None:
    assert zones_of("GB") == ("Europe/London",)
    assert "Europe/London" not in other_zones("GB")
    assert len(set(other_zones("GB"))) == len(other_zones("GB")) > 300
    assert zones_of("XX") == ()
