"""What is told on the day of a sign after it was told: no sign again, and nothing cheerful."""

import pytest

from rungwise.coach.conversation.rehearsal import Conversation, Turn, rehearse


def last(language: str, *says: str):
    """What the last of these texts did, each three minutes after the one before."""
    turns = [Turn(3, said) for said in says]
    told = rehearse(
        Conversation(
            id="x", language=language, sided=False, target_s=20, usual_pain=None, turns=turns
        )
    )
    return list(told)[-1].as_json()


@pytest.mark.parametrize("says", [("I fell", "no", "18 wobbly"), ("new pills today", "20 steady")])
def test_a_result_after_a_sign_is_a_note(says: tuple[str, ...]) -> None:
    told = last("en", *says)
    assert {alert["urgency"] for alert in told["alerts"]} == {"note"}
    assert told["state"] == "held"


@pytest.mark.parametrize(
    ("language", "says"),
    [
        ("es", ("me caí", "no", "¿puedo seguir mañana?")),
        ("en", ("I fell", "no", "can I start again tomorrow?")),
    ],
)
def test_a_question_whether_to_go_on_is_not_the_word_that_begins_texts(language, says) -> None:
    told = last(language, *says)
    assert told["state"] == "held"
    assert not any("vuelven" in text or "Welcome" in text for text in told["answers"])
    assert any("Robin" in text for text in told["answers"])
