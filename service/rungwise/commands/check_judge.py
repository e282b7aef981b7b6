"""What `rungwise check` says about what it sees: each finding ok, warn or fail, with advice.

Pure: it looks at nothing itself. The limits are common practice, without a source.
"""

from collections.abc import Callable, Iterable, Iterator

from rungwise.commands.check_machine_judge import (
    Finding,
    judge_backup,
    judge_clock,
    judge_folder,
    judge_heartbeat,
    judge_mail,
    judge_zones,
)
from rungwise.commands.check_seen import (
    CarrierSeen,
    DatabaseSeen,
    KeysSeen,
    PracticeSeen,
    PublicSeen,
    Seen,
    ServiceSeen,
    SettingsSeen,
)

TICKS_LATE_S = 60.0

GONE_WITH_THE_MACHINE = {"tmpfs", "ramfs"}
NOT_FOR_SQLITE = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ceph", "glusterfs"}
# What must be so that a commit which was acknowledged survives a power cut.
DURABLE = {
    "journal_mode": {"wal", "delete"},
    "synchronous": {"full", "extra"},
    "fsync": {"on"},
    "synchronous_commit": {"on", "remote_apply", "remote_write", "local"},
    "full_page_writes": {"on"},
}


def judge(seen: Seen) -> list[Finding]:
    """Every finding, in the order in which to put things right."""
    found = list(_settings(seen.settings))
    parts: tuple[tuple[object, Callable[..., Iterable[Finding]]], ...] = (
        (seen.database, _database),
        (seen.keys, _keys),
        (seen.practices, _practices),
        (seen.carriers, _carriers),
    )
    for part, look in parts:
        if part is not None:
            found += look(part)
    if seen.practices is not None and seen.carriers is not None:
        found += _carriers_named(seen.practices, seen.carriers)
    found += [*judge_clock(seen.clock), *judge_zones(seen.zones)]
    for folder in seen.folders:
        found += judge_folder(folder)
    if seen.service is not None:
        # Of ticks nothing is known while the database cannot be read, and a restart mends nothing.
        reached = seen.practices is not None
        needed = bool(seen.practices)
        found += _service(seen.service, needed=needed, reached=reached)
    if seen.public is not None:
        found += _public(seen.public, seen.service)
    if seen.mail is not None:
        found += judge_mail(seen.mail)
    if seen.heartbeat is not None:
        found.append(judge_heartbeat(seen.heartbeat))
    if seen.backup is not None:
        found.append(judge_backup(seen.backup))
    return found


def well(findings: Iterable[Finding]) -> bool:
    return all(finding.verdict != "fail" for finding in findings)


def _settings(seen: SettingsSeen) -> Iterator[Finding]:
    if seen.problem:
        yield Finding("settings", "fail", seen.problem, "deploy/environment.example explains each.")
    else:
        yield Finding("settings", "ok", "The settings can be used.")
    for name in seen.unknown:
        yield Finding("settings", "warn", f"No setting is named {name}.", "Correct its name.")
    for file in seen.open_files:
        yield Finding(
            "settings",
            "fail",
            f"Everybody on this machine may read {file}, which holds secrets.",
            f"chmod 600 {file}",
        )


def _database(seen: DatabaseSeen) -> Iterator[Finding]:
    if seen.problem:
        yield Finding("database", "fail", seen.problem, "Check RUNGWISE_DATABASE_URL.")
        return
    name = "SQLite" if seen.kind == "sqlite" else "PostgreSQL"
    yield Finding("database", "ok", f"The {name} database answers.")
    yield from _durable(seen)
    yield _tables(seen)
    if seen.encoding.upper().replace("-", "") not in ("UTF8", "UNICODE"):
        yield Finding(
            "database",
            "fail",
            f"The database's encoding is {seen.encoding}: replies in other letters get lost.",
            "Make it anew with ENCODING 'UTF8'.",
        )
    if seen.most_connections is not None and seen.most_connections < 2 * seen.ours_at_most:
        yield Finding(
            "database",
            "warn",
            f"PostgreSQL allows {seen.most_connections} connections; a process of the service may "
            f"use {seen.ours_at_most}, and during an upgrade two run.",
            "Raise max_connections in postgresql.conf or lower RUNGWISE_DATABASE_CONNECTIONS_MORE.",
        )


def _durable(seen: DatabaseSeen) -> Iterator[Finding]:
    loose = {
        name: value
        for name, value in seen.durability.items()
        if name in DURABLE and value.lower() not in DURABLE[name]
    }
    for name, value in loose.items():
        yield Finding(
            "durability",
            "fail",
            f"The database's {name} is {value}: after a power cut, replies that were acknowledged "
            "may be gone.",
            f"Set {name} to {'on' if seen.kind == 'postgresql' else 'full'}.",
        )
    if seen.file_system in GONE_WITH_THE_MACHINE:
        yield Finding(
            "durability",
            "fail",
            f"The database is on {seen.file_system}, in memory: it is gone after a restart.",
            "Put it on a disk.",
        )
    elif seen.file_system in NOT_FOR_SQLITE or seen.file_system.startswith("fuse"):
        yield Finding(
            "durability",
            "fail",
            f"The SQLite file is on {seen.file_system}, where its locks do not hold.",
            "Put it on a disk of this machine, or use PostgreSQL.",
        )
    elif seen.file_system == "overlay":
        yield Finding(
            "durability",
            "warn",
            "The database is in the container itself, and goes with it.",
            "Put it on a volume.",
        )
    elif not loose:
        yield Finding("durability", "ok", "What is acknowledged is on disk first.")


def _tables(seen: DatabaseSeen) -> Finding:
    if seen.tables == "current":
        return Finding("tables", "ok", "The tables are this version's.")
    said = {
        "none": "The database has no tables yet.",
        "older": "The tables are an older version's.",
        "newer": "The tables were made by a newer version than this one.",
    }[seen.tables]
    advice = "rungwise migrate" if seen.tables != "newer" else "Install that version again."
    return Finding("tables", "fail", said, advice)


def _keys(seen: KeysSeen) -> Iterator[Finding]:
    if seen.problem:
        yield Finding("keys", "fail", seen.problem)
    elif not seen.given:
        yield Finding(
            "keys",
            "warn",
            "Names, numbers and words are stored unsealed: whoever copies the database reads them.",
            "Set RUNGWISE_DATA_KEYS to what `rungwise keys make` prints, then, with the service "
            "stopped, `rungwise keys rotate`.",
        )
    elif not seen.bound:
        yield Finding(
            "keys",
            "warn",
            "Sealed values are not bound to their columns yet, as an older version left them.",
            "Stop the service, run `rungwise keys rotate`, and start it again.",
        )
    elif len(seen.needed) > 1:
        yield Finding(
            "keys",
            "warn",
            f"The database still needs {len(seen.needed)} keys: {', '.join(seen.needed)}.",
            "`rungwise keys rotate` seals everything with the newest.",
        )
    else:
        yield Finding(
            "keys",
            "ok",
            f"Names, numbers and words are sealed with the key {seen.given[0]}.",
            "Keep a copy of the key in two places besides this server.",
        )


def _practices(seen: tuple[PracticeSeen, ...]) -> Iterator[Finding]:
    if not seen:
        yield Finding("practice", "warn", "There is no practice yet.", "rungwise setup")
        return
    leadless = [practice for practice in seen if not practice.leads and not practice.invited]
    if leadless:
        yield Finding(
            "practice",
            "fail",
            "There is a practice without a lead who can sign in.",
            "rungwise setup",
        )
    elif any(not practice.leads for practice in seen):
        yield Finding(
            "practice",
            "warn",
            "The practice lead has not taken up the invitation yet.",
            "Hand over the link that setup printed; `rungwise setup` makes a new one.",
        )
    else:
        yield Finding("practice", "ok", f"{_count(len(seen), 'practice')}, each with a lead.")
    if any(practice.leads and not practice.pageable for practice in seen):
        yield Finding(
            "paging",
            "fail",
            "Of a practice nobody can be paged: after a fall no phone would ring.",
            "Give the lead a phone number on the page Practice, or by `rungwise setup`.",
        )
    if any(practice.is_demo for practice in seen):
        yield Finding("practice", "warn", "This is the invented demo practice.")


def _carriers(seen: tuple[CarrierSeen, ...]) -> Iterator[Finding]:
    for carrier in seen:
        if carrier.problem:
            yield Finding("carrier", "fail", f"The carrier {carrier.name}: {carrier.problem}")
        elif carrier.accepts is None:
            yield Finding(
                "carrier",
                "ok",
                f"The carrier {carrier.name} answers; whether it knows us, only a text tells.",
            )
        else:
            yield Finding(
                "carrier", "ok", f"The carrier {carrier.name} answers, and takes name and password."
            )


def _carriers_named(
    practices: tuple[PracticeSeen, ...], carriers: tuple[CarrierSeen, ...]
) -> Iterator[Finding]:
    set_up = {carrier.name for carrier in carriers} | {"handset"}
    named = {name for practice in practices for name in practice.carriers}
    for name in sorted(named - set_up):
        yield Finding(
            "carrier",
            "fail",
            f"A practice texts by {name}, which is not set up: its texts wait.",
            f"Set {name}'s settings (docs/carriers.md).",
        )
    if any(practice.carriers == ("handset",) and not practice.is_demo for practice in practices):
        yield Finding(
            "carrier",
            "warn",
            "A practice texts by the practice phone only: nothing reaches a real telephone.",
            "Set up a carrier (docs/carriers.md).",
        )


def _service(seen: ServiceSeen, *, needed: bool, reached: bool) -> Iterator[Finding]:
    if seen.another:
        yield Finding(
            "service",
            "fail",
            f"What answers on {seen.listens_on} serves another database than these settings name.",
            "Stop that one, or give this one its own RUNGWISE_PORT.",
        )
        return
    if not seen.answers and not reached:
        return  # it cannot be ready without its database, which is told of already
    if not seen.answers:
        yield Finding(
            "service",
            "fail" if needed else "warn",
            f"Nothing answers on {seen.listens_on}: the service does not run.",
            "systemctl start rungwise",
        )
        return
    yield Finding("service", "ok", f"The service answers on {seen.listens_on}.")
    if not reached:
        return
    late = seen.ticks_age_s is None or seen.ticks_age_s > TICKS_LATE_S
    if late and seen.ticks_wanted:
        yield Finding(
            "ticks",
            "fail",
            "The ticks do not run: no text leaves, and nothing due is acted on.",
            "Restart the service and look at its log: journalctl -u rungwise",
        )
    elif not late:
        yield Finding("ticks", "ok", f"The last tick was {seen.ticks_age_s:.0f} s ago.")


def _public(seen: PublicSeen, service: ServiceSeen | None) -> Iterator[Finding]:
    if seen.local:
        yield Finding(
            "public address",
            "warn",
            f"The public address is {seen.url}, which no other machine can reach.",
            "Set RUNGWISE_PUBLIC_URL to the https address that the reverse proxy has.",
        )
    elif not seen.url.startswith("https://"):
        yield Finding(
            "public address",
            "fail",
            f"The public address is {seen.url}: passwords would cross the internet readable.",
            "Put a reverse proxy with TLS in front and set RUNGWISE_PUBLIC_URL to https://...",
        )
    if seen.url.startswith("https://") and not seen.secure_cookies:
        yield Finding(
            "public address",
            "fail",
            "Sign-in cookies may also leave unencrypted.",
            "Set RUNGWISE_SECURE_COOKIES=true.",
        )
    if service is None or not service.answers:
        return
    if seen.problem:
        yield Finding(
            "public address",
            "fail",
            f"The public address {seen.url} does not lead to the service: {seen.problem}",
            "Look at the reverse proxy, its certificate and the name's DNS.",
        )
    elif not seen.local:
        yield Finding(
            "public address", "ok", f"The public address {seen.url} leads to the service."
        )


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}{'' if number == 1 else 's'}"
