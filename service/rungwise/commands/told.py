"""`rungwise told`: enter a day that a client told by phone, or that was seen at a visit."""

import argparse

from sqlmodel import select

from rungwise.coach.conversation.effects import Decide, Tell
from rungwise.coach.conversation.told_by_trainer import ENTERED_SIGNS
from rungwise.coach.daily.told_days import DayEntry, enter_day, look_at_day
from rungwise.coach.daily.told_form import ToldForm, body_places
from rungwise.coach.record.access import client_of
from rungwise.coach.record.fields import Unfinished
from rungwise.coach.record.situation import load
from rungwise.coach.record.told import WAYS
from rungwise.errors import NotFound, ServiceError
from rungwise.parts import assemble
from rungwise.settings import Settings
from rungwise.store.tables import Trainer


class NotToldSo(ServiceError):
    """Some options of the command can't be used as they are."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")
    parser.add_argument("id", type=int, help="the client's number, as `client list` has it")
    parser.add_argument("--trainer", required=True, help="who enters it: their e-mail address")
    parser.add_argument("--day", required=True, help="the client's date, such as 2026-05-01")
    parser.add_argument("--by", choices=WAYS, default=WAYS[0], help="how it was told (phone)")
    parser.add_argument("--held", help="seconds, on both sides alike or without sides: 20 18")
    parser.add_argument("--left", help="seconds with the left foot in front, or on it")
    parser.add_argument("--right", help="seconds with the right foot in front, or on it")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--steady", action="store_true")
    how.add_argument("--wobbly", action="store_true")
    told = parser.add_mutually_exclusive_group()
    told.add_argument("--practised", action="store_true", help="practised; no seconds are known")
    told.add_argument("--skipped", action="store_true", help="did not practise")
    parser.add_argument(
        "--sign", action="append", default=[], choices=ENTERED_SIGNS, help="may be repeated"
    )
    parser.add_argument("--place", choices=tuple(body_places()), help="where it hurt")
    parser.add_argument("--usual", action="store_true", help="the recorded usual pain, no worse")
    parser.add_argument("--words", default="", help="in the client's words or yours")
    parser.add_argument(
        "--text-client", action="store_true", help="send the safety text too; else nothing is sent"
    )
    parser.add_argument("--look", action="store_true", help="say what follows and store nothing")


def run(options: argparse.Namespace) -> int:
    """Store the day, or with --look only say what would follow."""
    settings = Settings.from_environment()
    if options.database:
        settings = settings.model_copy(update={"database_url": options.database})
    parts = assemble(settings)
    entry = _entry(options)
    try:
        with parts.store.write() as session:
            rows = select(Trainer).where(Trainer.email == options.trainer)
            trainer = session.exec(rows).first()
            if trainer is None:
                raise NotFound(f"There is no trainer with the address {options.trainer}.")
            client = client_of(session, trainer, options.id)
            session.refresh(client, with_for_update={"key_share": True})
            situation = load(session, client)
            if situation is None:
                raise NotFound("This client has no rung yet.")
            act = look_at_day if options.look else enter_day
            outcome = act(session, parts.clock.now(), trainer, situation, entry)
            print(f"{client.called}, {outcome.day}: {outcome.row.body}")
            for step in outcome.effects.steps:
                if isinstance(step, Decide):
                    print(f"  {step.move.kind}: {step.move.because}")
                elif isinstance(step, Tell):
                    print(f"  alert: {step.kind.replace('_', ' ')}")
            if options.look:
                print("  Nothing was stored.")
    finally:
        parts.store.close()
    return 0


def _entry(options: argparse.Namespace) -> DayEntry:
    form = ToldForm(_fields(options))
    try:
        return DayEntry(form.day(), form.by, form.entered(), form.words, form.texts_client)
    except Unfinished as error:
        wrong = "; ".join(f"{name}: {told}" for name, told in error.problems.items())
        raise NotToldSo(f"This can't be entered as it stands. {wrong}") from None


def _fields(options: argparse.Namespace) -> dict[str, str]:
    """The same fields as the page's, in words."""
    steadiness = "steady" if options.steady else "wobbly" if options.wobbly else ""
    practice = "skipped" if options.skipped else "done" if options.practised else "told"
    return {
        "day": options.day,
        "by": options.by,
        "held": options.held or "",
        "left": options.left or "",
        "right": options.right or "",
        "steadiness": steadiness,
        "practice": practice,
        "signs": " ".join(options.sign),
        "place": options.place or "",
        "usual": "yes" if options.usual else "",
        "words": options.words,
        "texts_client": "yes" if options.text_client else "",
    }
