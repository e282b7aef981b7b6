"""The calendar of reviews due: valid, private, and with nothing of anybody but a first name."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.reviews.calendar import (
    ReviewDay,
    calendar,
    calendar_at,
    end_address,
    new_address,
    review_days,
)
from rungwise.coach.reviews.retests import record_call
from rungwise.errors import NotFound
from rungwise.ladder.body import Body, Profile
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, Trainer, TrainerFeed

HERE = "https://balance.example.org"
BEGAN = date(2026, 3, 2)
DUE = BEGAN + timedelta(weeks=6)


def address(world, trainer) -> str:
    with world.store.write() as session:
        return new_address(session, world.clock.now(), trainer)


def at(world, token: str) -> Calendar:
    with world.store.read() as session:
        return Calendar.from_ical(calendar_at(session, world.clock.now(), token, HERE))


def test_the_next_review_is_an_all_day_entry(world, trainer):
    (event,) = at(world, address(world, trainer)).events
    assert (event.start, event.end) == (DUE, DUE + timedelta(days=1))
    assert str(event["SUMMARY"]) == "Retest or call: Ada"
    assert str(event["URL"]) == f"{HERE}/clients/{world.client_id}/retests"
    assert event["DTSTAMP"].dt == world.clock.now()
    assert str(event["UID"]) == f"review-{world.client_id}-{DUE.isoformat()}@rungwise"


def test_it_is_what_rfc_5545_asks_for(world, trainer):
    with world.store.read() as session:
        text = calendar_at(session, world.clock.now(), address(world, trainer), HERE).decode()
    lines = text.split("\r\n")
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-2:] == ["END:VCALENDAR", ""]
    assert "VERSION:2.0" in lines
    assert any(line.startswith("PRODID:") for line in lines)
    assert f"DTSTART;VALUE=DATE:{DUE:%Y%m%d}" in lines
    assert all(len(line.encode()) <= 75 for line in lines)
    assert "\n" not in text.replace("\r\n", "")


@given(st.text(max_size=200), st.text(min_size=1, max_size=60))
def test_any_name_is_read_back_by_another_library(practice, called):
    client = Client(id=7, called=called)
    day = ReviewDay(client, DUE, overdue=False)
    made = calendar(practice, [day], datetime(2026, 3, 2, tzinfo=UTC), HERE)
    assert all(len(line) <= 75 for line in made.split(b"\r\n"))
    read = Calendar.from_ical(made)
    (event,) = read.events
    kept = "".join(letter for letter in called if letter.isprintable() or letter == "\n")
    assert str(event["SUMMARY"]) == f"Retest or call: {kept}"
    assert event["TRANSP"] == "TRANSPARENT"
    assert read["REFRESH-INTERVAL"].dt == timedelta(hours=12)


def test_it_holds_no_number_no_full_name_and_no_reason(world, trainer):
    token = address(world, trainer)
    world.tick()
    world.reply("I fell")
    with world.store.read() as session:
        text = calendar_at(session, world.clock.now(), token, HERE).decode()
    for secret in ("+12025550103", "Sample", "fell", "fall"):
        assert secret not in text.lower().replace("sample", "Sample")


def test_a_call_moves_the_entry(world, trainer):
    token = address(world, trainer)
    world.clock.set(datetime(2026, 3, 20, 15, tzinfo=UTC))
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        record_call(session, world.clock.now(), trainer, client, "All well")
    (event,) = at(world, token).events
    assert event.start == date(2026, 3, 20) + timedelta(weeks=6)


def test_an_overdue_review_says_so(world, trainer):
    token = address(world, trainer)
    world.clock.set(datetime(2026, 5, 1, 15, tzinfo=UTC))
    (event,) = at(world, token).events
    assert str(event["SUMMARY"]).endswith("(overdue)")
    assert event.start == DUE


def test_an_address_made_anew_ends_the_old_one(world, trainer):
    old = address(world, trainer)
    new = address(world, trainer)
    assert len(new) >= 40
    for token in (old, "", "x", new[:-1]):
        with pytest.raises(NotFound):
            at(world, token)
    at(world, new)
    with world.store.read() as session:
        assert new not in str(session.get_one(TrainerFeed, trainer.id).model_dump())
    with world.store.write() as session:
        end_address(session, world.clock.now(), trainer)
    with pytest.raises(NotFound):
        at(world, new)


def test_a_trainer_who_has_left_has_no_calendar(world, trainer):
    token = address(world, trainer)
    with world.store.write() as session:
        session.get_one(Trainer, trainer.id).active = False
    with pytest.raises(NotFound):
        at(world, token)


def test_reviews_come_in_the_order_of_their_dates(world, trainer):
    with world.store.write() as session:
        body = Profile(Body(foot_length_mm=271, foot_breadth_mm=102, hip_width_mm=177))
        for number, name in enumerate(("Bo Specimen", "Cy Instance")):
            began = world.clock.now() + timedelta(days=5 - 9 * number)
            new = NewClient(
                name, name[:2], f"+120255501{40 + number}", body, "America/New_York", agreed=True
            )
            add_client(session, began, trainer, new)
    world.clock.advance(timedelta(days=40))
    with world.store.read() as session:
        days = review_days(session, Scope(trainer.practice_id, trainer.id), world.clock.now())
    assert [one.client.called for one in days] == ["Cy", "Ada", "Bo"]
    assert [one.overdue for one in days] == [True, False, False]
