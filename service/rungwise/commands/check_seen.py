"""What `rungwise check` sees of an installation, as plain values; check_judge.py judges it."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

Tables = Literal["current", "older", "newer", "none"]
Kind = Literal["sqlite", "postgresql"]


@dataclass(frozen=True, slots=True)
class SettingsSeen:
    """`problem` is the sentence that would stop the start. `unknown`: names that no setting has."""

    problem: str = ""
    unknown: tuple[str, ...] = ()
    open_files: tuple[str, ...] = ()  # files with secrets that everybody on the machine may read


@dataclass(frozen=True, slots=True)
class DatabaseSeen:
    """`problem` says why it could not be reached, empty if it was."""

    kind: Kind
    problem: str = ""
    tables: Tables = "none"
    # How commits reach the disk, by the database's own word: name → value.
    durability: dict[str, str] = field(default_factory=dict)
    file_system: str = ""  # of an SQLite file, by the kernel's name; empty when not known
    encoding: str = "UTF8"
    most_connections: int | None = None  # that PostgreSQL allows
    ours_at_most: int = 0  # of those, what one process of the service may use


@dataclass(frozen=True, slots=True)
class KeysSeen:
    """Ids of data keys, never the keys. `problem` is the sentence that would stop the start."""

    needed: tuple[str, ...] = ()
    given: tuple[str, ...] = ()
    problem: str = ""
    bound: bool = True  # whether sealed values are bound to their columns


@dataclass(frozen=True, slots=True)
class PracticeSeen:
    carriers: tuple[str, ...]
    zone: str
    leads: int  # who may sign in
    invited: int = 0  # leads whose invitation still works
    is_demo: bool = False
    pageable: int = 1  # trainers, or their second contacts, whom a page can reach


@dataclass(frozen=True, slots=True)
class CarrierSeen:
    """`accepts`: whether it took our name and password; None when it could not be told."""

    name: str
    problem: str = ""
    accepts: bool | None = None


@dataclass(frozen=True, slots=True)
class ClockSeen:
    """`synchronised` by the kernel's word, None when it has none.

    `ahead_s`: by how much our clock is ahead of another's, by that one's name.
    """

    now: datetime
    built: datetime  # when this version was made, at the latest
    synchronised: bool | None = None
    error_s: float | None = None
    ahead_s: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FolderSeen:
    folder: str
    writable: bool
    free_mb: int
    free_share: float  # of the whole disk, 0 to 1


@dataclass(frozen=True, slots=True)
class ZonesSeen:
    """`version` such as 2026a, empty when not known; `unknown`: stored zones that it lacks."""

    version: str
    year_now: int
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ServiceSeen:
    """`answers`: something says "ready" where the service listens."""

    listens_on: str
    answers: bool
    ticks_age_s: float | None = None
    ticks_wanted: bool = True
    another: bool = False  # what answers serves another database than these settings name


@dataclass(frozen=True, slots=True)
class PublicSeen:
    """`problem`: why the public address did not answer as the service does, empty if it did."""

    url: str
    local: bool
    secure_cookies: bool
    problem: str = ""


@dataclass(frozen=True, slots=True)
class MailSeen:
    host: str | None
    problem: str = ""


@dataclass(frozen=True, slots=True)
class HeartbeatSeen:
    """`problem`: why the monitor's address cannot be reached; empty when it can."""

    problem: str = ""


@dataclass(frozen=True, slots=True)
class BackupSeen:
    """The newest copy in the folder that the nightly backup writes to; None: there is none."""

    folder: str
    age_hours: float | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """Everything. None: could not be looked at, because something before it failed."""

    settings: SettingsSeen
    clock: ClockSeen
    zones: ZonesSeen
    folders: tuple[FolderSeen, ...] = ()
    database: DatabaseSeen | None = None
    keys: KeysSeen | None = None
    practices: tuple[PracticeSeen, ...] | None = None
    carriers: tuple[CarrierSeen, ...] | None = None
    service: ServiceSeen | None = None
    public: PublicSeen | None = None
    mail: MailSeen | None = None
    heartbeat: HeartbeatSeen | None = None
    backup: BackupSeen | None = None
