"""What a monitor gets: /readyz and /healthz, open to all and naming nobody."""

from web_world import World


def test_readyz_says_that_the_database_answers(world: World) -> None:
    answer = world.browser().get("/readyz")
    assert (answer.status_code, answer.text) == (200, "ready\n")


def test_healthz_is_well_and_turns_to_503_with_a_sentence_when_not(world: World) -> None:
    browser = world.browser()
    assert browser.get("/healthz").json()["well"] is True
    world.clock.set(world.clock.now().replace(hour=20))
    answer = browser.get("/healthz")
    assert answer.status_code == 503
    assert "due" in answer.json()["problems"][0]


def test_healthz_names_nobody(world: World) -> None:
    world.reply("ada", "I fell in the kitchen")
    text = world.browser().get("/healthz").text
    assert "Ada" not in text
    assert "kitchen" not in text
    assert '"urgent_unseen":1' in text.replace(" ", "")
