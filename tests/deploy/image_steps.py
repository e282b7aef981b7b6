"""Carries out the build steps of deploy/container/Containerfile where there is no container engine.

    python tests/deploy/image_steps.py

Each stage begins as a bare Debian made with debootstrap, and FROM, ARG, RUN, WORKDIR, COPY, ENV,
USER and the others are carried out one by one as an engine would. The result is then started as
its user, in a network of its own and with everything but its volume read-only, and must become
healthy by its own HEALTHCHECK. What an engine does besides (layers, seccomp, cgroups) is not tried.
"""

import fnmatch
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

sys.path.append(str(Path(__file__).parents[2]))

from bare_root import (
    PATH,
    ROOT,
    bare_debian,
    environ,
    inside,
    leave_the_network,
    our_certificates,
    run_in,
    say,
)

FILE = ROOT / "deploy/container/Containerfile"
KANNEL = FILE.with_name("Containerfile.kannel")
IGNORED = FILE.with_name("Containerfile.dockerignore")
PATIENCE_S = 60


@dataclass
class Stage:
    """A stage's root, and what its steps have set."""

    root: Path
    workdir: str = "/"
    user: str = "root"
    env: dict[str, str] = field(default_factory=dict)
    volumes: list[str] = field(default_factory=list)
    entrypoint: list[str] = field(default_factory=list)
    cmd: list[str] = field(default_factory=list)
    health: list[str] = field(default_factory=list)


def steps(file: Path) -> list[tuple[str, str]]:
    """The instructions in order, with what follows each."""
    text = re.sub(r"\\\n\s*", " ", file.read_text(encoding="utf-8"))
    found = []
    for line in text.splitlines():
        if line and not line.startswith("#"):
            name, _, rest = line.partition(" ")
            found.append((name.upper(), rest.strip()))
    return found


def carry_out(stage: Stage, name: str, rest: str, others: dict[str, Stage]) -> None:
    say(f"{name} {rest}")
    there = stage.root / stage.workdir.lstrip("/")
    if name == "RUN":
        script = f"cd {shlex.quote(stage.workdir)}; {rest}"
        run_in(stage.root, ["sh", "-ec", script], stage.env)
        our_certificates(stage.root)
    elif name == "WORKDIR":
        stage.workdir = rest
        (stage.root / rest.lstrip("/")).mkdir(parents=True, exist_ok=True)
    elif name == "COPY" and rest.startswith("--from="):
        origin, source, target = rest.removeprefix("--from=").split()
        copied = stage.root / target.lstrip("/")
        copied.parent.mkdir(parents=True, exist_ok=True)
        subprocess.run(["cp", "-a", others[origin].root / source.lstrip("/"), copied], check=True)
    elif name == "COPY":
        *sources, target = rest.split()
        for source in sources:
            copy(source, there / target)
    elif name == "ENV":
        stage.env.update(word.partition("=")[::2] for word in shlex.split(rest))
    elif name == "USER":
        stage.user = rest
    elif name == "VOLUME":
        stage.volumes.append(rest)
    elif name == "ENTRYPOINT":
        stage.entrypoint = json.loads(rest)
    elif name == "CMD":
        stage.cmd = json.loads(rest)
    elif name == "HEALTHCHECK":
        stage.health = json.loads(rest.partition("CMD ")[2])
    elif name not in ("EXPOSE", "LABEL"):
        raise SystemExit(f"This script does not know {name}.")


def copy(source: str, target: Path) -> None:
    """What the ignore file leaves of a part of the checkout."""
    rules = IGNORED.read_text().splitlines()
    assert rules[0] == "*"
    assert f"!{source}" in rules, f"{source} is ignored"
    left_out = [rule.removeprefix("**/") for rule in rules if rule.startswith("**/")]

    def ignore(_folder: str, names: list[str]) -> set[str]:
        return {name for name in names for rule in left_out if fnmatch.fnmatch(name, rule)}

    if (ROOT / source).is_dir():
        shutil.copytree(ROOT / source, target, ignore=ignore, dirs_exist_ok=True)
    else:
        shutil.copy(ROOT / source, target / source if target.is_dir() else target)


def start(stage: Stage) -> None:
    """Run the image as its user, read-only but for its volume and /tmp, until it is healthy."""
    subprocess.run(["mount", "--rbind", stage.root, stage.root], check=True)
    for volume in stage.volumes:
        place = stage.root / volume.lstrip("/")
        subprocess.run(["mount", "--bind", place, place], check=True)
    subprocess.run(["mount", "-t", "tmpfs", "tmpfs", stage.root / "tmp"], check=True)
    subprocess.run(["mount", "-o", "remount,ro,bind", stage.root], check=True)
    # An engine takes HOME from the user's entry.
    entries = (stage.root / "etc/passwd").read_text().splitlines()
    (home,) = (entry.split(":")[5] for entry in entries if entry.startswith(f"{stage.user}:"))
    given = {**environ(), "PATH": PATH, "HOME": home, **stage.env}
    drop = ["setpriv", f"--reuid={stage.user}", f"--regid={stage.user}", "--init-groups"]
    drop += ["--no-new-privs", "--bounding-set=-all", "--inh-caps=-all"]

    def command(words: list[str]) -> list[str]:
        inner = f"cd {shlex.quote(stage.workdir)}; exec {shlex.join([*drop, *words])}"
        return ["chroot", str(stage.root), "sh", "-c", inner]

    migrated = subprocess.run(command([*stage.entrypoint, "migrate"]), env=given, check=False)
    assert migrated.returncode == 0
    service = subprocess.Popen(command([*stage.entrypoint, *stage.cmd]), env=given)
    until = time.monotonic() + PATIENCE_S
    while subprocess.run(
        command(stage.health), env=given, capture_output=True, check=False
    ).returncode:
        assert service.poll() is None, "it ended by itself"
        assert time.monotonic() < until, "it did not become healthy"
        time.sleep(0.5)
    say("healthy by its own HEALTHCHECK")
    subprocess.run(command([*stage.entrypoint, "check"]), env=given, check=False)
    status = Path(f"/proc/{service.pid}/status").read_text()
    (ids,) = re.findall(r"^Uid:\s+(.*)$", status, re.MULTILINE)
    (rights,) = re.findall(r"^CapEff:\s+(.*)$", status, re.MULTILINE)
    assert set(ids.split()) == {"10001"}, ids
    assert int(rights, 16) == 0, rights
    wrote = subprocess.run(
        command(["sh", "-c", "echo x >/opt/rungwise/current/x"]), env=given, capture_output=True,
        check=False,
    )  # fmt: skip
    assert wrote.returncode != 0, "it could write where its program is"
    service.terminate()
    assert service.wait(60) in (0, -15, 143)
    say(f"it ran as user {ids.split()[0]}, without a privilege, and ended when asked to")


def build(file: Path, roots: ExitStack) -> Stage:
    """Carry out every step of the file; gives its last stage."""
    stages: dict[str, Stage] = {}
    arguments: dict[str, str] = {}
    stage = None
    for name, rest in steps(file):
        if name == "ARG":
            given, _, value = rest.partition("=")
            arguments[given] = os.environ.get(given, value)
        elif name == "FROM":
            base, _, label = rest.replace("${BASE}", arguments["BASE"]).partition(" AS ")
            say(f"FROM {base}: a bare Debian made with debootstrap")
            assert base.startswith("debian:bookworm"), base
            stage = Stage(roots.enter_context(bare_debian()))
            stages[label or "result"] = stage
        else:
            assert stage is not None
            carry_out(stage, name, rest, stages)
    return stages["result"]


def main() -> None:
    inside()
    started = time.monotonic()
    with ExitStack() as roots:
        gateway = build(KANNEL, roots)
        run_in(gateway.root, ["bearerbox", "--version"], user=gateway.user)
        say(f"bearerbox runs there as {gateway.user}")
        result = build(FILE, roots)
        leave_the_network()
        size = subprocess.run(
            ["du", "-sxm", result.root], capture_output=True, text=True, check=True
        )
        say(f"the image's root is {size.stdout.split()[0]} MB")
        try:
            start(result)
        finally:
            command = ["umount", "--recursive", "--lazy", result.root]
            subprocess.run(command, check=False)
        say(f"every step done in {(time.monotonic() - started) / 60:.1f} minutes")


if __name__ == "__main__":
    main()
