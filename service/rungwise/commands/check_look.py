"""Looking at an installation for `rungwise check`. Nothing is changed, and no text is sent."""

import os
import smtplib
import ssl
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import suppress
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from pathlib import Path
from shutil import disk_usage
from time import monotonic
from urllib.parse import urlsplit

import httpx
from sqlalchemy import make_url, text
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session, col, func, select

from rungwise.carriers.base import TryLater, Unknown
from rungwise.carriers.email import MailServer, mail_server
from rungwise.carriers.setup import cloud_access, kannel_access
from rungwise.carriers.wire import ask, http_client
from rungwise.coach.monitoring.health import INSTALLATION, installation_id
from rungwise.commands.check_kernel import file_system_of
from rungwise.commands.check_machine_look import (
    WITHIN_S,
    see_backup,
    see_clock,
    see_heartbeat,
    see_zones,
)
from rungwise.commands.check_seen import (
    CarrierSeen,
    DatabaseSeen,
    FolderSeen,
    KeysSeen,
    Kind,
    MailSeen,
    PracticeSeen,
    PublicSeen,
    Seen,
    ServiceSeen,
    SettingsSeen,
    Tables,
)
from rungwise.errors import ServiceError
from rungwise.settings import PREFIX, Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import NewerDatabase, OlderDatabase, check_current
from rungwise.store.sealing.crypto import keys_from
from rungwise.store.sealing.unlocking import Sealing, unlock, vault_from
from rungwise.store.tables import AccountLink, Client, LastTick, Number, Practice, Trainer

# Where the installation page puts it; looked at only for who may read it.
ENVIRONMENT_FILE = Path("/etc/rungwise/environment")


def look(environ: Mapping[str, str], now: datetime) -> Seen:
    """Look at everything that can be looked at with these settings."""
    try:
        settings = Settings.from_environment(environ)
    except ServiceError as problem:
        return Seen(_settings(environ, str(problem)), see_clock(now, {}), see_zones(now, ()))
    carriers, ahead = see_carriers(settings)
    store = Store(settings.database_url)
    try:
        database, more_ahead = see_database(store, settings)
        keys = practices = None
        zones: tuple[str, ...] = ()
        ticks_at = None
        if database.tables == "current":
            keys = _keys(store, settings)
            if not keys.problem:
                with store.read() as session:
                    practices, zones, ticks_at = _people(session, now)
    finally:
        store.close()
    age_s = (now - ticks_at).total_seconds() if ticks_at is not None else None
    service = _service(settings, age_s)
    return Seen(
        settings=_settings(environ, ""),
        clock=see_clock(now, ahead | more_ahead),
        zones=see_zones(now, zones),
        folders=_folders(settings),
        database=database,
        keys=keys,
        practices=practices,
        carriers=carriers,
        service=service,
        public=_public(settings, serving=service.answers),
        mail=see_mail(mail_server(settings)),
        heartbeat=see_heartbeat(settings),
        backup=see_backup(now),
    )


def _settings(environ: Mapping[str, str], problem: str) -> SettingsSeen:
    known = {PREFIX + name.upper() for name in Settings.model_fields}
    known |= {f"{name}_FILE" for name in known}
    ours = sorted(name for name in environ if name.startswith(PREFIX))
    files = [Path(environ[name]) for name in ours if name.endswith("_FILE")]
    # systemd's own and Docker's are kept from others by the folder they are in.
    open_files = [str(file) for file in (*files, ENVIRONMENT_FILE) if _readable_by_all(file)]
    return SettingsSeen(
        problem, tuple(name for name in ours if name not in known), tuple(open_files)
    )


def _readable_by_all(file: Path) -> bool:
    with suppress(OSError):
        held = any(not folder.stat().st_mode & 0o001 for folder in file.resolve().parents)
        return bool(file.stat().st_mode & 0o004) and not held
    return False


# --- the database ---------------------------------------------------------------------------------


def see_database(store: Store, settings: Settings) -> tuple[DatabaseSeen, dict[str, float]]:
    """The database, and by how much our clock is ahead of its server's."""
    kind: Kind = "sqlite" if store.is_sqlite else "postgresql"
    file_system = ""
    if store.is_sqlite:
        file = sqlite_file(settings)
        if not file.exists() and not file.parent.is_dir():
            problem = f"There is no folder {file.parent} to keep the database in."
            return DatabaseSeen(kind, problem), {}
        if not file.exists():
            # Looking must not make the file, least of all as root.
            return DatabaseSeen(kind, "", "none", {}, file_system_of(file.parent)), {}
        file_system = file_system_of(file)
    try:
        with store.engine.connect() as connection:
            if store.is_sqlite:
                names = {"journal_mode": "", "synchronous": ""}
                for name in names:
                    names[name] = str(connection.execute(text(f"PRAGMA {name}")).scalar_one())
                levels = {"0": "off", "1": "normal", "2": "full", "3": "extra"}
                names["synchronous"] = levels.get(names["synchronous"], names["synchronous"])
                seen = DatabaseSeen(kind, "", _tables(store), names, file_system)
                return seen, {}
            shown = {
                name: str(connection.execute(text(f"SHOW {name}")).scalar_one())
                for name in ("fsync", "synchronous_commit", "full_page_writes")
            }
            most = int(connection.execute(text("SHOW max_connections")).scalar_one())
            encoding = str(connection.execute(text("SHOW server_encoding")).scalar_one())
            theirs = connection.execute(text("SELECT clock_timestamp()")).scalar_one()
            ahead = (datetime.now(UTC) - theirs).total_seconds()
        ours = settings.database_connections + settings.database_connections_more
        seen = DatabaseSeen(kind, "", _tables(store), shown, "", encoding, most, ours)
        return seen, {"the database's server": ahead}
    except SQLAlchemyError as problem:
        why = str(getattr(problem, "orig", problem)).strip().splitlines() or [str(problem)]
        said = f"The database cannot be reached: {why[0]}"
        return DatabaseSeen(kind, said), {}


def sqlite_file(settings: Settings) -> Path:
    return Path(make_url(settings.database_url).database or "").absolute()


def _tables(store: Store) -> Tables:
    with store.engine.connect() as connection:
        listed = connection.dialect.has_table(connection, "alembic_version")
    if not listed:
        return "none"
    try:
        check_current(store)
    except OlderDatabase:
        return "older"
    except NewerDatabase:
        return "newer"
    return "current"


def _keys(store: Store, settings: Settings) -> KeysSeen:
    given = keys_from(settings.data_keys)
    with store.read() as session:
        row = session.get(Sealing, 1)
        needed = tuple(row.key_ids) if row is not None else ()
        fresh = session.exec(select(Practice.id).limit(1)).first() is None
    try:
        if row is not None or not fresh:
            # Unlocking would note a new key, and looking changes nothing.
            if row is not None and given and given[0].name not in needed:
                vault_from(row, given)
            else:
                unlock(store, given)
    except ServiceError as problem:
        return KeysSeen(needed, tuple(key.name for key in given), str(problem))
    bound = row is None or row.bound
    return KeysSeen(needed, tuple(key.name for key in given), bound=bound)


def _people(
    session: Session, now: datetime
) -> tuple[tuple[PracticeSeen, ...], tuple[str, ...], datetime | None]:
    """The practices, the zones in use, and when the tick that is furthest behind last ran."""
    seen = []
    for practice in session.exec(select(Practice).order_by(col(Practice.id))):
        more = session.exec(select(Number.carrier).where(Number.practice_id == practice.id)).all()
        leads = select(func.count(col(Trainer.id))).where(
            Trainer.practice_id == practice.id, Trainer.role == "lead", col(Trainer.active)
        )
        invited = select(func.count(col(AccountLink.id))).where(
            AccountLink.practice_id == practice.id,
            AccountLink.role == "lead",
            col(AccountLink.used_at).is_(None),
            col(AccountLink.revoked_at).is_(None),
            AccountLink.expires_at > now,
        )
        carriers = tuple(dict.fromkeys((practice.carrier, *more)))
        counts = session.exec(leads).one(), session.exec(invited).one()
        trainers = select(Trainer).where(Trainer.practice_id == practice.id, col(Trainer.active))
        pageable = sum(_may_be_paged(trainer) for trainer in session.exec(trainers))
        zone = practice.time_zone
        seen.append(PracticeSeen(carriers, zone, *counts, practice.is_demo, pageable))
    zones = set(session.exec(select(Client.time_zone).distinct()).all())
    zones |= {practice.zone for practice in seen}
    last = session.exec(select(func.min(LastTick.at))).one()
    return tuple(seen), tuple(sorted(zones)), last


def _may_be_paged(trainer: Trainer) -> bool:
    by_mail = trainer.page_by in ("email", "both")
    return by_mail or bool(trainer.phone or trainer.second_contact_phone)


# --- carriers and mail ----------------------------------------------------------------------------


def see_carriers(settings: Settings) -> tuple[tuple[CarrierSeen, ...], dict[str, float]]:
    """Each carrier that is set up, and by how much our clock is ahead of theirs."""
    seen: list[CarrierSeen] = []
    ahead: dict[str, float] = {}
    for name, looked in (("kannel", _kannel(settings)), ("cloud", _cloud(settings))):
        for carrier, off in looked:
            seen.append(carrier)
            if off is not None:
                ahead[f"the carrier {name}"] = off
    return tuple(seen), ahead


def _kannel(settings: Settings) -> Iterator[tuple[CarrierSeen, float | None]]:
    access = kannel_access(settings)
    if access is None:
        return
    headers = {"X-Kannel-Username": access.username, "X-Kannel-Password": access.password}
    with http_client(through_proxy=False) as http:
        # Without a receiver Kannel sends nothing; it looks at name and password first.
        url = access.url.rstrip("/") + "/cgi-bin/sendsms"
        answer = ask(http, http.build_request("POST", url, headers=headers), WITHIN_S)
    if isinstance(answer, TryLater | Unknown):
        yield CarrierSeen("kannel", f"{answer.reason} Is it running? service kannel status"), None
    elif answer.status == 403:
        advice = "Check RUNGWISE_KANNEL_USERNAME and RUNGWISE_KANNEL_PASSWORD."
        yield CarrierSeen("kannel", f"It refuses our name or password. {advice}", False), None
    elif answer.status == 404:
        yield CarrierSeen("kannel", "Nothing there sends texts. Check RUNGWISE_KANNEL_URL."), None
    else:
        yield CarrierSeen("kannel", "", True if answer.status == 400 else None), None


def _cloud(settings: Settings) -> Iterator[tuple[CarrierSeen, float | None]]:
    access = cloud_access(settings)
    if access is None:
        return
    off: list[float] = []

    def note(response: httpx.Response) -> None:
        with suppress(TypeError, ValueError):
            theirs = parsedate_to_datetime(response.headers.get("date", ""))
            off.append((datetime.now(UTC) - theirs).total_seconds())

    with http_client(auth=(access.account, access.secret)) as http:
        http.event_hooks = {"response": [note]}
        url = f"{access.url}/Accounts/{access.account}.json"
        answer = ask(http, http.build_request("GET", url), WITHIN_S)
    ahead = off[0] if off else None
    if isinstance(answer, TryLater | Unknown):
        yield CarrierSeen("cloud", f"{answer.reason} Check RUNGWISE_CLOUD_URL."), ahead
    elif answer.status in (401, 403):
        advice = "Check RUNGWISE_CLOUD_ACCOUNT and RUNGWISE_CLOUD_SECRET."
        yield CarrierSeen("cloud", f"It refuses our account or secret. {advice}", False), ahead
    else:
        yield CarrierSeen("cloud", "", True if answer.status == 200 else None), ahead


def see_mail(server: MailServer | None, tls: ssl.SSLContext | None = None) -> MailSeen:
    """Whether the mail server lets us in; no message is sent."""
    if server is None:
        return MailSeen(None)
    context = tls or ssl.create_default_context()
    try:
        if server.security == "tls":
            smtp: smtplib.SMTP = smtplib.SMTP_SSL(
                server.host, server.port, timeout=WITHIN_S, context=context
            )
        else:
            smtp = smtplib.SMTP(server.host, server.port, timeout=WITHIN_S)
        with smtp:
            if server.security == "starttls":
                smtp.starttls(context=context)
            if server.username is not None and server.password is not None:
                smtp.login(server.username, server.password)
            smtp.noop()
    except smtplib.SMTPAuthenticationError:
        return MailSeen(server.host, "It refuses our name or password.")
    except smtplib.SMTPException as problem:
        return MailSeen(server.host, f"It answered otherwise than expected: {problem}.")
    except OSError as problem:
        return MailSeen(server.host, f"It cannot be reached: {problem.strerror or problem}.")
    return MailSeen(server.host)


# --- the machine ----------------------------------------------------------------------------------


def _folders(settings: Settings) -> tuple[FolderSeen, ...]:
    folders = [Path(tempfile.gettempdir())]
    if settings.database_url.startswith("sqlite"):
        folders.insert(0, sqlite_file(settings).parent)
    else:
        folders.insert(0, Path.cwd())
    seen = []
    for folder in dict.fromkeys(folders):
        if folder.is_dir():
            usage = disk_usage(folder)
            share = usage.free / usage.total if usage.total else 0.0
            writable = os.access(folder, os.W_OK | os.X_OK)
            seen.append(FolderSeen(str(folder), writable, usage.free // 1_000_000, share))
    return tuple(seen)


# --- the running service --------------------------------------------------------------------------


def _service(settings: Settings, age_s: float | None) -> ServiceSeen:
    host = {"0.0.0.0": "127.0.0.1", "::": "[::1]"}.get(settings.host, settings.host)  # noqa: S104
    here = f"http://{host}:{settings.port}"
    problem = _ready(here, trust_env=False, serves=installation_id(settings.database_url))
    another = problem == OTHER_DATABASE
    listens_on = f"{settings.host}:{settings.port}"
    return ServiceSeen(listens_on, not problem, age_s, settings.ticks, another)


def _public(settings: Settings, *, serving: bool) -> PublicSeen:
    url = settings.public_url
    host = urlsplit(url).hostname or ""
    local = host == "localhost" or host.startswith("127.") or host == "::1"
    problem = _ready(url, trust_env=True) if serving else ""
    return PublicSeen(url, local, settings.secure_cookies, problem)


OTHER_DATABASE = "it serves another database."


def _ready(url: str, *, trust_env: bool, serves: str = "") -> str:
    """Empty when the service says at that address that it is ready, else why not.

    `serves` is what the installation calls itself; another answers otherwise.
    """
    until = monotonic() + WITHIN_S
    try:
        # The machine's own certificates, which a private authority can be added to.
        with httpx.Client(
            verify=ssl.create_default_context(), timeout=WITHIN_S, trust_env=trust_env
        ) as http:
            answer = http.get(f"{url}/readyz")
    except (httpx.HTTPError, OSError) as problem:
        late = monotonic() > until
        return "it does not answer in time." if late else f"{problem}."
    if answer.status_code != 200 or answer.text != "ready\n":
        return f"it answers {answer.status_code}."
    said = answer.headers.get(INSTALLATION, "")
    # An older version does not say.
    return OTHER_DATABASE if serves and said not in ("", serves) else ""


# --- the monitor and the copies -------------------------------------------------------------------
