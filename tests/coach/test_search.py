"""Looking for words in texts and notes, and notes edited with their history."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import select

from rungwise.coach.record import search as searching
from rungwise.coach.record.notes import add_note, edit_note, note_of, notes_of
from rungwise.coach.record.search import found_in, search
from rungwise.errors import EditedMeanwhile, ImpossibleValue
from rungwise.reply.plain import plain
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Audit, ClientNote


def look(world, trainer, words: str, before: int | None = None):
    with world.store.read() as session:
        return search(session, Scope(trainer.practice_id, trainer.id), words, before)


def note(world, trainer, body: str) -> int:
    with world.store.write() as session:
        return add_note(session, world.clock.now(), trainer, world.client_id, body).id


def edit(world, trainer, note_id: int, body: str, version: int) -> int:
    with world.store.write() as session:
        return edit_note(session, world.clock.now(), trainer, note_id, body, version).id


def test_words_are_found_in_texts_and_notes_whatever_their_case_and_accents(world, trainer):
    world.tick()
    world.reply("20 steady, my KNÉE was stiff on Monday")
    note(world, trainer, "Left knee operated in May")
    found = look(world, trainer, "knee")
    assert [(hit.kind, hit.name, hit.match) for hit in found.hits] == [
        ("note", "Ada Sample", "knee"),
        ("from", "Ada Sample", "KNÉE"),
    ]
    assert found.older is None
    assert [hit.kind for hit in look(world, trainer, "monday knee").hits] == ["from"]
    assert look(world, trainer, "knee hip").hits == ()


def test_our_own_texts_are_not_looked_through(world, trainer):
    world.pass_time(hours=2)
    assert "counter" in world.sent("prompt")[0].body
    assert look(world, trainer, "counter").hits == ()


@pytest.mark.parametrize("words", ["", " ", "a", " a "])
def test_too_few_letters_are_not_looked_for(world, trainer, words):
    world.reply("a b c")
    assert look(world, trainer, words) == searching.Found((), 0, None, None)


def test_another_trainers_clients_are_not_found(world, trainer):
    world.reply("20 steady, knee stiff")
    note(world, trainer, "knee")
    with world.store.read() as session:
        assert search(session, Scope(trainer.practice_id, trainer.id + 1), "knee").hits == ()
        assert search(session, Scope(trainer.practice_id + 1, None), "knee").hits == ()


def test_a_long_past_is_looked_through_a_stretch_at_a_time(world, trainer, monkeypatch):
    monkeypatch.setattr(searching, "TEXTS_AT_ONCE", 3)
    for number in range(7):
        world.reply(f"20 steady, knee number {number}")
    found, seen, rounds = look(world, trainer, "knee"), [], 1
    while found.older is not None:
        assert found.looked == 3
        seen += [hit.after for hit in found.hits]
        found, rounds = look(world, trainer, "knee", found.older), rounds + 1
    seen += [hit.after for hit in found.hits]
    assert seen == [f" number {number}" for number in reversed(range(7))]
    assert rounds == 3


def test_more_than_fit_are_gone_on_with(world, trainer, monkeypatch):
    monkeypatch.setattr(searching, "MOST_FOUND", 2)
    for number in range(3):
        world.reply(f"20 steady, knee {number}")
    found = look(world, trainer, "knee")
    assert len(found.hits) == 2
    assert found.older is not None
    assert len(look(world, trainer, "knee", found.older).hits) == 1


@given(st.text(max_size=300), st.text(min_size=1, max_size=8))
def test_what_is_marked_are_the_words_and_what_stands_around_is_the_texts(body, word):
    wanted = plain(word).text.split()
    if not wanted:
        return
    hit = found_in(body, wanted)
    assert (hit is not None) == all(one in plain(body).text for one in wanted)
    if hit is not None:
        before, match, after = hit
        assert wanted[0] in plain(match).text
        assert before.removeprefix("… ") + match + after.removesuffix(" …") in body


def test_an_edited_note_keeps_its_place_and_what_it_said_before(world, trainer):
    first = note(world, trainer, "Left knee operated")
    later = note(world, trainer, "Likes mornings")
    world.clock.advance(timedelta(hours=1))
    version = edit(world, trainer, first, "Right knee operated", first)
    with world.store.read() as session:
        shown = [(one.first_id, one.body) for one, _ in notes_of(session, world.client_id, 5)]
        _, versions = note_of(session, trainer, first)
        actions = session.exec(select(Audit.action)).all()
    assert shown == [(later, "Likes mornings"), (first, "Right knee operated")]
    assert [one.body for one in versions] == ["Left knee operated", "Right knee operated"]
    assert actions.count("note edited") == 1
    assert [hit.match for hit in look(world, trainer, "right").hits] == ["Right"]
    assert look(world, trainer, "left").hits == ()
    assert edit(world, trainer, first, " Right knee operated\n", version) == version


def test_an_edit_of_an_older_version_is_refused(world, trainer):
    first = note(world, trainer, "One")
    edit(world, trainer, first, "Two", first)
    with pytest.raises(EditedMeanwhile):
        edit(world, trainer, first, "Three", first)
    with pytest.raises(ImpossibleValue):
        edit(world, trainer, first, " ", first)
    with world.store.read() as session:
        assert len(session.exec(select(ClientNote)).all()) == 2
