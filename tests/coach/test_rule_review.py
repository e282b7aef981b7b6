"""The rule review: same settings, no difference; other settings, exactly the days they change."""

from collections import Counter
from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from sqlalchemy import func, text
from sqlmodel import SQLModel, select
from stored_practice import BEGAN, PROFILE, SETTINGS, lives, store_clients, store_practice

from rungwise.coach.plan.placement import pause, resume_paused
from rungwise.coach.record.codec import ladder_of, report_from_json
from rungwise.coach.record.situation import past
from rungwise.coach.record.verdict import verdict
from rungwise.coach.rule.replay import replay
from rungwise.coach.rule.rule_review import RuleReview, clients_to_review, review_rule
from rungwise.coach.rule.rule_trial import TrialSettings
from rungwise.errors import ImpossibleValue
from rungwise.ladder.caution import PRESETS, Caution
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, MoveRow, PlanRow, Report

ON_SQLITE = pytest.mark.parametrize("store", ["sqlite"], indirect=True)
USUAL = TrialSettings("usual")
GENTLE = TrialSettings("gentle")


def reviewed(store, ids, trial) -> tuple[RuleReview, list]:
    total, changes = RuleReview(), []
    for one in review_rule(store, ids, trial):
        total.add(one)
        changes += one.changes
    return total, changes


def on_version(world, version: int) -> None:
    """Let this version of the rule decide for the client from now on."""
    with world.store.write() as session:
        plan = session.exec(select(PlanRow).where(PlanRow.client_id == world.client_id)).one()
        plan.settings = {**plan.settings, "rule_version": version}
        session.add(plan)


def days(world, *replies: str | None, prompts: bool = True) -> None:
    """One day each: the prompt at nine, and this reply at ten if there is one."""
    for reply in replies:
        today = world.clock.now().astimezone(world.situation.zone).date()
        for hour in ("09:00", "10:00") if prompts else ("10:00",):
            at = datetime.fromisoformat(f"{today.isoformat()}T{hour}:00")
            world.clock.set(at.replace(tzinfo=world.situation.zone))
            world.tick()
        if reply is not None:
            world.reply(reply)
        world.clock.advance(timedelta(hours=20))


def test_a_move_up_after_two_steady_days_would_wait_for_the_third(world):
    days(world, "20 steady", "20 steady")
    up = world.moves()[-1]
    assert up.kind == "up"
    total, changes = reviewed(world.store, [world.client_id], GENTLE)
    (change,) = changes
    assert (change.day, change.was, change.would) == (up.local_date, "up", "stay")
    assert (change.rung_key, change.was_to, change.would_to) == (
        up.from_key, up.to_key, up.from_key,
    )  # fmt: skip
    assert "3 are needed" in change.because
    assert total.sentences(GENTLE.name)[0] == (
        "With the gentle preset, 1 of 1 moves up would have waited; 0 of those were followed by a "
        "move back within 7 days; by chance alone 0 would."
    )


def test_the_same_settings_change_nothing_after_corrections_rests_and_days_away(world, trainer):
    days(world, "20 steady", "20 steady", "20 wobbly")
    world.reply("no, 12")
    world.reply("no, 20 and steady")
    days(world, "20 steady", None, None, None, None, None, None, None, None, "20 steady")
    days(world, "20 wobbly", "9 wobbly", "I fell over")
    kinds = Counter(move.kind for move in world.moves())
    assert {"up", "back", "rest", "stay", "override"} <= set(kinds)
    total, changes = reviewed(world.store, [world.client_id], USUAL)
    assert changes == []
    assert total.decided == {kind: n for kind, n in kinds.items() if kind != "override"}
    with world.store.read() as session:
        assert not any(one.what == "move" for one in replay(session))


@ON_SQLITE
def test_a_wait_is_told_with_what_came_after_it(world):
    days(world, "20 steady", "20 steady", "20 wobbly", "20 wobbly")
    assert [move.kind for move in world.moves()][-3:] == ["up", "stay", "back"]
    total, changes = reviewed(world.store, [world.client_id], GENTLE)
    assert [change.then_back for change in changes if change.was == "up"] == [True]
    assert total.waited_then_back == 1
    assert total.ups_then_back == 1


def test_what_waited_is_said_beside_what_chance_would_make_of_it():
    total = RuleReview(82, Counter(up=82), Counter({("up", "stay"): 41}), 9, 10)
    # SciPy's hypergeom(82, 10, 41).ppf([0.025, 0.975]) gives 2 and 8.
    assert total.sentences("x")[0].endswith(
        "9 of those were followed by a move back within 7 days; by chance alone 2 to 8 would."
    )


@ON_SQLITE
def test_an_absence_that_gentler_settings_would_have_answered(world):
    on_version(world, 1)
    days(world, "20 steady", "20 steady", "20 steady", "20 steady", "20 steady", "20 steady")
    here = world.situation.placement.rung_key
    days(world, None, None, None, None, None, "20 steady")  # six days without practice
    total, changes = reviewed(world.store, [world.client_id], GENTLE)
    (absence,) = [change for change in changes if change.was == "nothing"]
    assert (absence.would, absence.rung_key) == ("back", here)
    assert "Away 5 days" in absence.because
    assert total.changed["nothing", "back"] == 1


@ON_SQLITE
def test_an_absence_that_bolder_settings_would_have_let_pass(world):
    on_version(world, 1)
    days(world, "20 steady", "20 steady", "20 steady", "20 steady", *[None] * 8)
    assert world.moves()[-1].rule == "away_back"
    bolder = TrialSettings(changes={"away_back_days": 14, "away_rest_days": 28})
    total, _ = reviewed(world.store, [world.client_id], bolder)
    assert total.changed["back", "nothing"] == 1


@ON_SQLITE
def test_days_of_a_pause_are_no_absence(world, trainer):
    days(world, "20 steady", "20 steady", "20 steady", "20 steady")
    with world.store.write() as session:
        pause(session, world.clock.now(), trainer, world.situation)
    world.clock.advance(timedelta(days=12))
    world.tick()
    with world.store.write() as session:
        resume_paused(session, world.clock.now(), trainer, world.situation)
    days(world, "20 steady")
    _, changes = reviewed(world.store, [world.client_id], GENTLE)
    assert [change for change in changes if change.was == "nothing"] == []


# --- many lives -----------------------------------------------------------------------------------


@pytest.fixture
def practice(store):
    """Eight clients who live four lives of ten weeks."""
    with store.write() as session:
        trainer = store_practice(session)
    ids = store_clients(store, trainer, lives(4, 70), 8)
    return store, trainer, ids


def test_the_same_settings_change_nothing_in_any_life(practice):
    store, _, ids = practice
    total, changes = reviewed(store, ids, USUAL)
    assert changes == []
    assert total.clients == 8
    assert total.decisions > 200


@ON_SQLITE
@pytest.mark.parametrize(
    "trial",
    [
        GENTLE,
        TrialSettings("keen"),
        TrialSettings(changes={"least_chance": 0.9}),
        TrialSettings(changes={"least_chance": None, "steady_days_step": 5}),
        TrialSettings("gentle", {"far_short_share": 0.9, "back_days": 1}),
    ],
    ids=lambda trial: trial.name,
)
def test_each_difference_is_what_the_rule_itself_decides(practice, trial):
    """Against the slow way: each decision from the database, as the loop would take it."""
    store, _, ids = practice
    _, changes = reviewed(store, ids[:1], trial)
    ladder, settings = ladder_of(PROFILE), SETTINGS
    caution = trial.caution(settings.caution)
    decided, expected = set(), {}
    with store.read() as session:
        rows = select(MoveRow).where(MoveRow.client_id == ids[0], MoveRow.report_id.is_not(None))
        for row in session.exec(rows).all():
            told = session.get_one(Report, row.report_id).told
            plan = replace(settings.plan(row.resting), caution=caution)
            history = past(session, ids[0], as_of=row)
            would = verdict(ladder, plan, history, report_from_json(told))
            decided.add((row.local_date, row.kind, row.to_key))
            if (would.kind, would.to_key) != (row.kind, row.to_key):
                expected[row.local_date, row.kind, row.to_key] = (would.kind, would.to_key)
    found = {(one.day, one.was, one.was_to): (one.would, one.would_to) for one in changes}
    assert {key: found[key] for key in found if key in decided} == expected
    assert expected


@ON_SQLITE
def test_no_settings_ever_undo_a_rest_for_safety(practice):
    store, _, ids = practice
    with store.read() as session:
        rests = select(func.count()).select_from(MoveRow).where(MoveRow.rule == "safety_sign")
        assert session.execute(rests).scalar()
    for trial in (GENTLE, TrialSettings("keen"), TrialSettings(changes={"back_days": 1})):
        _, changes = reviewed(store, ids, trial)
        assert changes
        for change in changes:
            away = change.was == "rest" and "Away" in change.because
            assert change.was != "rest" or away or change.because == "No move for this absence."


@ON_SQLITE
def test_looking_writes_nothing(practice):
    store, _, ids = practice

    def everything():
        with store.read() as session:
            return {
                name: session.execute(select(func.count()).select_from(table)).scalar()
                for name, table in SQLModel.metadata.tables.items()
            } | {"moves": session.execute(text("SELECT * FROM move ORDER BY id")).all()}

    before = everything()
    reviewed(store, ids, GENTLE)
    assert everything() == before


@ON_SQLITE
def test_whom_it_covers(practice):
    store, trainer, ids = practice
    with store.read() as session:
        mine = Scope(trainer.practice_id, trainer.id)
        assert clients_to_review(session, mine, None) == ids
        assert clients_to_review(session, None, ids[2]) == [ids[2]]
        assert clients_to_review(session, Scope(trainer.practice_id, trainer.id + 1), None) == []
        assert session.get_one(Client, ids[0]).created_at.date() == BEGAN == date(2025, 1, 6)


# --- the settings ---------------------------------------------------------------------------------


def test_settings_stand_in_for_each_clients_own():
    own = Caution(back_days=3, back_window_days=5)
    assert GENTLE.caution(own) == PRESETS["gentle"]
    assert TrialSettings(changes={"back_days": 1}).caution(own).back_window_days == 5
    both = TrialSettings("gentle", {"back_days": 1})
    assert both.caution(own).back_days == 1
    assert both.caution(own).steady_days_step == 3
    assert both.name == "the gentle preset and back days 1"
    assert TrialSettings(changes={"least_chance": None}).name == "least chance off"


def test_a_setting_that_no_longer_fits_takes_its_pair_along():
    trial = TrialSettings(changes={"steady_days_step": 6, "away_back_days": 14})
    caution = trial.caution(Caution(away_rest_days=10, away_back_days=7))
    assert (caution.steady_days_step, caution.steady_days_landmark) == (6, 6)
    assert (caution.away_back_days, caution.away_rest_days) == (14, 15)


@pytest.mark.parametrize(
    ("preset", "changes"),
    [
        (None, {}),
        ("bold", {}),
        (None, {"speed": 3}),
        (None, {"steady_days_step": 1}),
        (None, {"steady_days_step": 2.5}),
        ("gentle", {"away_rest_days": 5}),
    ],
)
def test_settings_that_cannot_be_are_refused(preset, changes):
    with pytest.raises(ImpossibleValue):
        TrialSettings(preset, changes)
