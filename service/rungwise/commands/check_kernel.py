"""What the kernel knows that `rungwise check` asks for: whether the clock is kept, and disks."""

import ctypes
import sys
from pathlib import Path

UNSYNCHRONISED, CLOCK_ERROR = 0x40, 5  # STA_UNSYNC and TIME_ERROR of adjtimex(2)


class _Timex(ctypes.Structure):
    """struct timex of adjtimex(2)."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        *((name, ctypes.c_long) for name in ("offset", "freq", "maxerror", "esterror")),
        ("status", ctypes.c_int),
        *((name, ctypes.c_long) for name in ("constant", "precision", "tolerance")),
        *((name, ctypes.c_long) for name in ("seconds", "microseconds", "tick", "ppsfreq")),
        ("jitter", ctypes.c_long),
        ("shift", ctypes.c_int),
        *((name, ctypes.c_long) for name in ("stabil", "jitcnt", "calcnt", "errcnt", "stbcnt")),
        ("tai", ctypes.c_int),
        ("padding", ctypes.c_int * 11),
    )


def clock_state() -> tuple[bool | None, float | None]:
    """Whether something keeps the clock right, and by how many seconds it is wrong at most.

    Whatever keeps it (timesyncd, chrony, ntpd) tells the kernel. None where the kernel won't say.
    """
    if not sys.platform.startswith("linux"):
        return None, None
    state = _Timex()
    try:
        answer = ctypes.CDLL(None).adjtimex(ctypes.byref(state))
    except (AttributeError, OSError):
        return None, None
    if answer < 0:
        return None, None
    kept = answer != CLOCK_ERROR and not state.status & UNSYNCHRONISED
    return kept, state.maxerror / 1e6 if kept else None


def file_system_of(path: Path, mounts: Path = Path("/proc/self/mountinfo")) -> str:
    """The kernel's name of the file system that `path` is on; empty where it can't be told."""
    try:
        lines = mounts.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return ""
    best, found = -1, ""
    real = path.resolve()
    for line in lines:
        before, _, after = line.partition(" - ")
        fields = before.split()
        if len(fields) < 5 or not after:
            continue
        mount = Path(fields[4].replace("\\040", " "))
        depth = len(mount.parts)
        # Of two mounts on the same place the later covers the earlier.
        if real.is_relative_to(mount) and depth >= best:
            best, found = depth, after.split()[0]
    return found
