"""A text of 100 kB: all its words are stored, its sign is heard, and the trainer reads the rest."""

from sqlmodel import select

from rungwise.store.tables import Message

CHAT = "I walked to the shop and it was lovely today. " * 2200


def test_a_fall_at_the_end_of_a_long_text_is_paged_and_all_words_are_kept(world):
    said = CHAT + "And then I fell in the kitchen."
    world.reply(said)
    assert world.alerts()["fall"].urgency == "urgent"
    assert len(world.pages()) == 1
    assert world.client.state == "resting"
    with world.store.read() as session:
        (kept,) = session.exec(select(Message).where(Message.direction == "in")).all()
    assert (kept.body, kept.state) == (said, "read")


def test_the_trainer_is_told_that_the_middle_was_not_read(world):
    world.reply(CHAT)
    alert = world.alerts()["unread"]
    assert "Please read all of it yourself." in alert.system_did
    assert alert.urgency == "today"
