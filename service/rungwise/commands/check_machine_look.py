"""Looking at the machine for `rungwise check`: its clock, its time zones, what stands around."""

import os
import socket
import ssl
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from urllib.parse import urlsplit
from zoneinfo import TZPATH, available_timezones

from rungwise.commands.check_kernel import clock_state
from rungwise.commands.check_seen import BackupSeen, ClockSeen, HeartbeatSeen, ZonesSeen
from rungwise.settings import Settings

WITHIN_S = 8.0
BACKUPS = Path("/var/lib/rungwise/backups")


def see_clock(now: datetime, ahead: Mapping[str, float]) -> ClockSeen:
    synchronised, error_s = clock_state()
    # The packages' time-zone data is at least as old as this version.
    built = datetime(int(_package_zones()[:4]), 1, 1, tzinfo=UTC)
    return ClockSeen(now, built, synchronised, error_s, dict(ahead))


def see_zones(now: datetime, used: tuple[str, ...]) -> ZonesSeen:
    known = available_timezones()
    unknown = tuple(zone for zone in used if zone not in known)
    return ZonesSeen(_zones_version(), now.year, unknown)


def _zones_version() -> str:
    """Of the data that zoneinfo reads: the system's where there is one, else the package's."""
    for folder in TZPATH:
        if (Path(folder) / "UTC").exists():
            for name in ("tzdata.zi", "+VERSION"):
                with suppress(OSError):
                    first = (Path(folder) / name).read_text(encoding="utf-8").partition("\n")[0]
                    return first.removeprefix("# version").strip()
            return ""
    return _package_zones()


def _package_zones() -> str:
    """The version of the packaged data, 2026.2 for 2026b."""
    year, number, *_ = (*version("tzdata").split("."), "0")
    return year + (chr(ord("a") + int(number) - 1) if number != "0" else "")


def see_heartbeat(settings: Settings) -> HeartbeatSeen | None:
    """Whether a connection can be made. Asking would be a heartbeat, of a service not looked at."""
    if settings.heartbeat_url is None:
        return None
    parts = urlsplit(settings.heartbeat_url)
    port = parts.port or (443 if parts.scheme == "https" else 80)
    try:
        with socket.create_connection((parts.hostname or "", port), WITHIN_S) as made:
            if parts.scheme == "https":
                ssl.create_default_context().wrap_socket(made, server_hostname=parts.hostname)
    except OSError as problem:
        return HeartbeatSeen(f"{problem.strerror or problem}.")
    return HeartbeatSeen()


def see_backup(now: datetime) -> BackupSeen | None:
    """The newest copy of the nightly backup, where the installation page puts them."""
    if not BACKUPS.is_dir() or not os.access(BACKUPS, os.R_OK | os.X_OK):
        return None
    copies = [each.stat().st_mtime for each in BACKUPS.glob("rungwise-*Z.*")]
    if not copies:
        return BackupSeen(str(BACKUPS))
    return BackupSeen(str(BACKUPS), (now.timestamp() - max(copies)) / 3600)
