"""A bare Debian in a folder, made with debootstrap, and a way to run commands in it.

Only for the commands beside this file: they need root, this machine's way to Debian's packages and
to the package index that pip is set to use, and a minute or two. `inside()` puts the calling script
into its own mount and process namespaces, so that all it mounts and starts ends with it.
"""

import ctypes
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
SUITE = "bookworm"
CACHE = Path(f"/var/tmp/rungwise-bare-{SUITE}.tar")
INSIDE = "RUNGWISE_TEST_INSIDE"
PATH = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
NEW_NET = 0x40000000  # CLONE_NEWNET of unshare(2)
# How this machine reaches its package index, which a machine elsewhere has its own ways for.
OUR_WAY = ("/etc/pip.conf", "/root/.config/pip/pip.conf", "/etc/resolv.conf", "/etc/hosts")
OUR_CERTIFICATES = Path("/etc/ssl/certs/ca-certificates.crt")


def inside() -> None:
    """Go on in namespaces of our own; ends the script that is outside."""
    if os.environ.get(INSIDE):
        return
    if os.geteuid() != 0:
        sys.exit("This makes a root file system and mounts in it: run it as root.")
    command = ["unshare", "--mount", "--pid", "--fork", "--mount-proc", "--kill-child"]
    os.environ[INSIDE] = "yes"
    os.execvp(command[0], [*command, sys.executable, *sys.argv])


def leave_the_network() -> None:
    """From here on, this script and all it starts see only a loopback of their own."""
    if ctypes.CDLL(None, use_errno=True).unshare(NEW_NET) != 0:
        raise OSError(ctypes.get_errno(), "unshare: no network namespace")
    subprocess.run(["ip", "link", "set", "lo", "up"], check=True)


@contextmanager
def bare_debian(keep: Path | None = None) -> Iterator[Path]:
    """The folder of a bare Debian with /proc, /dev and our way to the registries; gone after."""
    folder = keep or Path(tempfile.mkdtemp(prefix="rungwise-bare-", dir="/var/tmp"))
    folder.mkdir(exist_ok=True)
    try:
        _unpack(folder)
        folder.chmod(0o755)  # others than root live in it too
        _mount(folder)
        _connect(folder)
        yield folder
    finally:
        for place in ("dev", "sys", "proc"):
            command = ["umount", "--recursive", "--lazy", folder / place]
            subprocess.run(command, check=False, capture_output=True)
        if keep is None:
            _remove(folder)


def _remove(folder: Path) -> None:
    """Take the folder away, unless something of this machine is still mounted below it."""
    mounted = Path("/proc/self/mountinfo").read_text(encoding="utf-8")
    if f" {folder}/" in mounted:
        say(f"something is still mounted below {folder}: it is left there")
        return
    shutil.rmtree(folder, ignore_errors=True)


def _unpack(folder: Path) -> None:
    if not CACHE.exists():
        made = Path(tempfile.mkdtemp(prefix="rungwise-debootstrap-", dir="/var/tmp"))
        try:
            say("debootstrap")
            subprocess.run(
                ["debootstrap", "--variant=minbase", SUITE, made],
                check=True,
                stdout=subprocess.DEVNULL,
            )
            subprocess.run(["tar", "-C", made, "-cf", f"{CACHE}.new", "."], check=True)
            Path(f"{CACHE}.new").replace(CACHE)
        finally:
            shutil.rmtree(made, ignore_errors=True)
    subprocess.run(["tar", "-C", folder, "-xf", CACHE], check=True)


def _mount(folder: Path) -> None:
    for kind, place in (("proc", "proc"), ("sysfs", "sys")):
        subprocess.run(["mount", "-t", kind, kind, folder / place], check=True)
    subprocess.run(["mount", "--rbind", "/dev", folder / "dev"], check=True)


def _connect(folder: Path) -> None:
    for file in map(Path, OUR_WAY):
        if file.exists():
            there = folder / str(file).lstrip("/")
            there.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(file, there)
    # Debian's packages would start their services, of which there is nothing to run here.
    policy = folder / "usr/sbin/policy-rc.d"
    policy.write_text("#!/bin/sh\nexit 101\n")
    policy.chmod(0o755)


def our_certificates(folder: Path) -> None:
    """Trust what this machine trusts, once Debian's own certificates are installed there."""
    there = folder / str(OUR_CERTIFICATES).lstrip("/")
    if OUR_CERTIFICATES.exists() and there.parent.is_dir():
        shutil.copy(OUR_CERTIFICATES, there)


def environ(more: Mapping[str, str] | None = None) -> dict[str, str]:
    """A bare root shell's environment, and our way to the package index."""
    ours = {name: value for name, value in os.environ.items() if name.startswith("PIP_")}
    base = {"PATH": PATH, "HOME": "/root", "TERM": "dumb", "DEBIAN_FRONTEND": "noninteractive"}
    return {**base, **ours, **(more or {})}


def run_in(
    folder: Path,
    command: Sequence[str],
    more: Mapping[str, str] | None = None,
    user: str | None = None,
) -> subprocess.CompletedProcess[str]:
    """A command in the root; its output is given back, and a failure is an error with it."""
    chroot = ["chroot", *([f"--userspec={user}"] if user else []), str(folder)]
    done = subprocess.run(
        [*chroot, *command],
        env=environ(more),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(command)}\n{done.stdout}\nexit code {done.returncode}")
    return done


def release(file: Path) -> None:
    """The last commit as a release's archive, made as docs/installing.md says."""
    command = ["git", "archive", "--format=tar.gz", "-o", str(file), "HEAD"]
    subprocess.run(command, cwd=ROOT, check=True)


def say(words: str) -> None:
    print(f"=== {words}", flush=True)
