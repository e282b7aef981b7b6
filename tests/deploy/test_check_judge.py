"""What `rungwise check` says about what it sees: all sound, and then one thing wrong at a time."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from rungwise.commands.check_judge import judge, well
from rungwise.commands.check_machine_judge import Finding
from rungwise.commands.check_seen import (
    BackupSeen,
    CarrierSeen,
    ClockSeen,
    DatabaseSeen,
    FolderSeen,
    HeartbeatSeen,
    KeysSeen,
    MailSeen,
    PracticeSeen,
    PublicSeen,
    Seen,
    ServiceSeen,
    SettingsSeen,
    ZonesSeen,
)

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
SOUND = Seen(
    settings=SettingsSeen(),
    clock=ClockSeen(NOW, datetime(2026, 1, 1, tzinfo=UTC), True, 0.01, {"the server": 0.1}),
    zones=ZonesSeen("2026b", 2026),
    folders=(FolderSeen("/var/lib/rungwise", True, 50_000, 0.6),),
    database=DatabaseSeen(
        "postgresql",
        tables="current",
        durability={"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on"},
        most_connections=100,
        ours_at_most=30,
    ),
    keys=KeysSeen(("0a1b2c3d",), ("0a1b2c3d",)),
    practices=(PracticeSeen(("kannel",), "Europe/London", 1),),
    carriers=(CarrierSeen("kannel", "", True),),
    service=ServiceSeen("127.0.0.1:8780", True, 4.0),
    public=PublicSeen("https://balance.example.org", False, True),
    mail=MailSeen("mail.example.org"),
    heartbeat=HeartbeatSeen(),
    backup=BackupSeen("/var/lib/rungwise/backups", 7.0),
)


def changed(part: str, **values: Any) -> Seen:
    return replace(SOUND, **{part: replace(getattr(SOUND, part), **values)})


def test_a_sound_installation_is_all_ok() -> None:
    findings = judge(SOUND)
    assert {finding.verdict for finding in findings} == {"ok"}
    assert well(findings)
    looked = {finding.what for finding in findings}
    assert looked == {
        *("settings", "database", "durability", "tables", "keys", "practice", "carrier", "clock"),
        *("time zones", "disk", "service", "ticks", "public address", "mail", "heartbeat"),
        "backup",
    }


def older(**values: Any) -> Seen:
    return replace(SOUND, database=replace(SOUND.database, **values))  # type: ignore[type-var]


def sqlite(file_system: str = "ext4", **durability: str) -> Seen:
    kept = {"journal_mode": "wal", "synchronous": "full", **durability}
    return older(kind="sqlite", durability=kept, file_system=file_system, most_connections=None)


def of(what: str, verdict: str, *words: str) -> tuple[str, str, tuple[str, ...]]:
    return what, verdict, words


WRONG = [
    (changed("settings", problem="RUNGWISE_PORT: too large."), of("settings", "fail", "PORT")),
    (changed("settings", unknown=("RUNGWISE_HOSTT",)), of("settings", "warn", "HOSTT")),
    (changed("settings", open_files=("/x",)), of("settings", "fail", "chmod 600 /x")),
    (older(problem="The database cannot be reached: no."), of("database", "fail", "no.")),
    (older(tables="older"), of("tables", "fail", "rungwise migrate")),
    (older(tables="none"), of("tables", "fail", "rungwise migrate")),
    (older(tables="newer"), of("tables", "fail", "newer version")),
    (older(encoding="SQL_ASCII"), of("database", "fail", "SQL_ASCII", "UTF8")),
    (older(most_connections=40), of("database", "warn", "40", "max_connections")),
    (older(ours_at_most=60), of("database", "warn", "use 60", "CONNECTIONS_MORE")),
    (older(durability={"fsync": "off"}), of("durability", "fail", "fsync", "power cut")),
    (
        older(durability={"fsync": "on", "synchronous_commit": "off"}),
        of("durability", "fail", "synchronous_commit"),
    ),
    (sqlite(synchronous="normal"), of("durability", "fail", "synchronous", "full")),
    (sqlite(journal_mode="memory"), of("durability", "fail", "journal_mode")),
    (sqlite("tmpfs"), of("durability", "fail", "in memory", "disk")),
    (sqlite("nfs4"), of("durability", "fail", "nfs4", "PostgreSQL")),
    (sqlite("fuse.sshfs"), of("durability", "fail", "sshfs")),
    (sqlite("overlay"), of("durability", "warn", "volume")),
    (changed("keys", problem="The database is sealed."), of("keys", "fail", "sealed")),
    (changed("keys", needed=(), given=()), of("keys", "warn", "RUNGWISE_DATA_KEYS", "rotate")),
    (changed("keys", needed=("a", "b"), given=("a", "b")), of("keys", "warn", "a, b", "rotate")),
    (replace(SOUND, practices=()), of("practice", "warn", "rungwise setup")),
    (
        replace(SOUND, practices=(PracticeSeen(("kannel",), "UTC", 0),)),
        of("practice", "fail", "lead", "rungwise setup"),
    ),
    (
        replace(SOUND, practices=(PracticeSeen(("kannel",), "UTC", 0, invited=1),)),
        of("practice", "warn", "invitation"),
    ),
    (
        replace(SOUND, practices=(PracticeSeen(("kannel",), "UTC", 1, is_demo=True),)),
        of("practice", "warn", "demo"),
    ),
    (
        replace(SOUND, practices=(PracticeSeen(("kannel", "cloud"), "UTC", 1),)),
        of("carrier", "fail", "cloud", "not set up"),
    ),
    (
        replace(SOUND, practices=(PracticeSeen(("handset",), "UTC", 1),)),
        of("carrier", "warn", "practice phone"),
    ),
    (
        replace(SOUND, carriers=(CarrierSeen("kannel", "It refuses our name."),)),
        of("carrier", "fail", "refuses"),
    ),
    (changed("clock", now=datetime(2025, 1, 1, tzinfo=UTC)), of("clock", "fail", "before")),
    (changed("clock", synchronised=False), of("clock", "warn", "timesyncd")),
    (changed("clock", ahead_s={"the server": 9.0}), of("clock", "warn", "9 s ahead of")),
    (changed("clock", ahead_s={"the server": -90.0}), of("clock", "fail", "90 s behind")),
    (changed("zones", version="2024a"), of("time zones", "warn", "2024a", "tzdata")),
    (changed("zones", version=""), of("time zones", "warn", "not known")),
    (changed("zones", unknown=("Mars/Base",)), of("time zones", "fail", "Mars/Base")),
    (
        replace(SOUND, folders=(FolderSeen("/x", False, 50_000, 0.6),)),
        of("folder", "fail", "/x", "chown"),
    ),
    (replace(SOUND, folders=(FolderSeen("/x", True, 200, 0.6),)), of("disk", "fail", "200 MB")),
    (replace(SOUND, folders=(FolderSeen("/x", True, 1_500, 0.6),)), of("disk", "warn", "1,500")),
    (replace(SOUND, folders=(FolderSeen("/x", True, 9_000, 0.01),)), of("disk", "warn", "9,000")),
    (changed("service", answers=False), of("service", "fail", "systemctl start")),
    (changed("service", another=True), of("service", "fail", "another database", "RUNGWISE_PORT")),
    (changed("heartbeat", problem="No route."), of("heartbeat", "fail", "HEARTBEAT_URL")),
    (changed("backup", age_hours=None), of("backup", "warn", "rungwise-backup.timer")),
    (changed("backup", age_hours=51.0), of("backup", "fail", "51 hours", "journalctl")),
    (changed("keys", bound=False), of("keys", "warn", "bound", "rungwise keys rotate")),
    (
        replace(SOUND, practices=(PracticeSeen(("kannel",), "UTC", 1, pageable=0),)),
        of("paging", "fail", "nobody can be paged", "phone number"),
    ),
    (changed("service", ticks_age_s=None), of("ticks", "fail", "no text leaves")),
    (changed("service", ticks_age_s=61.0), of("ticks", "fail", "journalctl")),
    (changed("public", problem="it answers 502."), of("public address", "fail", "502")),
    (
        changed("public", url="http://127.0.0.1:8780", local=True),
        of("public address", "warn", "no other machine"),
    ),
    (
        changed("public", url="http://balance.example.org"),
        of("public address", "fail", "passwords", "https"),
    ),
    (changed("public", secure_cookies=False), of("public address", "fail", "COOKIES=true")),
    (changed("mail", problem="It cannot be reached."), of("mail", "fail", "reached")),
]


@pytest.mark.parametrize(("seen", "expected"), WRONG)
def test_one_thing_wrong_is_found_with_what_to_do(
    seen: Seen, expected: tuple[str, str, tuple[str, ...]]
) -> None:
    what, verdict, words = expected
    findings = judge(seen)
    found = [each for each in findings if each.verdict != "ok"]
    assert [(each.what, each.verdict) for each in found] == [(what, verdict)]
    said = f"{found[0].said} {found[0].advice}"
    assert [word for word in words if word not in said] == []
    assert well(findings) is (verdict == "warn")


def test_every_finding_is_a_whole_sentence() -> None:
    findings: list[Finding] = [each for seen, _ in WRONG for each in judge(seen)]
    for finding in [*findings, *judge(SOUND)]:
        assert finding.said[0].isupper() or finding.said[0].isdigit(), finding.said
        assert finding.said.endswith("."), finding.said


def test_no_mail_and_a_clock_that_nobody_knows_about_are_ok() -> None:
    assert well(judge(replace(SOUND, mail=MailSeen(None))))
    unknown = judge(changed("clock", synchronised=None, error_s=None))
    assert {finding.verdict for finding in unknown} == {"ok"}


def test_what_could_not_be_looked_at_is_left_out() -> None:
    findings = judge(Seen(SettingsSeen("wrong."), SOUND.clock, SOUND.zones))
    assert {finding.what for finding in findings} == {"settings", "clock", "time zones"}
    assert not well(findings)
