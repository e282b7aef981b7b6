"""`rungwise client edit`: a client's facts changed from the command line, after a look."""

import argparse

from sqlmodel import Session

from rungwise.coach.enrolment.edit_client import Follows, edit_client, facts_of, look_at_edit
from rungwise.coach.enrolment.facts import FACTS, FIELDS, told
from rungwise.coach.record.access import client_of
from rungwise.coach.record.fields import Unfinished
from rungwise.commands.practice import trainer_at
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.parts import Parts
from rungwise.store.tables import Client, Trainer


class FactsRefused(ServiceError):
    """Some facts cannot be as given; each says what it must be."""

    def __init__(self, unfinished: Unfinished) -> None:
        told = (f"{name}: {words}" for name, words in unfinished.problems.items())
        super().__init__(f"Nothing was changed. {' '.join(told)}")


def add_edit_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("id", type=int)
    parser.add_argument("--by", required=True, help="the e-mail address of the trainer who does it")
    parser.add_argument("--seen", default="", help="what looking at it printed: do it now")
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="FACT=VALUE",
        help=f"what is to change; without any it shows what is stored. Facts: {', '.join(FIELDS)}",
    )


def edit(parts: Parts, options: argparse.Namespace) -> None:
    """Show the facts, or what would follow from a change; do it once it was looked at."""
    try:
        _edit(parts, options)
    except Unfinished as unfinished:
        raise FactsRefused(unfinished) from None


def _edit(parts: Parts, options: argparse.Namespace) -> None:
    given = dict(_fact(words) for words in options.set)
    now = parts.clock.now()
    if not options.seen:
        with parts.store.read() as session:
            by, client = _who(session, options)
            if given:
                _tell(look_at_edit(session, now, by, client, given))
            else:
                for name, value in told(facts_of(session, client)).items():
                    print(f"{name}={value}")
        return
    with parts.store.write() as session:
        by, client = _who(session, options)
        version = client.version
        edit_client(session, now, by, client, given, version=version, seen=options.seen)
    print("Changed.")


def _who(session: Session, options: argparse.Namespace) -> tuple[Trainer, Client]:
    by = trainer_at(session, options.by)
    return by, client_of(session, by, options.id)


def _fact(words: str) -> tuple[str, str]:
    name, parted, value = words.partition("=")
    if not parted:
        raise ImpossibleValue("fact", words, "such as time_zone=America/Denver")
    return name.strip(), value


def _tell(follows: Follows) -> None:
    if not follows.changed:
        print("Nothing is changed: everything stands as it is stored.")
        return
    for name, (before, after) in follows.changed.items():
        print(f"{FACTS[name].label}: {before or 'nothing'}, then {after or 'nothing'}.")
    for sentence in follows.sentences:
        print(sentence)
    for text in follows.texts:
        print(f"Text, {text.when}, to {text.to_phone}: {text.body}")
    print(f"Nothing is stored yet. To do it, add: --seen {follows.seen}")
