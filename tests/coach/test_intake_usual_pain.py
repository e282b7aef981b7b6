"""A pain that is always there, asked at the intake: from the form to what a text of it does."""

import pytest
from sqlmodel import select
from test_intake_form import FILLED, PRACTICE

from rungwise.coach.conversation.signs import TOO_MUCH_PAIN
from rungwise.coach.enrolment.intake import add_from
from rungwise.coach.enrolment.intake_form import read_intake
from rungwise.coach.plan.usual_pain import USUAL_PLACES
from rungwise.coach.record.codec import UsualPain
from rungwise.coach.record.fields import Unfinished
from rungwise.store.tables import Client, Practice, Trainer


def read(**given: str):
    return read_intake({**FILLED, **given}, PRACTICE).new.settings.usual_pain


def test_nothing_always_hurts_unless_it_is_said() -> None:
    assert read() is None
    assert read(usual_pain="", usual_pain_score=" ") is None


@pytest.mark.parametrize("place", USUAL_PLACES)
def test_where_and_how_bad_are_taken_together(place: str) -> None:
    for score in (0, TOO_MUCH_PAIN):
        assert read(usual_pain=place.title(), usual_pain_score=str(score)) == UsualPain(
            place, score
        )


@pytest.mark.parametrize(
    ("given", "field", "says"),
    [
        ({"usual_pain": "knee"}, "usual_pain_score", "from 0 to 5"),
        ({"usual_pain_score": "3"}, "usual_pain", "where it hurts"),
        ({"usual_pain": "knee", "usual_pain_score": "6"}, "usual_pain_score", "not practised with"),
        ({"usual_pain": "knee", "usual_pain_score": "-1"}, "usual_pain_score", "from 0 to 5"),
        ({"usual_pain": "knee", "usual_pain_score": "bad"}, "usual_pain_score", "from 0 to 5"),
        ({"usual_pain": "chest", "usual_pain_score": "2"}, "usual_pain", "knee"),
        ({"usual_pain": "calf", "usual_pain_score": "2"}, "usual_pain", "knee"),
    ],
)
def test_half_of_it_or_a_pain_that_is_nobodys_normal_is_refused(given, field, says) -> None:
    with pytest.raises(Unfinished) as refused:
        read(**given)
    assert set(refused.value.problems) == {field}
    assert says in refused.value.problems[field]


def test_told_there_and_no_worse_it_rests_nobody_from_the_first_day(world) -> None:
    with world.store.write() as session:
        practice = session.exec(select(Practice)).one()
        given = {**FILLED, "usual_pain": "knee", "usual_pain_score": "3"}
        draft = read_intake(given, practice)
        trainer = session.get_one(Trainer, world.trainer_id)
        world.client_id = add_from(session, world.clock.now(), trainer, draft).id
    world.pass_time(days=1, hours=2)
    world.reply("20 steady, knee hurts as usual, no worse")
    assert world.client.state == "active"
    world.reply("my hip hurts a lot")
    assert world.client.state == "resting"
    with world.store.read() as session:
        assert session.get_one(Client, world.client_id).name == "Edda Vorlage"
