"""Who needs a visit, from what the loop itself stored."""

from collections.abc import Sequence
from datetime import datetime, timedelta

import pytest
from screened import unhurt

from rungwise.coach.accounts.trainers import add_trainer
from rungwise.coach.alerting.alerts import Raised, raise_alert
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.record.codec import report_to_json
from rungwise.coach.record.situation import load, past
from rungwise.coach.reviews.flags import course_of, flags_of
from rungwise.coach.reviews.retests import record_call
from rungwise.coach.reviews.visits import day_seen, who_needs_a_visit
from rungwise.ladder.body import Body, Profile
from rungwise.ladder.day import DayReport, SideHold
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Alert, Client, MoveRow, Practice, Report, Trainer

BODY = Profile(Body(foot_length_mm=271, foot_breadth_mm=102, hip_width_mm=177))


def listed(world) -> list[str]:
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        needed = who_needs_a_visit(session, Scope(client.practice_id, None), world.clock.now())
        return [why.rule for one in needed if one.client.id == client.id for why in one.reasons]


def days(world, *replies: str | None) -> None:
    """One day each: the prompt at nine, and this reply at ten if there is one."""
    for reply in replies:
        today = world.clock.now().astimezone(world.situation.zone).date()
        for hour in ("09:00", "10:00"):
            at = datetime.fromisoformat(f"{today.isoformat()}T{hour}:00")
            world.clock.set(at.replace(tzinfo=world.situation.zone))
            world.tick()
        if reply is not None:
            world.reply(reply)
        world.clock.advance(timedelta(hours=20))


def test_someone_new_and_steady_is_not_listed(world):
    assert listed(world) == []
    days(world, "20 steady", "20 steady", "20 steady")
    assert listed(world) == []


def test_a_fall_lists_and_goes_on_listing_after_it_was_handled(world, trainer):
    days(world, "20 steady", "I fell this morning")
    assert listed(world) == ["fall", "resting"]
    fall = world.alerts()["fall"]
    with world.store.write() as session:
        alert = session.get_one(Alert, fall.id)
        client_rung = world.situation.placement.rung_key
        handling = Handling("Phoned, no injury", "", client_rung, unhurt())
        handle(session, world.clock.now(), trainer, alert, world.situation, handling)
    world.clock.advance(timedelta(days=26))
    assert "fall" in listed(world)
    world.clock.advance(timedelta(days=3))
    assert "fall" not in listed(world)


def test_a_fall_told_without_a_report_counts_too(world):
    world.tick()
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        client.state, client.stopped_from = "stopped", "active"
    world.reply("I fell and can't get up")
    with world.store.write() as session:
        session.get_one(Client, world.client_id).state = "resting"
    assert listed(world)[0] == "fall"


def test_a_correction_takes_a_misreading_back(world):
    days(world, "20 steady", "L20 steady, nearly fell over")
    assert "fall" not in listed(world)
    world.reply("NO")
    assert "fall" not in listed(world)


def test_three_prompts_without_a_word(world):
    days(world, "20 steady", None, None)
    assert listed(world) == []
    days(world, None)
    assert listed(world) == ["silent"]
    world.reply("20 steady")
    assert listed(world) == []


TOLD_S = {"steady": 20.0, "wobbly": 20.0, "short": 14.0, "far_short": 6.0}


def stored(world, verdicts: Sequence[str], harder: bool = False) -> None:
    """A report and its move for each day up to yesterday, as the loop would have stored them.

    With `harder` each day is two rungs above the day before.
    """
    today = world.clock.now().date()
    with world.store.write() as session:
        ladder = world.situation.ladder
        first = ladder.index(world.situation.placement.rung_key)
        for number, verdict in enumerate(verdicts):
            day = today - timedelta(days=len(verdicts) - number)
            rung = ladder.rungs[first + 2 * number if harder else first]
            key, held = rung.key, TOLD_S.get(verdict)
            sides = rung.sides or (None,)
            holds = () if held is None else tuple(SideHold(held, side) for side in sides)
            how = {"steady": "steady", "skipped": None}.get(verdict, "wobbly")
            told = DayReport(day, key, holds, how, skipped=verdict == "skipped")
            at = world.clock.now() - timedelta(days=len(verdicts) - number)
            report = Report(
                client_id=world.client_id,
                local_date=day,
                rung_key=key,
                message_ids=[],
                told=report_to_json(told),
                created_at=at,
            )
            session.add(report)
            session.flush()
            session.add(
                MoveRow(
                    client_id=world.client_id,
                    local_date=day,
                    report_id=report.id,
                    kind="stay",
                    from_key=key,
                    to_key=key,
                    rule="gathering",
                    because=".",
                    alerts=[],
                    facts={"verdict": verdict, "target_s": 20},
                    rule_version=1,
                    plan_version=1,
                    decided_at=at,
                )
            )
        client = session.get_one(Client, world.client_id)
        client.consent_at = world.clock.now() - timedelta(days=42)
        client.last_reply_at = world.clock.now()


def test_getting_worse(world):
    world.clock.advance(timedelta(days=60))
    stored(world, ["steady"] * 36 + ["wobbly", "short", "far_short"] * 2)
    assert listed(world) == ["decline", "review"]
    with world.store.read() as session:
        flag = flags_of(session, [world.client_id])[world.client_id].decline
    assert flag is not None
    assert flag.says.startswith("Much worse at once since about ")
    assert flag.says.endswith("days. Ring today: ask what happened, and see them soon.")


def line(world) -> str | None:
    with world.store.read() as session:
        situation = load(session, session.get_one(Client, world.client_id))
        today = situation.local_date(world.clock.now())
        course = course_of(session, situation, past(session, world.client_id), today)
        return None if course is None else course.says


def test_one_line_on_a_client_at_most(world):
    assert line(world) is None
    world.clock.advance(timedelta(days=90))
    stored(world, ["steady", "wobbly", "steady", "steady"] * 15)
    assert line(world).startswith("No farther than on ")
    assert line(world).endswith("think of another stance or support.")
    with world.store.write() as session:
        session.get_one(Client, world.client_id).state = "paused"
    assert line(world) is None


def test_a_flag_is_the_line_until_a_call(world, trainer):
    world.clock.advance(timedelta(days=60))
    stored(world, ["steady"] * 36 + ["wobbly", "short", "far_short"] * 2)
    assert line(world).startswith("Much worse at once since about ")
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        record_call(session, world.clock.now(), trainer, client, "Rang: a cold, and better now")
    assert "Much worse" not in (line(world) or "")


def test_told_steady_for_ever_whatever_the_rung(world):
    world.clock.advance(timedelta(days=60))
    stored(world, ["steady"] * 23, harder=True)
    assert "told_too_well" in listed(world)


def test_practising_less(world):
    world.clock.advance(timedelta(days=60))
    stored(world, ["steady"] * 28 + ["skipped"] * 14)
    assert listed(world) == ["adherence", "review"]


def test_stuck_and_at_a_gate_are_the_open_alerts(world):
    for kind in ("stuck", "gate_reached"):
        with world.store.write() as session:
            client = session.get_one(Client, world.client_id)
            practice = session.get_one(Practice, client.practice_id)
            raise_alert(session, world.clock.now(), practice, client, Raised(kind, "x."))
    assert listed(world) == ["stuck", "gate"]


@pytest.mark.parametrize(
    ("told", "verdict", "practised", "bad"),
    [
        ({"holds": [{"seconds": 20, "side": None}]}, "steady", True, False),
        ({"holds": [{"seconds": 4, "side": None}]}, "far_short", True, True),
        ({"steadiness": "wobbly"}, "wobbly", True, True),
        ({"steadiness_by_side": {"left": "wobbly"}}, "unfinished", True, None),
        ({"skipped": True}, "skipped", False, None),
        ({}, None, False, None),
    ],
)
def test_what_a_stored_day_counts_as(world, told, verdict, practised, bad):
    stored = {
        "skipped": False, "holds": [], "steadiness": None, "steadiness_by_side": {}, "fall": "no",
        **told,
    }  # fmt: skip
    seen = day_seen(world.clock.now().date(), stored, verdict)
    assert (seen.practised, seen.bad) == (practised, bad)


def test_the_list_keeps_to_the_trainers_own_clients_and_the_lead_sees_all(world, trainer):
    days(world, "I fell")
    now = world.clock.now()
    with world.store.write() as session:
        practice = session.get_one(Practice, trainer.practice_id)
        password = "a long enough password"
        other = add_trainer(session, now, practice, "Omar Sample", "o@example.org", password)
        other.page_answered_at = now
        new = NewClient("Bo Specimen", "Bo", "+12025550177", BODY, "America/New_York", agreed=True)
        theirs = add_client(session, now, other, new)
        theirs.state, theirs.state_since = "resting", now - timedelta(days=2)
        other_id, their_id = other.id, theirs.id
    with world.store.read() as session:

        def seen_by(trainer_id: int, role: str = "trainer") -> list[int]:
            one = session.get_one(Trainer, trainer_id)
            scope = Scope(one.practice_id, None if role == "lead" else one.id)
            return [need.client.id for need in who_needs_a_visit(session, scope, now)]

        assert seen_by(trainer.id) == [world.client_id]
        assert seen_by(other_id) == [their_id]
        assert seen_by(trainer.id, "lead") == [world.client_id, their_id]
