"""A change of each fact of a client, as words; and what the next days must then look like."""

from collections.abc import Mapping

from sqlmodel import Session
from web_world import World

from rungwise.coach.enrolment.edit_client import facts_of
from rungwise.coach.enrolment.facts import told
from rungwise.coach.rule.replay import how_many, replay
from rungwise.store.tables import Client, Number

SECOND = "+12025550101"
NEW = "+13035550142"  # a number of Denver's area code, from the range kept for fiction
# By its first fact: what is given, which is also what is stored then.
CHANGES: Mapping[str, Mapping[str, str]] = {
    "name": {"name": "Ada Changed"},
    "called": {"called": "Mrs Sample"},
    "address": {"address": "4 Mill Lane, Whitby"},
    "kin": {"kin": "Tom Sample"},
    "kin_phone": {"kin": "Tom Sample", "kin_phone": "+12025550166"},
    "number_to_second": {"number_to_second": "yes"},
    "language": {"language": "es"},
    "second_phones": {"second_phones": "+12025550119 daughter; +12025550120 Mr Neighbour"},
    "time_zone": {"time_zone": "America/Denver"},
    "prompt_at": {"prompt_at": "10:30"},
    "trainer": {"trainer": "omar@example.org"},
    "sends_from": {"sends_from": SECOND},
    "someone": {"someone": "her son Jo"},
    "home": {"home": "counter floor phone"},
    "feet": {"foot_length_cm": "23", "foot_breadth_cm": "8.8", "hip_width_cm": "16.5"},
    "narrowest_cm": {"narrowest_cm": "12"},
    "ahead_cm": {"ahead_cm": "8"},
    "weaker": {"weaker": "left"},
    "no_full_weight": {"no_full_weight": "right"},
    "big_toe_pain": {"big_toe_pain": "yes"},
    "usual_pain": {"usual_pain": "knee", "usual_pain_score": "3"},
    "mat_layers": {"mat_layers": "4"},
    "mat_layer_mm": {"mat_layer_mm": "9"},
    "mat_length_cm": {"mat_length_cm": "180", "mat_width_cm": "60"},
    "foam": {"foam": "both"},
    "foam_width_cm": {"foam_width_cm": "14"},
    "foam_length_cm": {"foam_length_cm": "80"},
    "tape": {"tape": "yes"},
    "no_soft_surface": {"no_soft_surface": "yes"},
    "two_hands": {"two_hands": "yes"},
    "longest_hold_s": {"longest_hold_s": "25"},
    "tasks": {"tasks": "tandem/head"},
    "narrow_mm": {"narrow_mm": "5"},
    "later_narrow_mm": {"later_narrow_mm": "15"},
    "one_foot": {"one_foot": "yes"},
}
ANSWERS = ("14 wobbly", "20 steady")


def stored(world: World, who: str = "ada") -> dict[str, str]:
    with world.store.read() as session:
        return stored_in(session, world.clients[who])


def stored_in(session: Session, client_id: int) -> dict[str, str]:
    return told(facts_of(session, session.get_one(Client, client_id)))


def add_second_number(world: World) -> None:
    with world.store.write() as session:
        session.add(Number(practice_id=1, place=1, carrier="handset", phone=SECOND))


def differences(world: World) -> list[object]:
    """What `rungwise replay` would find."""
    with world.store.read() as session:
        assert how_many(session) > 0
        return list(replay(session))


def days_go_by(world: World, next_text: str | None) -> None:
    """The next text says what was shown, the days after have theirs, and replay finds nothing."""
    world.pass_time(hours=6)
    prompts = [message.body for message in world.sent("ada", "prompt")]
    assert len(prompts) == 1
    if next_text is not None:
        assert prompts[0] == next_text
    for words in ANSWERS:
        world.reply("ada", words)
        world.pass_time(days=1)
    assert len(world.sent("ada", "prompt")) == 1 + len(ANSWERS)
    assert differences(world) == []
