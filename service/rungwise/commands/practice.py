"""`rungwise practice`: a practice with its first lead, new passwords, clients handed over."""

import argparse

from sqlmodel import Session, select

from rungwise.carriers.email import EMAIL
from rungwise.coach.accounts.hand_over import hand_over_as_seen, look_at_hand_over
from rungwise.coach.accounts.invitations import email_or_refuse, invite_first, reset
from rungwise.commands.setup_people import make_practice
from rungwise.commands.setup_questions import PRACTICE
from rungwise.errors import ImpossibleValue, NotFound
from rungwise.parts import Parts, assemble
from rungwise.settings import Settings
from rungwise.store.tables import Practice, Trainer
from rungwise.wording.texts import LANGUAGES


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")
    what = parser.add_subparsers(dest="what", required=True, metavar="add|reset|hand-over")
    adds = what.add_parser("add", help="make a practice, and a link for its first lead")
    adds.add_argument("--name", required=True, help="as texts say it")
    adds.add_argument("--phone", required=True, help="the number that texts come from")
    adds.add_argument("--country", required=True, help="two letters, such as US or GB")
    adds.add_argument("--zone", required=True, help="time zone, such as America/New_York")
    adds.add_argument("--language", default="en", choices=tuple(LANGUAGES))
    adds.add_argument("--carrier", default="handset", help="a carrier that is set up (handset)")
    adds.add_argument("--lead", required=True, help="the practice lead's name")
    adds.add_argument("--email", required=True, help="the practice lead's e-mail address")
    resets = what.add_parser("reset", help="a link by which a trainer chooses a new password")
    resets.add_argument("--email", required=True, help="the trainer's e-mail address")
    resets.add_argument(
        "--drop-factor", action="store_true", help="the second factor goes with the old password"
    )
    hands = what.add_parser("hand-over", help="give clients of one trainer to a colleague")
    hands.add_argument("--by", required=True, help="the e-mail address of the lead who does it")
    hands.add_argument("--giver", required=True, help="the e-mail address of who has the clients")
    hands.add_argument("--to", required=True, help="the e-mail address of who takes them")
    hands.add_argument("--client", type=int, action="append", help="one client's number (all)")
    hands.add_argument("--close", action="store_true", help="close the giver's sign-in after it")
    hands.add_argument("--seen", default="", help="what looking at it printed: do it now")


def run(options: argparse.Namespace) -> int:
    settings = Settings.from_environment()
    if options.database:
        settings = settings.model_copy(update={"database_url": options.database})
    parts = assemble(settings)
    try:
        if options.what == "hand-over":
            _hand_over(parts, options)
            return 0
        with parts.store.write() as session:
            act = _add if options.what == "add" else _reset
            token = act(session, parts, options)
    finally:
        parts.store.close()
    print(f"{settings.public_url}/welcome/{token}")
    print("Hand this link over yourself: whoever has it chooses the password. It works once.")
    return 0


def _add(session: Session, parts: Parts, options: argparse.Namespace) -> str:
    told: dict[str, str] = {}
    for question in PRACTICE:  # in its order, for the number is read as dialled in the country
        given = getattr(options, question.name.removeprefix("practice."))
        told[question.name] = question.check(given, told)
    for_texts = sorted(parts.carriers.keys() - {EMAIL})
    if options.carrier not in for_texts:
        known = " or ".join(for_texts)
        raise ImpossibleValue("carrier", options.carrier, f"one that is set up: {known}")
    phone = told["practice.phone"]
    if session.exec(select(Practice.id).where(Practice.phone == phone)).first() is not None:
        raise ImpossibleValue("phone", phone, "a number that no other practice here has")
    practice = make_practice(session, parts, told, options.carrier)
    return invite_first(session, parts.clock.now(), practice.id, options.lead, options.email)


def _reset(session: Session, parts: Parts, options: argparse.Namespace) -> str:
    trainer = trainer_at(session, options.email)
    now = parts.clock.now()
    return reset(session, now, None, trainer, drops_factor=options.drop_factor)


def trainer_at(session: Session, address: str) -> Trainer:
    """The trainer with this e-mail address who may sign in."""
    email = email_or_refuse(address)
    trainer = session.exec(select(Trainer).where(Trainer.email == email)).first()
    if trainer is None or not trainer.active:
        raise NotFound(f"There is no trainer with the address {email} who may sign in.")
    return trainer


def _hand_over(parts: Parts, options: argparse.Namespace) -> None:
    """Say what would follow, or do what was looked at."""
    with parts.store.write() as session:
        by, giver, to = (trainer_at(session, at) for at in (options.by, options.giver, options.to))
        looked = look_at_hand_over(session, by, giver.id, to.id, options.client)
        names = ", ".join(client.name for client in looked.clients) or "nobody"
        print(f"From {giver.name} to {to.name}: {names}.")
        print(f"Open alerts that go with them: {looked.alerts}, urgent {looked.urgent}.")
        print(f"Clients that stay: {looked.remaining}.")
        if not options.seen:
            print(f"Nothing is changed yet. To do it, add: --seen {looked.seen}")
            return
        now = parts.clock.now()
        hand_over_as_seen(session, now, by, looked, options.seen, closes=options.close)
    print("Done.")
