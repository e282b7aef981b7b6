#!/usr/bin/python3
"""Stands in for systemctl where no systemd runs: starts what the unit files say, and no more.

It takes ExecStart, User, Group, WorkingDirectory, EnvironmentFile, UMask, StateDirectory,
CacheDirectory and Type from a unit's file; what sandboxes a unit is systemd's alone. Units that are
still scripts in /etc/init.d are started by those. Timers are noted and never run.
"""

import os
import pwd
import re
import shlex
import signal
import subprocess
import sys
import time
from fnmatch import fnmatch
from pathlib import Path

PLACES = [Path("/etc/systemd/system"), Path("/lib/systemd/system")]
SCRIPTS = Path("/etc/init.d")
RUN, LOG = Path("/run/stand-in"), Path("/var/log")


def unit_of(name: str) -> tuple[dict[str, list[str]], str]:
    """The [Service] lines of a unit by name, and the instance's name after @."""
    base, at, instance = name.removesuffix(".service").partition("@")
    for place in PLACES:
        file = place / f"{base}{at}.service"
        if file.exists():
            found: dict[str, list[str]] = {}
            text = re.sub(r"\\\n\s*", " ", file.read_text())
            for line in text.splitlines():
                key, equals, value = line.partition("=")
                if equals and not line.startswith(("#", ";")):
                    found.setdefault(key.strip(), []).append(value.strip())
            return found, instance
    sys.exit(f"Failed to start {name}.service: Unit {name}.service not found.")


def start(name: str) -> None:
    script = SCRIPTS / name
    if script.exists():
        done = subprocess.run([str(script), "start"], check=False)
        if done.returncode:
            sys.exit(f"Failed to start {name}.service.")
        return
    unit, instance = unit_of(name)
    pid_file = RUN / f"{name}.pid"
    if alive(pid_file):
        return
    environ = {"PATH": os.environ["PATH"], "LANG": "C.UTF-8"}
    for line in unit.get("Environment", []):
        environ.update(word.partition("=")[::2] for word in shlex.split(line))
    for file in unit.get("EnvironmentFile", []):
        for line in Path(file.lstrip("-")).read_text().splitlines():
            if line and line[0] not in "#;":
                name_, _, value = line.partition("=")
                environ[name_] = "".join(shlex.split(value))
    command = shlex.split(unit["ExecStart"][-1].replace("%i", instance))
    user = unit.get("User", ["root"])[0]
    if user != "root":
        environ["HOME"] = pwd.getpwnam(user).pw_dir
        group = unit.get("Group", [user])[0]
        drop = ["setpriv", f"--reuid={user}", f"--regid={group}", "--init-groups"]
        # A web server may keep the one privilege that it names; ours keep none.
        if unit.get("AmbientCapabilities", [""])[0]:
            low = unit["AmbientCapabilities"][0].lower().replace("cap_", "+").split()
            drop += [f"--inh-caps={','.join(low)}", f"--ambient-caps={','.join(low)}"]
        else:
            drop += ["--no-new-privs", "--bounding-set=-all", "--inh-caps=-all"]
        command = [*drop, *command]
        for folder in unit.get("StateDirectory", []):
            subprocess.run(
                ["install", "-d", "-o", user, "-m", "700", f"/var/lib/{folder}"], check=True
            )
    os.umask(int(unit.get("UMask", ["022"])[0], 8))
    where = unit.get("WorkingDirectory", ["/"])[0]
    RUN.mkdir(exist_ok=True)
    with (LOG / f"{name}.log").open("ab") as log:
        if unit.get("Type", ["simple"])[0] == "oneshot":
            done = subprocess.run(
                command, env=environ, cwd=where, stdout=log, stderr=log, check=False
            )
            if done.returncode:
                sys.exit(f"Job for {name}.service failed. See /var/log/{name}.log.")
            return
        process = subprocess.Popen(
            command, env=environ, cwd=where, stdin=subprocess.DEVNULL, stdout=log, stderr=log,
            start_new_session=True,
        )  # fmt: skip
    pid_file.write_text(str(process.pid))
    time.sleep(0.5)
    if process.poll() is not None:
        sys.exit(f"Job for {name}.service failed. See /var/log/{name}.log.")


def alive(pid_file: Path) -> int | None:
    if not pid_file.exists():
        return None
    pid = int(pid_file.read_text())
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return None
    return pid


def stop(name: str) -> None:
    script = SCRIPTS / name
    if script.exists():
        subprocess.run([str(script), "stop"], check=False)
        return
    pid = alive(RUN / f"{name}.pid")
    if pid is not None:
        os.kill(pid, signal.SIGTERM)
        for _ in range(600):
            if alive(RUN / f"{name}.pid") is None or is_zombie(pid):
                break
            time.sleep(0.1)
    (RUN / f"{name}.pid").unlink(missing_ok=True)


def is_zombie(pid: int) -> bool:
    try:
        return ") Z " in Path(f"/proc/{pid}/stat").read_text()
    except FileNotFoundError:
        return True


def main(verb: str, *names: str) -> None:
    wanted = [name.removesuffix(".service") for name in names if not name.startswith("-")]
    if verb == "list-units":
        running = [file.stem for file in sorted(RUN.glob("*.pid")) if alive(file)]
        print("\n".join(f"{name}.service loaded active running" for name in running
                        if any(fnmatch(name, pattern) for pattern in wanted)))  # fmt: skip
        return
    if verb == "is-active":
        sys.exit(0 if all(alive(RUN / f"{name}.pid") for name in wanted) else 3)
    for name in wanted:
        if name.endswith(".timer"):
            continue
        if verb in ("stop", "restart"):
            stop(name)
        if verb in ("start", "restart") or (verb == "enable" and "--now" in names):
            start(name)


if __name__ == "__main__":
    main(*sys.argv[1:])
