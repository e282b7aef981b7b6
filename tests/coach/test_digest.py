"""The weekly e-mail: what it counts, that it names nobody, and that it goes once."""

from datetime import UTC, datetime, timedelta
from email.message import EmailMessage

import pytest

from rungwise.carriers.email import NotSent
from rungwise.coach.reviews.weekly_email import (
    RULE_WORDS,
    claim_digest,
    digest_message,
    digest_of,
    feed_of,
    set_digest,
)
from rungwise.evidence import VISIT_RULES
from rungwise.store.tables import Practice, Trainer
from rungwise.ticks.mail import mail_tick

HERE = "https://balance.example.org"
FIRST_DUE = datetime(2026, 3, 9, 11, 0, tzinfo=UTC)  # Monday 07:00 in New York, daylight time


class Post:
    """Stands where the mail server does; refuses with `problem` when one is set."""

    def __init__(self) -> None:
        self.sent: list[EmailMessage] = []
        self.problem: NotSent | None = None

    def send(self, message: EmailMessage) -> None:
        if self.problem is not None:
            raise self.problem
        self.sent.append(message)


@pytest.fixture
def post() -> Post:
    return Post()


def wish(world, trainer, wanted: bool = True) -> None:
    with world.store.write() as session:
        practice = session.get_one(Practice, trainer.practice_id)
        set_digest(session, world.clock.now(), practice, trainer, wanted)


def due(world, trainer) -> datetime | None:
    with world.store.read() as session:
        return feed_of(session, trainer.id).digest_due


def week(world, *replies: str) -> None:
    world.tick()
    for number, reply in enumerate(replies):
        world.clock.set(datetime.fromisoformat(f"2026-03-0{2 + number}T09:00:00-05:00"))
        world.tick()
        world.reply(reply)


def message(world, trainer) -> EmailMessage:
    with world.store.read() as session:
        practice = session.get_one(Practice, trainer.practice_id)
        mine = session.get_one(Trainer, trainer.id)
        digest = digest_of(session, practice, mine, world.clock.now())
        return digest_message(practice, mine, digest, HERE)


def test_it_counts_the_last_full_week(world, trainer):
    week(world, "20 steady", "20 steady", "20 steady", "skipped", "20 wobbly", "I fell")
    world.clock.set(FIRST_DUE)
    found = message(world, trainer)
    text = found.get_content()
    assert found["To"] == "t@example.org"
    assert found["Subject"] == "Harbour Balance: your week, 2 Mar to 8 Mar"
    assert "This is the week of 1 clients of yours." in text
    assert "Practised on 4 of 6 days asked for; 1 clients on 3 days or more." in text
    assert "Moves: 1 up, 0 back, 1 to rest; you placed 1." in text
    assert "Open alerts: 1 urgent, 0 for today, 0 notes." in text
    assert "Who needs a visit: 1\n  1 a fall told" in text
    assert "  1 resting, until you clear them" in text
    assert f"{HERE}/visits" in text


def test_it_names_nobody_and_quotes_nothing(world, trainer):
    week(world, "20 steady", "I fell over the cat")
    world.clock.set(FIRST_DUE)
    text = message(world, trainer).as_string()
    for secret in ("Ada", "Sample", "+1202555", "5550103", "cat", "over"):
        assert secret not in text


def test_it_goes_once_on_monday_and_again_the_next(world, trainer, post):
    wish(world, trainer)
    assert due(world, trainer) == FIRST_DUE
    world.clock.set(FIRST_DUE - timedelta(seconds=1))
    assert mail_tick(world.store, post, world.clock, HERE) == 0
    world.clock.set(FIRST_DUE)
    assert mail_tick(world.store, post, world.clock, HERE) == 1
    assert mail_tick(world.store, post, world.clock, HERE) == 0
    assert len(post.sent) == 1
    assert due(world, trainer) == FIRST_DUE + timedelta(days=7)


def test_two_processes_send_one(world, trainer):
    wish(world, trainer)
    world.clock.set(FIRST_DUE)
    claimed = [claim_digest(world.store, FIRST_DUE, HERE) for _ in range(2)]
    assert [one is not None for one in claimed] == [True, False]


def test_what_was_not_taken_is_tried_again_then_left_till_monday(world, trainer, post):
    wish(world, trainer)
    world.clock.set(FIRST_DUE)
    post.problem = NotSent("answer 451", again=True)
    waits = []
    for _ in range(5):
        assert mail_tick(world.store, post, world.clock, HERE) == 1
        waits.append(due(world, trainer) - world.clock.now())
        world.clock.set(due(world, trainer) if waits[-1] < timedelta(days=1) else FIRST_DUE)
    assert waits[:4] == [timedelta(minutes=15 * 2**n) for n in range(4)]
    assert waits[4] > timedelta(days=6)


def test_a_refusal_for_good_waits_for_monday(world, trainer, post):
    wish(world, trainer)
    world.clock.set(FIRST_DUE)
    post.problem = NotSent("answer 554", again=False)
    mail_tick(world.store, post, world.clock, HERE)
    assert due(world, trainer) == FIRST_DUE + timedelta(days=7)
    post.problem = None
    world.clock.set(FIRST_DUE + timedelta(days=7))
    mail_tick(world.store, post, world.clock, HERE)
    assert len(post.sent) == 1


def test_nobody_gets_it_unasked_or_after_leaving(world, trainer, post):
    world.clock.set(FIRST_DUE + timedelta(days=30))
    assert mail_tick(world.store, post, world.clock, HERE) == 0
    wish(world, trainer)
    wish(world, trainer, False)
    assert due(world, trainer) is None
    wish(world, trainer)
    with world.store.write() as session:
        session.get_one(Trainer, trainer.id).active = False
    world.clock.advance(timedelta(days=8))
    mail_tick(world.store, post, world.clock, HERE)
    assert post.sent == []


def test_every_rule_has_words_for_the_count():
    assert set(RULE_WORDS) == set(VISIT_RULES)
