"""What `rungwise check` says about the machine and what stands around the service.

Pure, as check_judge.py is, which asks for it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from rungwise.commands.check_seen import (
    BackupSeen,
    ClockSeen,
    FolderSeen,
    HeartbeatSeen,
    MailSeen,
    ZonesSeen,
)

Verdict = Literal["ok", "warn", "fail"]

LITTLE_MB, TOO_LITTLE_MB = 2_000, 300
LITTLE_SHARE = 0.05
# A prompt hour is a minute on a client's wall; signatures and sign-in codes bear half a minute.
CLOCK_OFF_S, CLOCK_FAR_OFF_S = 5.0, 30.0
ZONES_OLD_YEARS = 1
# Every night, up to half an hour later, and one night that may fail.
BACKUP_OLD_HOURS = 50.0


@dataclass(frozen=True, slots=True)
class Finding:
    """One line: what was looked at, how it is in a sentence, and what to do about it."""

    what: str
    verdict: Verdict
    said: str
    advice: str = ""


def judge_clock(seen: ClockSeen) -> Iterator[Finding]:
    shown = f"It is {seen.now:%Y-%m-%d %H:%M:%S} UTC"
    if seen.now < seen.built:
        yield Finding(
            "clock",
            "fail",
            f"{shown} by this machine's clock, which is before this version was made.",
            "Set the clock, and keep it by NTP: apt-get install systemd-timesyncd",
        )
        return
    far = {name: off for name, off in seen.ahead_s.items() if abs(off) > CLOCK_OFF_S}
    for name, off in far.items():
        direction = "ahead of" if off > 0 else "behind"
        verdict: Verdict = "fail" if abs(off) > CLOCK_FAR_OFF_S else "warn"
        yield Finding(
            "clock",
            verdict,
            f"This machine's clock is {abs(off):.0f} s {direction} that of {name}.",
            "Keep both by NTP.",
        )
    if seen.synchronised is False:
        yield Finding(
            "clock",
            "warn",
            f"{shown}, but nothing keeps the clock right.",
            "apt-get install systemd-timesyncd",
        )
    elif not far:
        kept = {True: ", kept by NTP", None: "; whether NTP keeps it is not known"}
        error = f", wrong by {seen.error_s:.3f} s at most" if seen.error_s is not None else ""
        yield Finding("clock", "ok", f"{shown}{kept[seen.synchronised]}{error}.")


def judge_zones(seen: ZonesSeen) -> Iterator[Finding]:
    for zone in seen.unknown:
        yield Finding(
            "time zones",
            "fail",
            f"The time-zone data does not know {zone}, which somebody here lives in.",
            "apt-get install --only-upgrade tzdata",
        )
    year = int(seen.version[:4]) if seen.version[:4].isdigit() else None
    if year is None:
        yield Finding("time zones", "warn", "The version of the time-zone data is not known.")
    elif seen.year_now - year > ZONES_OLD_YEARS:
        yield Finding(
            "time zones",
            "warn",
            f"The time-zone data is of {seen.version}; clock changes decided since are missing.",
            "apt-get install --only-upgrade tzdata, then restart the service.",
        )
    elif not seen.unknown:
        yield Finding("time zones", "ok", f"The time-zone data is {seen.version}.")


def judge_folder(seen: FolderSeen) -> Iterator[Finding]:
    if not seen.writable:
        yield Finding(
            "folder",
            "fail",
            f"The service may not write in {seen.folder}.",
            f"chown it to the service's user: chown rungwise {seen.folder}",
        )
    room = f"{seen.free_mb:,} MB are free in {seen.folder}"
    if seen.free_mb < TOO_LITTLE_MB:
        yield Finding("disk", "fail", f"Only {room}.", "Make room: on a full disk nothing is kept.")
    elif seen.free_mb < LITTLE_MB or seen.free_share < LITTLE_SHARE:
        yield Finding("disk", "warn", f"Only {room}.", "Make room soon.")
    elif seen.writable:
        yield Finding("disk", "ok", f"{room}, and it can be written.")


def judge_mail(seen: MailSeen) -> Iterator[Finding]:
    if seen.host is None:
        yield Finding("mail", "ok", "No mail server is set up, so nobody gets the weekly e-mail.")
    elif seen.problem:
        yield Finding(
            "mail",
            "fail",
            f"The mail server {seen.host}: {seen.problem}",
            "Check RUNGWISE_SMTP_...",
        )
    else:
        yield Finding("mail", "ok", f"The mail server {seen.host} answers and lets us in.")


def judge_heartbeat(seen: HeartbeatSeen) -> Finding:
    if seen.problem:
        said = f"The monitor of the heartbeat cannot be reached: {seen.problem}"
        return Finding("heartbeat", "fail", said, "Correct RUNGWISE_HEARTBEAT_URL.")
    return Finding("heartbeat", "ok", "The monitor of the heartbeat can be reached.")


def judge_backup(seen: BackupSeen) -> Finding:
    if seen.age_hours is None:
        said = f"There is no copy of the database in {seen.folder}."
        advice = "systemctl enable --now rungwise-backup.timer"
        return Finding("backup", "warn", said, advice)
    said = f"The newest copy of the database is {seen.age_hours:.0f} hours old."
    if seen.age_hours > BACKUP_OLD_HOURS:
        return Finding("backup", "fail", said, "Look why: journalctl -u rungwise-backup")
    return Finding("backup", "ok", said)
