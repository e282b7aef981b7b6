"""`rungwise setup`: set up an installation by answering questions; may be run again any time.

1. Ask for the settings, and check each answer.   2. Write the environment file (and Kannel's).
3. Become the service's user.   4. Bring the database to this version's tables.
5. Make the practice and its first lead, where there are none.   6. Send a test text, if wanted.
"""

import argparse
import os
import pwd
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from secrets import token_urlsafe

from rungwise.carriers.email import mail_server
from rungwise.commands.check_look import ENVIRONMENT_FILE, see_carriers, see_mail
from rungwise.commands.environment_file import merged, parse
from rungwise.commands.setup_asking import AnswersFile, Asker, Terminal
from rungwise.commands.setup_files import Plan, kannel_conf
from rungwise.commands.setup_people import first_people, send_test
from rungwise.commands.setup_questions import NONE, SETTINGS, TEST_TEXT, Question, variables
from rungwise.errors import ServiceError
from rungwise.parts import Parts, assemble
from rungwise.settings import PREFIX, Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.sealing.crypto import make_key

KEYS = PREFIX + "DATA_KEYS"
METRICS = PREFIX + "METRICS_TOKEN"
OURS = ("username", "password", "token")
EXPLAINED = "# Settings of Rungwise. deploy/environment.example explains every one of them.\n"


class NotReplaced(ServiceError):
    """A file stands where setup would write, and was to stay."""

    def __init__(self, file: Path) -> None:
        super().__init__(f"{file} was not changed, and setup ends here. Start it again any time.")


class NoSuchUser(ServiceError):
    """The user that the service shall run as is not there, or cannot be become."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--file",
        type=Path,
        default=ENVIRONMENT_FILE,
        help=f"the environment file to write ({ENVIRONMENT_FILE})",
    )
    parser.add_argument("--answers", type=Path, help="a TOML file with the answers, for scripts")
    parser.add_argument(
        "--replace", action="store_true", help="with --answers: existing files may be replaced"
    )
    parser.add_argument("--user", help="who the service runs as; the database is made as them")
    parser.add_argument(
        "--test-text", metavar="PHONE", help="ask nothing, and send a test text to this number"
    )


def run(options: argparse.Namespace) -> int:
    # What is made here holds secrets and people's words.
    os.umask(0o077)
    file: Path = options.file
    if options.test_text:
        return _only_test(file, options)
    asker: Asker = Terminal()
    if options.answers is not None:
        asker = AnswersFile(options.answers, replaces=options.replace)
    existing = Plan(file, "").before
    held = parse(existing or "")
    answers = ask_all(asker, SETTINGS, held)
    values = variables(answers)
    token = held.get(METRICS) or token_urlsafe(24)
    if METRICS + "_FILE" not in held:
        values[METRICS] = token
    if answers["seal"] == "yes" and not {KEYS, KEYS + "_FILE"} & held.keys():
        values[KEYS] = make_key()
    plan = Plan(file, merged(EXPLAINED if existing is None else existing, values))
    now_held = parse(plan.content)
    settings = Settings.from_environment(now_held)
    write(asker, plan, sorted(dict(now_held.items() ^ held.items())))
    if METRICS in values:
        # deploy/watch/prometheus.yml reads it there.
        write(asker, Plan(file.with_name("metrics-token"), f"{token}\n", "prometheus"))
    if answers.get("kannel.conf", NONE) != NONE:
        write(asker, _kannel(Path(answers["kannel.conf"]), answers))
    become(options.user)
    store = Store(settings.database_url)
    try:
        migrate(store)
    finally:
        store.close()
    parts = assemble(settings)
    try:
        first_people(asker, parts, answers["carrier"], ask_all)
        sent = _outside(asker, parts, answers["carrier"])
    finally:
        parts.store.close()
    if KEYS in values:
        print(f"The key is {KEYS} in {file}. Keep a copy in two places besides this server.")
    print("Start the service (again), then look with: rungwise check")
    return 0 if sent else 1


def ask_all(
    asker: Asker,
    questions: tuple[Question, ...],
    held: dict[str, str],
    known: dict[str, str] | None = None,
) -> dict[str, str]:
    """Every wanted question's answer, checked; what the environment file holds is the default.

    `known`: what was answered before, for what hangs on it.
    """
    answers: dict[str, str] = dict(known or {})
    for question in questions:
        if question.wanted(answers):
            answers[question.name] = ask_one(asker, question, answers, _usual(question, held))
    return answers


def ask_one(
    asker: Asker, question: Question, answers: dict[str, str], held: str | None = None
) -> str:
    default = held if held is not None else question.default(answers)
    while True:
        given = asker.ask(question, default)
        try:
            return question.check(given, answers)
        except ServiceError as problem:
            asker.again(problem)


def _usual(question: Question, held: dict[str, str]) -> str | None:
    if question.name == "carrier":
        names = [name for name in ("kannel", "cloud") if f"{PREFIX}{name.upper()}_URL" in held]
        return names[0] if names else None
    if question.name == "kannel.conf" and _is_ours(question, held):
        return NONE  # it was written the first time, and the operator's words are only there
    return held.get(PREFIX + question.setting) if question.setting else None


def _is_ours(question: Question, held: dict[str, str]) -> bool:
    """Whether Kannel's configuration is the one that setup wrote, with the present token."""
    token = held.get(PREFIX + "KANNEL_TOKEN")
    return token is not None and token in (Plan(Path(question.default({}) or ""), "").before or "")


def write(asker: Asker, plan: Plan, changed: Sequence[str] = ()) -> None:
    """Write the file, after a yes where another stands there; what stood there is kept."""
    before = plan.before
    if before == plan.content:
        print(f"{plan.file} stays as it is.")
        return
    if before is not None:
        what = f" Changed: {', '.join(changed)}." if changed else ""
        kept_beside = "Replace it, and keep the old one beside it?"
        if not asker.agrees(f"{plan.file} is there already.{what} {kept_beside}"):
            raise NotReplaced(plan.file)
    kept = plan.write(datetime.now(UTC))
    print(f"Wrote {plan.file}." + (f" What stood there is in {kept}." if kept else ""))


def _kannel(file: Path, answers: dict[str, str]) -> Plan:
    asked = ("operator_host", "operator_port", "operator_username", "operator_password")
    words = {name.upper(): answers[f"kannel.{name}"] for name in asked}
    ours = {f"KANNEL_{name.upper()}": answers[f"kannel.{name}"] for name in OURS}
    # Kannel's own page keeps the password it has, so that the same answers make the same file.
    made = re.search(r'^admin-password = "([^"@]+)"$', Plan(file, "").before or "", re.MULTILINE)
    admin = made[1] if made else token_urlsafe(18)
    return Plan(file, kannel_conf({**words, **ours, "ADMIN_PASSWORD": admin}), "kannel")


def become(user: str | None) -> None:
    """Go on as that user, for good: what the service shall write must not be root's."""
    if user is None:
        return
    try:
        entry = pwd.getpwnam(user)
    except KeyError:
        raise NoSuchUser(f"There is no user {user}. Make one, or name another.") from None
    if os.geteuid() == entry.pw_uid:
        return
    try:
        os.initgroups(user, entry.pw_gid)
        os.setgid(entry.pw_gid)
        os.setuid(entry.pw_uid)
    except PermissionError:
        raise NoSuchUser(f"Only root can become {user}. Run setup as root.") from None
    # A folder of root's own is no place for what follows.
    os.chdir("/")
    os.environ["HOME"] = entry.pw_dir
    os.environ["USER"] = os.environ["LOGNAME"] = user


def _outside(asker: Asker, parts: Parts, carrier: str) -> bool:
    """Say how carriers and mail server answer, and send a test text; False if it was refused."""
    troubled = set()
    for seen in see_carriers(parts.settings)[0]:
        print(f"{seen.name}: {seen.problem or 'it answers.'}")
        if seen.problem:
            troubled.add(seen.name)
    mail = see_mail(mail_server(parts.settings))
    if mail.host is not None:
        print(f"{mail.host}: {mail.problem or 'it answers.'}")
    if carrier == "handset":
        return True
    if carrier in troubled:
        print("For a test text later: rungwise setup --test-text PHONE")
        return True
    phone = ask_one(asker, TEST_TEXT, {})
    return phone == NONE or send_test(parts, phone)


def _only_test(file: Path, options: argparse.Namespace) -> int:
    before = Plan(file, "").before
    settings = Settings.from_environment(os.environ if before is None else parse(before))
    become(options.user)
    parts = assemble(settings)
    try:
        return 0 if send_test(parts, options.test_text) else 1
    finally:
        parts.store.close()
