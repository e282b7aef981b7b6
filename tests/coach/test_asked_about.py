"""What a client asks, and what they find too hard or too easy: kept, answered, never obeyed up."""


def test_a_question_about_the_stance_gets_the_task_again_and_is_kept_too(world):
    world.pass_time(hours=1)
    world.reply("Which foot goes in front?")
    assert world.alerts()["question"].urgency == "note"
    answer = world.sent("answer")[-1].body
    assert answer.startswith("Today's task again:")
    assert "trainer" in answer


def test_a_question_about_the_stance_from_a_resting_client_sends_no_task(world):
    world.pass_time(hours=1)
    world.reply("I fell in the kitchen")
    world.reply("Which foot goes in front?")
    assert not [each for each in world.sent("answer") if "task again" in each.body]


def test_too_hard_is_noted_and_moves_nothing_by_itself(world):
    world.pass_time(hours=1)
    world.reply("too hard for me")
    assert "too hard" in world.alerts()["effort"].system_did


def test_too_easy_moves_nobody_up_before_their_time(world):
    world.pass_time(hours=1)
    world.reply("20 steady, far too easy, give me something harder")
    assert "too easy" in world.alerts()["effort"].system_did
    assert world.client.state == "active"
    assert "up" not in [move.kind for move in world.moves()]
