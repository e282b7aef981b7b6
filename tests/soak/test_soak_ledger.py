"""The soak's judge can find fault: each broken promise is named, and a clean run has none."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from soak_ledger import (
    Accepted,
    Books,
    Offered,
    Person,
    StoredAlert,
    StoredIn,
    StoredOut,
    broken,
)

NOON = datetime(2026, 3, 9, 17, 0, tzinfo=UTC)  # 12:00 in Chicago
TODAY = date(2026, 3, 9)
ADA, BEN, TRAINER = "+13035550001", "+13035550002", "+12025550101"


def at(minutes: float) -> datetime:
    return NOON + timedelta(minutes=minutes)


def clean() -> Books:
    """Ada got her prompt, said that she fell, and got her answer; the trainer was paged."""
    return Books(
        people={
            ADA: Person(ADA, "Ada 1", "America/Chicago", "resting", has_next=False),
            BEN: Person(BEN, "Ben 2", "America/Chicago", prompt_dates=(TODAY,)),
        },
        trainers=frozenset({TRAINER}),
        offered=[
            Offered("MO1", ADA, "I fell", at(10), at(11), alarms=True),
            Offered("MO2", BEN, "20 steady", at(10), at(11)),
        ],
        accepted=[
            Accepted(1, ADA, "Stand.", at(0)),
            Accepted(2, BEN, "Stand.", at(0)),
            Accepted(3, ADA, "Stop. Sit.", at(12)),
            Accepted(4, TRAINER, "URGENT: Ada 1 reports a fall.", at(12)),
            Accepted(5, BEN, "20 s, steady.", at(12)),
        ],
        stored_in=[
            StoredIn(6, "MO1", ADA, "I fell", "read", at(11)),
            StoredIn(7, "MO2", BEN, "20 steady", "read", at(11)),
        ],
        stored_out=[
            StoredOut(1, ADA, "prompt", "delivered", local_date=TODAY),
            StoredOut(2, BEN, "prompt", "sent", local_date=TODAY),
            StoredOut(3, ADA, "safety", "sent", answers_id=6),
            StoredOut(4, TRAINER, "page", "delivered"),
            StoredOut(5, BEN, "answer", "sent", answers_id=7),
        ],
        alerts=[StoredAlert(ADA, "fall", "urgent")],
    )


def promises(books: Books) -> set[str]:
    return {breach.promise for breach in broken(books)}


def without(rows, **fields):
    """The rows but those with these values."""
    return [row for row in rows if any(getattr(row, name) != fields[name] for name in fields)]


def changed(rows, which, **fields):
    """The rows, the one of this id with other values."""
    return [replace(row, **fields) if row.id == which else row for row in rows]


def test_a_clean_run_breaks_no_promise_and_is_counted():
    books = clean()
    assert broken(books) == []
    assert books.counts["texts in"] == 2
    assert books.counts["answered"] == 2
    assert books.counts["prompts"] == 2
    assert books.counts["urgent alerts"] == 1


def lost_text(books):
    books.stored_in = without(books.stored_in, carrier_id="MO2")
    return "lost text"


def changed_words(books):
    books.stored_in = changed(books.stored_in, 7, body="2 steady")
    return "lost text"


def stored_twice(books):
    books.stored_in = [*books.stored_in, replace(books.stored_in[1], id=8, state="repeat")]
    return "stored twice"


def never_taken(books):
    books.offered[1].acked_at = None
    return "never taken"


def lost_reply(books):
    books.stored_out = without(books.stored_out, id=5)
    books.accepted = without(books.accepted, message_id=5)
    return "lost reply"


def lost_answer_nobody_was_told_of(books):
    books.stored_out = changed(books.stored_out, 5, state="unknown")
    books.accepted = without(books.accepted, message_id=5)
    return "lost reply"


def taken_back_without_a_stop(books):
    books.stored_out = changed(books.stored_out, 5, state="cancelled")
    books.accepted = without(books.accepted, message_id=5)
    return "unanswered"


def repeat_of_nothing(books):
    books.stored_in = changed(books.stored_in, 7, state="repeat")
    return "unanswered"


def duplicate_prompt(books):
    books.stored_out = [*books.stored_out, StoredOut(9, BEN, "prompt", "sent", local_date=TODAY)]
    books.accepted = [*books.accepted, Accepted(9, BEN, "Stand.", at(300))]
    return "duplicate prompt"


def prompt_sent_twice(books):
    books.accepted = [*books.accepted, books.accepted[1]]
    return "sent twice"


def missed_page_of_a_fall(books):
    books.accepted = without(books.accepted, message_id=4)
    books.alerts = []
    books.stored_out = without(books.stored_out, id=4)
    return "missed page"


def page_about_somebody_else(books):
    page = Accepted(4, TRAINER, "URGENT: Ben 2 reports a fall.", at(12))
    books.accepted = [*without(books.accepted, message_id=4), page]
    return "missed page"


def page_about_both_that_names_the_other(books):
    page = Accepted(4, TRAINER, "URGENT: Ben 2 reports a fall.", at(12))
    books.accepted = [*without(books.accepted, message_id=4), page]
    books.about = {4: frozenset({ADA, BEN})}
    return "missed page"


def page_that_counts_others(books):
    page = Accepted(4, TRAINER, "URGENT: 2 clients need you.", at(12))
    books.accepted = [*without(books.accepted, message_id=4), page]
    books.about = {4: frozenset({BEN, "+13035550003"})}
    books.people = {**books.people, "+13035550003": replace(books.people[BEN], called="Cy 3")}
    return "missed page"


def page_before_the_fall_was_told(books):
    page = Accepted(4, TRAINER, "URGENT: Ada 1 reports pain.", at(9))
    books.accepted = [*without(books.accepted, message_id=4), page]
    return "missed page"


def unpaged_alert(books):
    books.alerts = [*books.alerts, StoredAlert(BEN, "pain", "urgent")]
    return "missed page"


def no_safety_text(books):
    books.stored_out = changed(books.stored_out, 3, kind="answer")
    return "no safety text"


def said_but_not_sent(books):
    books.accepted = without(books.accepted, message_id=1)
    return "said, not sent"


def sent_but_called_missed(books):
    books.stored_out = changed(books.stored_out, 2, state="missed")
    return "sent, not said"


def sent_and_not_stored(books):
    books.accepted = [*books.accepted, Accepted(99, BEN, "Stand.", at(3))]
    return "sent, not stored"


def in_the_night(books):
    late = replace(books.accepted[1], arrived_at=at(9 * 60 + 2))
    books.accepted = [*without(books.accepted, message_id=2), late]
    return "quiet hours"


def texted_after_stop(books):
    books.offered[1].stops = True
    books.accepted = [*books.accepted, Accepted(8, BEN, "Reminder.", at(20))]
    books.stored_out = [*books.stored_out, StoredOut(8, BEN, "notice", "sent")]
    return "texted after STOP"


def asked_to_practise_at_rest(books):
    books.accepted = [*books.accepted, Accepted(8, ADA, "No word yet.", at(20))]
    books.stored_out = [*books.stored_out, StoredOut(8, ADA, "reminder", "sent")]
    return "asked to practise at rest"


def no_next_prompt(books):
    books.people = {**books.people, BEN: replace(books.people[BEN], has_next=False)}
    return "schedule lost"


def no_prompt_and_no_reason(books):
    days = (TODAY, TODAY + timedelta(days=1))
    books.people = {**books.people, BEN: replace(books.people[BEN], prompt_dates=days)}
    return "schedule lost"


def forged_and_taken(books):
    books.forged_taken = ["FORGED1"]
    return "forgery"


def forged_and_stored(books):
    books.stored_in = [*books.stored_in, StoredIn(8, "FORGED1", BEN, "STOP", "read", at(12))]
    return "forgery"


def work_left_over(books):
    books.left_over = ["prompt of 7 is due"]
    return "left over"


@pytest.mark.parametrize(
    "breach",
    [
        *(lost_text, changed_words, stored_twice, never_taken, lost_reply),
        *(lost_answer_nobody_was_told_of, taken_back_without_a_stop, repeat_of_nothing),
        *(duplicate_prompt, prompt_sent_twice, missed_page_of_a_fall, page_about_somebody_else),
        *(page_about_both_that_names_the_other, page_that_counts_others),
        *(page_before_the_fall_was_told, unpaged_alert, no_safety_text, said_but_not_sent),
        *(sent_but_called_missed, sent_and_not_stored, in_the_night, texted_after_stop),
        *(asked_to_practise_at_rest, no_next_prompt, no_prompt_and_no_reason),
        *(forged_and_taken, forged_and_stored, work_left_over),
    ],
    ids=lambda breach: breach.__name__,
)
def test_each_broken_promise_is_named(breach):
    books = clean()
    named = breach(books)
    assert named in promises(books)


def test_a_lost_answer_that_the_trainer_was_told_of_is_counted_apart():
    books = clean()
    lost_answer_nobody_was_told_of(books)
    books.alerts = [*books.alerts, StoredAlert(BEN, "undeliverable", "today")]
    assert broken(books) == []
    assert books.counts["answer lost and told"] == 1


def test_one_page_about_several_clients_tells_of_each_without_their_names():
    books = clean()
    page = Accepted(4, TRAINER, "URGENT: 2 clients need you.", at(12))
    books.accepted = [*without(books.accepted, message_id=4), page]
    books.alerts = [*books.alerts, StoredAlert(BEN, "help", "urgent")]
    books.about = {4: frozenset({ADA, BEN})}
    assert broken(books) == []


def test_a_text_on_its_way_at_the_stroke_of_the_quiet_hours_is_counted_apart():
    books = clean()
    late = replace(books.accepted[1], arrived_at=at(9 * 60 + 0.2))
    books.accepted = [*without(books.accepted, message_id=2), late]
    assert broken(books) == []
    assert books.counts["on their way when quiet hours began"] == 1


def test_a_safety_text_may_be_taken_twice_and_is_counted():
    books = clean()
    books.accepted = [*books.accepted, books.accepted[2]]
    assert broken(books) == []
    assert books.counts["safety texts and pages sent again"] == 1


def test_the_same_words_within_a_minute_need_no_second_answer():
    books = clean()
    books.offered = [*books.offered, Offered("MO3", BEN, "20 steady", at(11), at(11.4))]
    books.stored_in = [
        *books.stored_in,
        replace(books.stored_in[1], id=8, carrier_id="MO3", state="repeat", at=at(11.4)),
    ]
    assert broken(books) == []
    assert books.counts["repeats"] == 1
