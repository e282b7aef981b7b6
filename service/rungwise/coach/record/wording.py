"""A practice's own words in place of ours: checked before they are taken, used for every text."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import delete
from sqlmodel import Session, col, select

from rungwise.coach.record.audit import record
from rungwise.errors import ServiceError
from rungwise.store.tables import Client, OwnWording, Practice, Trainer
from rungwise.wording.catalogue import CATALOGUE
from rungwise.wording.safety import crisis_line, safety_text_problems, text_problems
from rungwise.wording.texts import LANGUAGES, NoSuchText, language_of, render, word

_KEPT_IN = "own wording"
LONGEST_TRAINER = 20


class WordingRefused(ServiceError):
    """This wording was not taken."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__(" ".join(problems))
        self.problems = problems


def wording_of(session: Session, practice_id: int, language: str) -> Mapping[str, str]:
    """The practice's own texts in this language, by name. Read once in a session."""
    known: dict[tuple[int, str], Mapping[str, str]] = session.info.setdefault(_KEPT_IN, {})
    key = (practice_id, language_of(language))
    if key not in known:
        rows = select(OwnWording).where(
            OwnWording.practice_id == practice_id, OwnWording.language == key[1]
        )
        known[key] = {row.name: row.body for row in session.exec(rows).all()}
    return known[key]


def text_for(
    session: Session, practice: Practice, client: Client, name: str, **values: object
) -> str:
    """One of our texts for a client, with the values that every text may need, and these."""
    always: Mapping[str, object] = {
        "called": client.called,
        "practice": practice.name,
        "number": practice.emergency_number,
        "trainer": trainer_called(session, client) or word("your_trainer", client.language),
        "crisis": crisis_of(practice) or practice.emergency_number,
    }
    wording = wording_of(session, practice.id, client.language)
    return render(name, client.language, wording, **{**always, **values})


def trainer_called(session: Session, client: Client) -> str:
    """What the client calls their trainer."""
    return called_of(session.get_one(Trainer, client.trainer_id).name)


def called_of(name: str) -> str:
    """What clients call a trainer of this name: the name if short, else its first word."""
    name = name.strip()
    if len(name) <= LONGEST_TRAINER:
        return name
    first = name.split()[0]
    return first if len(first) <= LONGEST_TRAINER else ""


def crisis_of(practice: Practice) -> str | None:
    """The line for people in despair that this practice names."""
    return crisis_line(practice.country, practice.crisis_line)


def wording_problems(name: str, language: str, body: str) -> list[str]:
    """Why the practice may not word this text so, in whole sentences; empty when it may."""
    if name not in CATALOGUE or language not in LANGUAGES:
        raise NoSuchText(name)
    if CATALOGUE[name].safety:
        return safety_text_problems(name, body, language)
    return text_problems(name, body)


def set_wording(
    session: Session,
    now: datetime,
    trainer: Trainer,
    language: str,
    name: str,
    body: str,
) -> None:
    """Word a text the practice's own way from now on; WordingRefused if it may not be."""
    problems = wording_problems(name, language, body)
    if problems:
        raise WordingRefused(problems)
    session.merge(
        OwnWording(
            practice_id=trainer.practice_id,
            language=language,
            name=name,
            body=body,
            set_by=trainer.id,
            set_at=now,
        )
    )
    record(session, now, trainer, "own wording", text=name, language=language)


def use_ours(session: Session, now: datetime, trainer: Trainer, language: str, name: str) -> None:
    """Go back to our own text."""
    session.execute(
        delete(OwnWording).where(
            col(OwnWording.practice_id) == trainer.practice_id,
            col(OwnWording.language) == language,
            col(OwnWording.name) == name,
        )
    )
    record(session, now, trainer, "own wording ended", text=name, language=language)


def own_names(session: Session, practice: Practice, language: str) -> set[str]:
    """The texts that the practice words its own way in this language."""
    return set(wording_of(session, practice.id, language))
