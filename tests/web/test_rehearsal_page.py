"""What would it answer? The page plays the rules that serve clients, and stores nothing."""

import re

from sqlmodel import func, select
from web_world import World

from rungwise.coach.conversation.rehearsal import Conversation, Turn, rehearse
from rungwise.store.tables import Alert, Message

PAGE = "/practice/rehearsal"


def plain(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).replace("&#39;", "'").split())


def rows(world: World) -> tuple[int, int]:
    with world.store.read() as session:
        texts = session.exec(select(func.count()).select_from(Message)).one()
        return texts, session.exec(select(func.count()).select_from(Alert)).one()


def test_a_trainer_sees_what_a_fall_would_lead_to_and_nothing_is_stored(world: World) -> None:
    before = rows(world)
    browser = world.signed_in("lena")
    told = plain(browser.post(PAGE, texts="I fell in the hall\n20: no, only shaken").text)
    said = [Turn(15, "I fell in the hall"), Turn(20, "no, only shaken")]
    for each in rehearse(Conversation(turns=said)):
        for answer in each.as_json()["answers"]:
            assert " ".join(answer.split()) in told
    assert "You are told: fall (urgent)." in told
    assert "The client is then held" in told
    assert rows(world) == before


def test_time_alone_passes_and_spanish_is_answered_in_spanish(world: World) -> None:
    browser = world.signed_in("lena")
    told = plain(browser.post(PAGE, texts="me siento rara\n40:", language="es").text)
    assert "You are told:" in told
    assert "urgent" in told
    assert 'lang="es"' in browser.post(PAGE, texts="20 firme", language="es").text


def test_what_cannot_be_played_says_what_to_do(world: World) -> None:
    browser = world.signed_in("lena")
    for typed, told in (
        ("", "Type what the client texts, one text a line."),
        ("a\n" * 13, "At most 12 texts at a time: take some out."),
        ("999999: hello", "Let at most 60 days pass before a text: 86400 minutes."),
        ("x" * 481, "A text here has at most 480 characters."),
    ):
        answer = browser.post(PAGE, texts=typed)
        assert answer.status_code == 400
        assert told in plain(answer.text)


def test_the_practice_page_leads_there(world: World) -> None:
    assert f'href="{PAGE}"' in world.signed_in("lena").page("/practice")
