"""`rungwise client`: add, list, show or edit clients."""

import argparse
import json
import sys
from dataclasses import replace
from datetime import datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from rungwise.coach.alerting.page_test import NotReached
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.enrolment.intake import NotReady, begin_texts, screen_again
from rungwise.coach.enrolment.screening import screen
from rungwise.coach.enrolment.screening_questions import BY_NAME
from rungwise.coach.record.clearance import AskFirst, NotByText
from rungwise.coach.record.codec import PlanSettings, ladder_of
from rungwise.coach.record.situation import load
from rungwise.commands.client_edit import add_edit_arguments, edit
from rungwise.errors import ImpossibleValue, NotFound, ServiceError
from rungwise.ladder.body import Profile, profile_from_json, profile_from_stored
from rungwise.parts import Parts, assemble
from rungwise.settings import Settings
from rungwise.store.sealing.unlocking import open_store
from rungwise.store.tables import Client, Message, MoveRow, Trainer
from rungwise.wording.rung_words import rung_sentence, rung_short
from rungwise.wording.texts import LANGUAGES

DAYS = {name: day for day, name in enumerate(("mon", "tue", "wed", "thu", "fri", "sat", "sun"))}
SHOWN_MOVES = 5


class NoProfile(ServiceError):
    """The profile's file cannot be read as JSON."""

    def __init__(self, file: Path, problem: str) -> None:
        super().__init__(f"{file} can't be read as a profile: {problem}. See docs/ladder.md.")


class NoScreening(ServiceError):
    """The screening's file cannot be read as JSON."""

    def __init__(self, file: Path, problem: str) -> None:
        names = ", ".join(BY_NAME)
        super().__init__(
            f"{file} can't be read as a screening: {problem}. It is a JSON object with the answers "
            f"to {names}."
        )


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")
    what = parser.add_subparsers(dest="what", required=True, metavar="add|list|show|edit")
    adds = what.add_parser("add", help="add a client")
    adds.add_argument("--trainer", required=True, help="the trainer's e-mail address")
    adds.add_argument("--name", required=True)
    adds.add_argument("--called", help="what the texts call them (their first name)")
    adds.add_argument("--phone", required=True)
    adds.add_argument("--profile", required=True, type=Path, help="JSON file, as for `ladder`")
    adds.add_argument("--zone", required=True, help="time zone, such as America/New_York")
    adds.add_argument("--language", default="en", choices=tuple(LANGUAGES))
    adds.add_argument("--hour", default="09:00", help="local hour of the prompt, HH:MM")
    adds.add_argument("--days", default="mon,tue,wed,thu,fri,sat,sun")
    adds.add_argument("--rung", help="key of the first rung (the lowest)")
    adds.add_argument(
        "--screening",
        required=True,
        type=Path,
        help="JSON file: the screening's questions by name, each with the answer",
    )
    adds.add_argument(
        "--agreed",
        action="store_true",
        help="the client has agreed to texts: send the first one now",
    )
    lists = what.add_parser("list", help="list the clients")
    lists.add_argument("--json", action="store_true")
    shows = what.add_parser("show", help="show one client")
    shows.add_argument("id", type=int)
    shows.add_argument("--json", action="store_true")
    add_edit_arguments(what.add_parser("edit", help="change a client's facts, after a look"))


def run(options: argparse.Namespace) -> int:
    settings = Settings.from_environment()
    if options.database:
        settings = settings.model_copy(update={"database_url": options.database})
    parts = assemble(settings)
    actions = {"add": _add, "list": _list, "show": _show, "edit": edit}
    actions[options.what](parts, options)
    parts.store.close()
    return 0


def _add(parts: Parts, options: argparse.Namespace) -> None:
    try:
        profile = profile_from_json(json.loads(options.profile.read_text(encoding="utf-8")))
    except (OSError, ValueError) as problem:
        raise NoProfile(options.profile, str(problem)) from None
    try:
        answers = json.loads(options.screening.read_text(encoding="utf-8"))
    except (OSError, ValueError) as problem:
        raise NoScreening(options.screening, str(problem)) from None
    if not isinstance(answers, dict):
        raise NoScreening(options.screening, "it is no JSON object")
    screened = screen({str(name): str(answer) for name, answer in answers.items()})
    settings = PlanSettings(
        prompt_at=_hour(options.hour),
        weekdays=_weekdays(options.days),
        target_s=profile.target_s,
    )
    new = NewClient(
        name=options.name,
        called=options.called or options.name.split()[0],
        phone=options.phone,
        profile=profile,
        time_zone=options.zone,
        language=options.language,
        first_key=options.rung,
        settings=settings,
    )
    with parts.store.write() as session:
        trainer = session.exec(select(Trainer).where(Trainer.email == options.trainer)).first()
        if trainer is None:
            raise NotFound(f"There is no trainer with the address {options.trainer}.")
        now = parts.clock.now()
        client = add_client(session, now, trainer, new)
        screen_again(session, now, trainer, client, answers)
        held = _begin(session, now, trainer, client) if options.agreed else ""
        rung = ladder_of(profile)[new.first_key or ladder_of(profile).rungs[0].key]
        print(f"Client {client.id}, {client.name}, starts on: {rung_short(rung)}.")
        for reason in (*screened.reasons, *screened.cares):
            print(f"  {reason}")
        if held:
            page = f"{parts.settings.public_url.rstrip('/')}/clients/{client.id}/start"
            print(f"No text goes yet. {held} It is recorded at {page}")
        elif not options.agreed:
            print("No text goes before the client has agreed: record it on the client's page.")


def _begin(session: Session, now: datetime, trainer: Trainer, client: Client) -> str:
    """Send the first text; why none goes yet, as the client's page has it."""
    try:
        begin_texts(session, now, trainer, client, agreed=True)
    except (AskFirst, NotByText, NotReady, NotReached) as held:
        return str(held)
    return ""


def _hour(given: str) -> time:
    try:
        return datetime.strptime(given, "%H:%M").time()  # noqa: DTZ007  # a time of day
    except ValueError:
        raise ImpossibleValue("hour", given, "a time of day such as 09:00") from None


def _weekdays(given: str) -> frozenset[int]:
    try:
        return frozenset(DAYS[name.strip().lower()[:3]] for name in given.split(","))
    except KeyError:
        raise ImpossibleValue("days", given, "days such as mon,wed,fri") from None


def _list(parts: Parts, options: argparse.Namespace) -> None:
    with parts.store.read() as session:
        clients = session.exec(select(Client).order_by(col(Client.id))).all()
        rows = [_facts(session, client) for client in clients]
    if options.json:
        json.dump(rows, sys.stdout, indent=2, ensure_ascii=False)
        print()
        return
    for row in rows:
        print(f"{row['id']:>4}  {row['name']:<24} {row['state']:<9} {row['rung'] or '-'}")


def _facts(session: Session, client: Client) -> dict[str, object]:
    situation = load(session, client)
    rung = situation.rung if situation is not None else None
    return {
        "id": client.id,
        "name": client.name,
        "phone": client.phone,
        "state": client.state,
        "time_zone": client.time_zone,
        "language": client.language,
        "rung_key": rung.key if rung else None,
        "rung": rung_short(rung) if rung else None,
    }


def stored_profile(client_id: int, database: str | None) -> Profile:
    """The profile and hold target in a client's present plan."""
    store = open_store(Settings.from_environment(), database)
    with store.read() as session:
        client = session.get(Client, client_id)
        situation = load(session, client) if client is not None else None
        if situation is None:
            raise NotFound(f"There is no client {client_id}. `rungwise client list` has them all.")
        profile = profile_from_stored(situation.plan_row.profile)
        return replace(profile, target_s=situation.settings.target_s)


def _show(parts: Parts, options: argparse.Namespace) -> None:
    with parts.store.read() as session:
        client = session.get(Client, options.id)
        if client is None:
            raise NotFound(f"There is no client {options.id}. `rungwise client list` has them all.")
        facts = _facts(session, client)
        situation = load(session, client)
        moves = session.exec(
            select(MoveRow)
            .where(MoveRow.client_id == client.id, col(MoveRow.superseded_at).is_(None))
            .order_by(col(MoveRow.id).desc())
            .limit(SHOWN_MOVES)
        ).all()
        texts = session.exec(
            select(Message).where(Message.client_id == client.id).order_by(col(Message.id).desc())
        ).all()[:SHOWN_MOVES]
    if options.json:
        shown = [{"date": str(m.local_date), "kind": m.kind, "because": m.because} for m in moves]
        json.dump({**facts, "moves": shown}, sys.stdout, indent=2, ensure_ascii=False)
        print()
        return
    print(f"{client.name}, {client.state}, {client.phone}, {client.time_zone}")
    if situation is not None:
        print(f"On: {rung_sentence(situation.rung)}")
    for move in moves:
        print(f"  {move.local_date}  {move.kind:<8} {move.because}")
    zone = ZoneInfo(client.time_zone)
    for text in reversed(texts):
        arrow = "<-" if text.direction == "in" else "->"
        at = text.created_at.astimezone(zone)
        print(f"  {at:%d %b %H:%M} {arrow} {text.body or text.problem}")
