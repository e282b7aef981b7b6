"""What is filled in for a new client, what it comes to, and what is stored of it."""

from datetime import time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from screened import harmless, unhurt
from sqlmodel import select

from rungwise.coach.daily.welcome import welcome
from rungwise.coach.enrolment.intake import (
    AlreadyBegun,
    NotReady,
    Word,
    add_from,
    begin_texts,
    record_clinician,
    screen_again,
    set_home,
    standing,
)
from rungwise.coach.enrolment.intake_form import DEFAULTS, FIELDS, Draft, read_intake
from rungwise.coach.enrolment.screening_questions import QUESTIONS
from rungwise.coach.plan.placement import Handling, handle, resume
from rungwise.coach.record.clearance import AskFirst, NotByText, latest_screening
from rungwise.coach.record.fields import Unfinished
from rungwise.coach.record.situation import load
from rungwise.errors import ImpossibleValue
from rungwise.ladder.stance import Side
from rungwise.store.tables import (
    Alert,
    Audit,
    Baseline,
    Client,
    HomeSetup,
    Message,
    Practice,
    Screening,
    Trainer,
)

FILLED = {
    **harmless(),
    "name": "Edda Vorlage",
    "phone": "(202) 555-0177",
    "address": " 4 Mill  Lane,\nWhitby ",
    "kin": "Tom Vorlage",
    "kin_phone": "(202) 555-0166",
    "number_to_second": "yes",
    "sex": "female",
    "height_cm": "164",
    "home": "counter floor light shoes phone someone",
    "someone": "Tom next door",
    "stage_1": "10",
    "stage_2": "10",
    "stage_3": "4",
    "agreed": "yes",
}
PRACTICE = Practice(name="Harbour Balance", phone="+12025550100", time_zone="America/New_York")


def read(**changes: str | None) -> Draft:
    given = {name: value for name, value in {**FILLED, **changes}.items() if value is not None}
    return read_intake(given, PRACTICE)


def problems(**changes: str | None) -> dict[str, str]:
    with pytest.raises(Unfinished) as refused:
        read(**changes)
    return refused.value.problems


# --- reading --------------------------------------------------------------------------------------


def test_a_typical_client_may_begin_at_once() -> None:
    draft = read()
    assert draft.outcome == "start"
    assert draft.begins
    assert draft.waits_for == ()
    assert draft.new.called == "Edda"
    assert draft.new.phone == "+12025550177"
    assert draft.zone.zone == "America/New_York"
    assert draft.new.profile.body.estimated
    assert draft.new.profile.body.foot_length_mm == 246
    assert draft.new.settings.prompt_at == time(9)
    assert draft.new.settings.weekdays == frozenset(range(7))
    assert draft.rung.landmark == "staggered"
    assert draft.new.first_reason == draft.suggestion.because


@pytest.mark.parametrize("name", [*(one.name for one in QUESTIONS), "name", "phone", "sex"])
def test_what_must_be_filled_in_is_told_at_its_field(name: str) -> None:
    assert set(problems(**{name: None})) == {name}
    assert set(problems(**{name: "  "})) == {name}


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("name", "x" * 81, "1 to 80 characters"),
        ("phone", "call me", "a telephone number"),
        ("time_zone", "Moon/Crater", "zone name"),
        ("language", "tlh", "en or es"),
        ("falls", "often", "none or one or more or unsure"),
        ("sex", "cat", "female or male"),
        ("height_cm", "1.64", "from 120 to 220"),
        ("height_cm", "tall", "from 120 to 220"),
        ("height_cm", "nan", "from 120 to 220"),
        ("weaker", "both", "none or left or right"),
        ("mat_layers", "3", "0 or 1 or 2 or 4 or 8"),
        ("foam", "blue", "none or whole or cut or both"),
        ("home", "counter sofa", "among counter"),
        ("stage_1", "11", "from 0 to 10"),
        ("stage_3", None, ""),
        ("prompt_at", "25:00", "time of day"),
        ("prompt_at", "22:30", "from 08:00 to before 21:00"),
        ("weekdays", "-", "at least one day"),
        ("weekdays", "mon someday", "among mon"),
        ("target_s", "45", "from 10 to 30"),
        ("caution", "reckless", "gentle or usual or keen"),
        ("agreed", "maybe", "yes or no"),
    ],
)
def test_a_wrong_value_is_told_at_its_field(field: str, value: str | None, says: str) -> None:
    found = problems(**{field: value})
    assert set(found) == {field}
    assert says in found[field]


def test_everything_wrong_is_told_at_once() -> None:
    assert set(problems(name="", phone="x", falls="", height_cm="9", target_s="1")) == {
        "name",
        "phone",
        "falls",
        "height_cm",
        "target_s",
    }


@pytest.mark.parametrize(
    ("stages", "field"),
    [
        ({"stage_1": "5", "stage_2": "3", "stage_3": None}, "stage_2"),
        ({"stage_1": "10", "stage_2": None, "stage_3": "4"}, "stage_2"),
        ({"stage_1": "10", "stage_2": "10", "stage_3": "10"}, "stage_4"),
        ({"stage_1": None, "stage_2": None, "stage_3": "3"}, "stage_1"),
    ],
)
def test_stages_that_cannot_have_been_are_told(stages, field: str) -> None:
    assert field in problems(**stages)


def test_measures_replace_the_guess_and_need_no_sex() -> None:
    draft = read(
        sex=None, height_cm=None, foot_length_cm="25,2", foot_breadth_cm="9.4", hip_width_cm="18"
    )
    body = draft.new.profile.body
    assert (body.foot_length_mm, body.foot_breadth_mm, body.hip_width_mm) == (252, 94, 180)
    assert not body.estimated


def test_half_measured_is_told() -> None:
    assert set(problems(foot_length_cm="25")) == {"foot_breadth_cm", "hip_width_cm"}


@pytest.mark.parametrize(
    ("measures", "field"),
    [
        (("18", "14", "18", None), "foot_breadth_cm"),
        (("25", "9", "40", None), "hip_width_cm"),
        ((None, None, None, "27"), "narrowest_cm"),
    ],
)
def test_a_body_that_cannot_be_is_told(measures, field: str) -> None:
    names = ("foot_length_cm", "foot_breadth_cm", "hip_width_cm", "narrowest_cm")
    assert field in problems(**dict(zip(names, measures, strict=True)))


def test_what_is_to_be_spared_reaches_the_ladder() -> None:
    draft = read(weaker="left", no_full_weight="right", big_toe_pain="yes", mat_layers="4")
    body = draft.new.profile.body
    assert (body.weaker, body.no_full_weight, body.big_toe_pain) == (Side.LEFT, Side.RIGHT, True)
    assert draft.new.profile.equipment.mat_layers == 4


def test_numb_feet_keep_the_ladder_on_firm_ground() -> None:
    draft = read(numb="yes", mat_layers="8")
    assert draft.outcome == "start"
    assert draft.new.profile.limits.no_soft_surface


def test_side_by_side_not_held_asks_a_clinician_first() -> None:
    draft = read(stage_1="6", stage_2=None, stage_3=None)
    assert draft.outcome == "ask_first"
    assert not draft.begins
    assert any("not held" in line for line in draft.holding)


@pytest.mark.parametrize("lacking", ["counter", "floor", "phone"])
def test_without_a_safe_place_nothing_begins(lacking: str) -> None:
    home = " ".join(name for name in FILLED["home"].split() if name != lacking)
    draft = read(home=home)
    assert draft.outcome == "start"
    assert not draft.begins


def test_without_a_yes_nothing_begins() -> None:
    assert not read(agreed=None).begins


def test_only_an_easier_rung_can_be_chosen() -> None:
    suggested = read()
    easier = suggested.easier[0]
    chosen = read(first_key=easier.key)
    assert chosen.rung == easier
    assert chosen.new.first_key == easier.key
    assert "easier rung was chosen" in chosen.new.first_reason
    harder = read(first_key="firm/tandem/hover")
    assert harder.new.first_key == suggested.suggestion.rung.key


def test_a_list_may_leave_the_questions_for_later() -> None:
    given = {name: value for name, value in FILLED.items() if name not in harmless()}
    draft = read_intake(given, PRACTICE, screened=False)
    assert draft.outcome == "ask_first"
    assert not draft.begins
    with pytest.raises(Unfinished):
        read_intake({**given, "falls": "none"}, PRACTICE, screened=False)


@given(st.dictionaries(st.sampled_from(FIELDS), st.text(max_size=30), max_size=12))
def test_whatever_is_typed_is_read_or_told_field_by_field(typed: dict[str, str]) -> None:
    told: dict[str, str] = {}
    draft = None
    try:
        draft = read_intake({**FILLED, **typed}, PRACTICE)
    except Unfinished as refused:
        told = refused.problems
    if draft is None:
        assert told
        assert set(told) <= set(FIELDS)
        assert all(sentence.endswith(".") for sentence in told.values())
    else:
        assert draft.rung.key in {rung.key for rung in (draft.suggestion.rung, *draft.easier)}


def test_defaults_are_fields() -> None:
    assert set(DEFAULTS) < set(FIELDS)
    assert len(set(FIELDS)) == len(FIELDS)


# --- storing, and beginning -----------------------------------------------------------------------


@pytest.fixture
def add(world, trainer: Trainer):
    """Adds a client from fields and gives their id."""

    def added(**changes: str | None) -> int:
        with world.store.write() as session:
            practice = session.get_one(Practice, trainer.practice_id)
            given = {k: v for k, v in {**FILLED, **changes}.items() if v is not None}
            draft = read_intake(given, practice)
            return add_from(session, world.clock.now(), trainer, draft).id

    return added


def texts(world, client_id: int) -> list[str]:
    with world.store.read() as session:
        rows = select(Message.kind).where(Message.client_id == client_id)
        return list(session.exec(rows).all())


def act(world, client_id: int, what, *args: object, **named: object) -> None:
    with world.store.write() as session:
        client = session.get_one(Client, client_id)
        trainer = session.get_one(Trainer, client.trainer_id)
        what(session, world.clock.now(), trainer, client, *args, **named)


def resumed(session, now, trainer: Trainer, client: Client) -> None:
    situation = load(session, client)
    assert situation is not None
    resume(session, now, trainer, situation, situation.placement.rung_key, "Fine again")


def welcomed(session, now, _trainer, client: Client) -> None:
    welcome(session, now, session.get_one(Practice, client.practice_id), client)


def test_everything_of_an_intake_is_stored_and_the_first_text_goes(world, add) -> None:
    client_id = add()
    assert texts(world, client_id) == ["welcome"]
    with world.store.read() as session:
        client = session.get_one(Client, client_id)
        assert client.address == "4 Mill Lane, Whitby"
        assert (client.kin_name, client.kin_phone) == ("Tom Vorlage", "+12025550166")
        assert client.number_to_second
        assert (client.state, client.consent_at) == ("active", world.clock.now())
        assert "Harbour Balance" in (client.consent_wording or "")
        screening = session.exec(select(Screening).where(Screening.client_id == client_id)).one()
        assert (screening.answers, screening.outcome) == (harmless(), "start")
        home = session.exec(select(HomeSetup).where(HomeSetup.client_id == client_id)).one()
        assert (len(home.in_place), home.someone) == (6, "Tom next door")
        baseline = session.exec(select(Baseline).where(Baseline.client_id == client_id)).one()
        assert baseline.held_s == [10, 10, 4]
        situation = load(session, client)
        assert situation is not None
        assert situation.placement.rung_key == baseline.suggested_key
        actions = session.exec(select(Audit.action).where(Audit.client_id == client_id)).all()
        assert {"client added", "screened", "texts begun"} <= set(actions)


def test_spanish_speakers_agree_in_spanish(world, add) -> None:
    client_id = add(language="es")
    with world.store.read() as session:
        assert "Acepto" in (session.get_one(Client, client_id).consent_wording or "")


def test_nothing_goes_before_the_clinicians_word(world, add) -> None:
    client_id = add(chest="yes")
    assert texts(world, client_id) == []
    with pytest.raises(AskFirst):
        act(world, client_id, begin_texts, agreed=True)
    with pytest.raises(AskFirst):
        act(world, client_id, welcomed)
    with world.store.read() as session:
        assert session.get_one(Client, client_id).state == "invited"
    act(world, client_id, record_clinician, Word("Dr Sample", "Seen today, no concern.", True))
    act(world, client_id, begin_texts, agreed=False)
    assert texts(world, client_id) == ["welcome"]


def test_a_clinicians_no_stands_until_another_word(world, add) -> None:
    client_id = add(faint="yes")
    act(world, client_id, record_clinician, Word("Dr Sample", "Not before the heart test.", False))
    with pytest.raises(AskFirst):
        act(world, client_id, begin_texts, agreed=True)
    act(world, client_id, record_clinician, Word("Dr Sample", "Test fine, go ahead.", True))
    act(world, client_id, begin_texts, agreed=True)
    assert texts(world, client_id) == ["welcome"]


@pytest.mark.parametrize("word", [Word("", "said", True), Word("Dr Sample", "  ", True)])
def test_a_clinicians_word_has_a_name_and_words(world, add, word: Word) -> None:
    client_id = add(aid="yes")
    with pytest.raises(ImpossibleValue):
        act(world, client_id, record_clinician, word)
    with world.store.read() as session:
        screening = latest_screening(session, client_id)
        assert screening is not None
        assert screening.clinician_allows is None


def test_not_by_text_cannot_be_talked_round_only_asked_again(world, add) -> None:
    client_id = add(stands="no")
    with pytest.raises(ImpossibleValue):
        act(world, client_id, record_clinician, Word("Dr Sample", "Fine.", True))
    with pytest.raises(NotByText):
        act(world, client_id, begin_texts, agreed=True)
    act(world, client_id, screen_again, harmless())
    act(world, client_id, begin_texts, agreed=True)
    assert texts(world, client_id) == ["welcome"]


def test_asking_again_does_not_forget_a_baseline_that_was_not_held(world, add) -> None:
    client_id = add(stage_1="5", stage_2=None, stage_3=None)
    act(world, client_id, screen_again, harmless())
    with pytest.raises(AskFirst):
        act(world, client_id, begin_texts, agreed=True)


def test_the_home_must_be_ready_and_the_client_have_agreed(world, add) -> None:
    client_id = add(home="light", agreed=None)
    with pytest.raises(NotReady, match="counter"):
        act(world, client_id, begin_texts, agreed=True)
    act(world, client_id, set_home, frozenset({"counter", "floor", "phone"}), "")
    with pytest.raises(NotReady, match="agreed"):
        act(world, client_id, begin_texts, agreed=False)
    with world.store.read() as session:
        assert session.get_one(Client, client_id).consent_at is None
        stands = standing(session, session.get_one(Client, client_id))
    assert stands.waits_for == ("They have not agreed to texts yet.",)
    act(world, client_id, begin_texts, agreed=True)
    assert texts(world, client_id) == ["welcome"]


def test_consent_given_before_the_clinicians_word_keeps_its_date(world, add) -> None:
    client_id = add(drowsy="yes")
    with world.store.read() as session:
        agreed_at = session.get_one(Client, client_id).consent_at
    assert agreed_at == world.clock.now()
    world.pass_time(days=2)
    act(world, client_id, record_clinician, Word("Pharmacist Sample", "Mornings are fine.", True))
    act(world, client_id, begin_texts, agreed=False)
    with world.store.read() as session:
        client = session.get_one(Client, client_id)
        assert client.consent_at == agreed_at
        assert client.state_since == world.clock.now()


def test_who_gets_texts_is_not_begun_twice(world, add) -> None:
    client_id = add()
    with pytest.raises(AlreadyBegun):
        act(world, client_id, begin_texts, agreed=True)
    assert texts(world, client_id) == ["welcome"]


def test_who_gets_texts_is_screened_at_any_time_and_rests_where_it_now_says_so(world, add) -> None:
    world.client_id = client_id = add()
    act(world, client_id, screen_again, harmless())
    assert world.client.state == "active"
    act(world, client_id, screen_again, {**harmless(), "chest": "yes"})
    assert world.client.state == "resting"
    with pytest.raises(AskFirst):
        act(world, client_id, resumed)
    act(world, client_id, record_clinician, Word("Dr Sample", "Fine.", True))
    act(world, client_id, resumed)
    assert world.client.state == "active"
    with world.store.read() as session:
        assert len(session.exec(select(Screening)).all()) == 3


@pytest.mark.parametrize("texts_in", [("START",), ("I fell", "no"), ("STOP", "I fell", "START")])
def test_no_text_of_theirs_begins_practice_for_who_was_not_cleared(world, add, texts_in) -> None:
    world.client_id = add(chest="yes")
    for words in texts_in:
        world.reply(words)
    assert world.client.state == "invited"
    for alert in world.alerts().values():
        with world.store.write() as session:
            situation = load(session, session.get_one(Client, world.client_id))
            assert situation is not None
            trainer = session.get_one(Trainer, world.trainer_id)
            here = situation.placement.rung_key
            handling = Handling("Phoned", "", here, unhurt())
            found = session.get_one(Alert, alert.id)
            handle(session, world.clock.now(), trainer, found, situation, handling)
    assert world.client.state == "invited"
    world.pass_time(days=3)
    assert world.sent("prompt") == []


def test_a_rest_is_not_ended_while_the_screening_stands_against_it(world, add) -> None:
    world.client_id = add(chest="yes")
    with world.store.write() as session:
        session.get_one(Client, world.client_id).state = "resting"
    with pytest.raises(AskFirst):
        act(world, world.client_id, resumed)


def test_a_phone_that_another_client_has_stores_nothing(world, add) -> None:
    add()
    with pytest.raises(ImpossibleValue):
        add(name="Someone Else")
    with world.store.read() as session:
        assert len(session.exec(select(Screening)).all()) == 1
        assert "Someone Else" not in {client.name for client in session.exec(select(Client))}
