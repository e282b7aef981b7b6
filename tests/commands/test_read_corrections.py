"""`rungwise read --corrections`: what trainers put right, without names or numbers."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import select
from test_client_command import add, address, practice  # noqa: F401  # fixtures

from rungwise.carriers.base import InboundText
from rungwise.cli import main
from rungwise.coach.conversation.told_by_trainer import Entered
from rungwise.coach.daily.receive import receive
from rungwise.coach.daily.told_days import Correction, correct_reading
from rungwise.coach.data.corrections import without_names
from rungwise.coach.record.situation import load
from rungwise.reply.reading import Hold
from rungwise.store import Store
from rungwise.store.tables import Client, Message, Trainer

SAID = "20 stedy. Ada from Margate, ring Tess on 202-555-0177"


def test_each_is_listed_once_as_it_was_put_right_last(
    tmp_path: Path,
    practice: Store,  # noqa: F811  # the fixture
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main([*add(tmp_path), "--agreed"]) == 0
    now = datetime.now(UTC)
    with practice.write() as session:
        client = session.exec(select(Client)).one()
        receive(session, now, "handset", InboundText("1", client.phone, "+12025550100", SAID))
    for held in (12, 18):
        with practice.write() as session:
            trainer = session.exec(select(Trainer)).one()
            situation = load(session, session.exec(select(Client)).one())
            text = session.exec(select(Message).where(Message.direction == "in")).one()
            right = Correction(text, Entered(holds=(Hold(held),), steadiness="wobbly"))
            now += timedelta(minutes=1)
            correct_reading(session, now, trainer, situation, right)
    capsys.readouterr()
    assert main(["read", "--corrections"]) == 0
    (line,) = [json.loads(one) for one in capsys.readouterr().out.splitlines()]
    assert line["text"] == "20 stedy. NAME from NAME, ring NAME on NUMBER"
    assert line["read"]["holds"] == [{"seconds": 20, "side": None}]
    assert line["should"]["holds"] == [{"seconds": 18, "side": None}]
    assert line["should"]["steadiness"] == "wobbly"
    whole = json.dumps(line)
    for word in ("Ada", "Tess", "Margate", "0177", "Harbour", "because", "own_words"):
        assert word not in whole
    # It is a line that `rungwise read` takes, so that a corpus can be made of it.
    context = {name: line["context"][name] for name in ("target_s", "asked", "language")}
    assert json.dumps({"text": line["text"], "context": context})


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ("20 18 15 20 steady", "20 18 15 20 steady"),  # sets, and no telephone number
        ("Steddy 2O", "Steddy 2O"),  # a slip with a capital is what a corpus wants
        ("Call me on +44 20 7946 0018", "Call me on NUMBER"),
        ("my number is 02079460018", "my number is NUMBER"),
        ("write to ada@example.org", "write to NUMBER"),
        ("ada did 20", "NAME did 20"),
        ("", ""),
    ],
)
def test_what_is_taken_out_and_what_stays(said: str, kept: str) -> None:
    assert without_names(said, "en", {"ada"}) == kept
