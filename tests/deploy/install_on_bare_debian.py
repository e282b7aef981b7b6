"""Installs the service on a bare Debian as docs/installing.md says, and lives a day's texts on it.

    python tests/deploy/install_on_bare_debian.py [--keep FOLDER]

The root is made with debootstrap and has nothing but Debian's base: no Python, no file of ours.
The checkout is given as a release's archive, and every command is taken from the page. After all is
fetched, the rest happens in a network of its own, with an operator's SMPP server played by us. No
systemd runs there, so stand_in_systemctl.py starts what the installed unit files say. At the end
the documented upgrade is carried out while pages are asked for all the time.
"""

import argparse
import json
import re
import shutil
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.append(str(Path(__file__).parents[2]))
sys.path.append(str(Path(__file__).parents[1]))
sys.path.append(str(Path(__file__).parents[1] / "carriers"))

from bare_root import (
    ROOT,
    bare_debian,
    environ,
    inside,
    leave_the_network,
    our_certificates,
    release,
    run_in,
    say,
)
from kannel_process import free_ports
from outside import at_terminal
from screened import harmless
from smpp_operator import Operator, operator_on
from waiting import until

from rungwise.coach.enrolment.home_checklist import NAMES as IN_PLACE

HERE = Path(__file__).parent
PAGE = ROOT / "docs/installing.md"
SITE = "rungwise.example.org"
PRACTICE, CLIENT, LEAD_PHONE = "+12025550100", "+12025550111", "+447700900125"
LEAD, PASSWORD = "nell@example.org", "seven green kettles sang"
PROFILE = {"body": {"height_mm": 1580, "sex": "female"}}


def blocks(of: str) -> list[str]:
    """The blocks of commands under the headings that match."""
    found = []
    for section in re.split(r"^## ", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]:
        if re.match(of, section):
            found += re.findall(r"^```sh\n(.*?)^```$", section, re.MULTILINE | re.DOTALL)
    assert found, of
    return found


class Server:
    """The root, in which blocks are run one after the other like in one shell."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.variables: dict[str, str] = {}

    def run(self, block: str) -> str:
        say(f"$ {block.strip()}".replace("\n", "\n    "))
        self.variables.update(re.findall(r"^([a-z]+)=(\S+)$", block, re.MULTILINE))
        known = "".join(f"{name}={value}\n" for name, value in self.variables.items())
        script = f"set -eu\ncd /root\n{known}{block}"
        started = time.monotonic()
        done = run_in(self.root, ["bash", "-c", script])
        print("\n".join(done.stdout.strip().splitlines()[-20:]))
        print(f"    ({time.monotonic() - started:.1f} s)", flush=True)
        return done.stdout

    def python(self, code: str) -> str:
        command = ["/opt/rungwise/current/.venv/bin/python", "-c", code]
        return run_in(self.root, command).stdout


def fetch(server: Server) -> None:
    """Everything for which the network is needed, of the installation and of the upgrade."""
    for block in blocks("1") + blocks("2"):
        server.run(block)
        if "apt-get" in block:
            our_certificates(server.root)
            stand_in = server.root / "usr/local/bin/systemctl"
            shutil.copy(HERE / "stand_in_systemctl.py", stand_in)
            stand_in.chmod(0o755)
    say("the next release is fetched now too, for the upgrade at the end")
    server.run(
        "mkdir -p /opt/rungwise/0.2.0\n"
        "tar -xzf rungwise-0.2.0.tar.gz -C /opt/rungwise/0.2.0\n"
        "sh /opt/rungwise/0.2.0/deploy/install\n"
    )


def set_up(server: Server, operator_port: int) -> None:
    for block in blocks("3") + blocks("4"):
        server.run(block)
    (block,) = blocks("5")
    assert block == "rungwise setup\n"
    say("$ rungwise setup")
    code, screen = at_terminal(
        ["chroot", str(server.root), "rungwise", "setup"],
        {
            "address in a browser": f"https://{SITE}",
            "The database": "postgresql:///rungwise?host=/var/run/postgresql",
            "How texts travel": "kannel",
            "operator's SMPP server": "127.0.0.1",
            "Its port": str(operator_port),
            "Your name there": "practice",
            "Your password there": "pw",
            "is there already": "yes",
            "Name of the practice,": "Harbour Balance",
            "country": "US",
            "time zone": "America/New_York",
            "number that its texts": PRACTICE,
            "Name of the practice lead": "Nell Example",
            "e-mail address": LEAD,
            "The lead's own telephone": LEAD_PHONE,
            "The lead's password": PASSWORD,
        },
        environ(),
    )
    print(screen)
    assert code == 0, code


def start(server: Server) -> None:
    with (server.root / "etc/hosts").open("a") as hosts:
        hosts.write(f"127.0.0.1 {SITE}\n")
    kannel, service_block, caddy = *blocks("6")[0].splitlines(), blocks("6")[1]
    server.run(kannel)
    server.run(service_block)
    server.run(caddy)
    # No certificate authority is in reach here: Caddy is told to be its own, and is trusted.
    file = server.root / "etc/caddy/Caddyfile"
    file.write_text("{\n\tlocal_certs\n}\n" + file.read_text())
    server.run(
        "systemctl restart caddy\n"
        "made=/var/lib/caddy/.local/share/caddy/pki/authorities/local/root.crt\n"
        "until [ -f $made ]; do sleep 0.2; done\n"
        "cp $made /usr/local/share/ca-certificates/rungwise-test.crt\n"
        "update-ca-certificates"
    )


def live_a_day(server: Server, operator: Operator) -> None:
    """A client is added, screened and looked at home; the lead answers a test page; the client gets
    the first text and the day's prompt, and replies.
    """
    profile = server.root / "tmp/profile.json"
    profile.write_text(json.dumps(PROFILE))
    screening = server.root / "tmp/screening.json"
    screening.write_text(json.dumps(harmless()))
    for file in (profile, screening):
        file.chmod(0o644)
    now = datetime.now(UTC)
    # A place where it is late morning, so that it is no quiet hour.
    west = (now.hour - 10 + 12) % 24 - 12
    zone = f"Etc/GMT{west:+d}" if west else "Etc/UTC"
    local = now - timedelta(hours=west)
    prompt_at = (local + timedelta(minutes=4)).replace(second=0)
    server.run(
        f"rungwise client add --trainer {LEAD} --name 'Ada Example' --phone {CLIENT} "
        f"--profile /tmp/profile.json --screening /tmp/screening.json "
        f"--zone {zone} --hour {prompt_at:%H:%M} --agreed"
    )
    say(server.python(TEST_PAGE).strip())
    until(lambda: operator.texts_to(LEAD_PHONE), 60)
    operator.reply(LEAD_PHONE, PRACTICE, re.findall(r"1 \d\d", operator.texts_to(LEAD_PHONE)[0])[0])
    until(lambda: "pages reach" in operator.texts_to(LEAD_PHONE)[-1], 30)
    say(server.python(AT_HOME).strip())
    say("what the client's telephone shows")
    until(lambda: operator.texts_to(CLIENT), 60)
    until(lambda: len(operator.texts_to(CLIENT)) >= 2, 420)
    operator.reply(CLIENT, PRACTICE, "20 20 steady")
    until(lambda: len(operator.texts_to(CLIENT)) >= 3, 30)
    welcome, prompt, answer = operator.texts_to(CLIENT)
    print(f"    welcome: {welcome}\n    prompt:  {prompt}\n    reply:   20 20 steady\n"
          f"    answer:  {answer}", flush=True)  # fmt: skip
    assert "20" in answer
    assert "steady" in answer.lower()
    assert "Ada Example" in server.run("rungwise client list")


def page_about_a_fall(operator: Operator) -> None:
    """A fall is told: the client gets the safety text, the lead is paged and says 1."""
    known = len(operator.texts_to(CLIENT))
    tested = len(operator.texts_to(LEAD_PHONE))
    operator.reply(CLIENT, PRACTICE, "I fell in the kitchen")
    until(lambda: len(operator.texts_to(CLIENT)) > known, 30)
    until(lambda: len(operator.texts_to(LEAD_PHONE)) > tested, 30)
    operator.reply(LEAD_PHONE, PRACTICE, "1")
    until(lambda: "you have it" in operator.texts_to(LEAD_PHONE)[-1], 30)
    page, *_, had = operator.texts_to(LEAD_PHONE)[tested:]
    say("a fall")
    print(f"    to the client: {operator.texts_to(CLIENT)[known]}\n    page: {page}\n"
          f"    the lead: 1\n    answer: {had}", flush=True)  # fmt: skip
    assert "911" in operator.texts_to(CLIENT)[known]
    assert "URGENT" in page
    assert "Ada" in page


SIGNED_IN = f"""
import re, ssl, httpx
browser = httpx.Client(base_url="https://{SITE}", verify=ssl.create_default_context(),
                       follow_redirects=True, timeout=60)
def send(address, **form):
    form["csrf"] = re.search(r'name="csrf" value="([^"]+)"', page.text)[1]
    answer = browser.post(address, data=form)
    assert answer.status_code == 200, answer.text[:2000]
    return answer
page = browser.get("/sign-in")
page = send("/sign-in", next="/clients", email="{LEAD}", password="{PASSWORD}")
assert "Ada Example" in page.text, page.text[:2000]
print("signed in at", page.url, "and saw the client")
"""
TEST_PAGE = f"""{SIGNED_IN}
page = browser.get("/practice/trainers/1")
page = send("/practice/trainers/1/test-page")
print("sent the lead a test page")
"""
AT_HOME = f"""{SIGNED_IN}
page = browser.get("/clients/1/start")
page = send("/clients/1/start/home", home={list(IN_PLACE)}, someone="a neighbour")
page = send("/clients/1/start", agreed="yes")
assert browser.get("/metrics").status_code == 404
print("said what is in place at home, and let the texts begin")
"""

ASK_ALL_THE_TIME = f"""
import ssl, sys, time, httpx
asked = failed = 0
slowest = 0.0
with httpx.Client(verify=ssl.create_default_context(), timeout=20) as browser:
    print("asking", flush=True)
    import threading
    stop = threading.Event()
    threading.Thread(target=lambda: (sys.stdin.read(), stop.set()), daemon=True).start()
    while not stop.is_set():
        began = time.monotonic()
        try:
            failed += browser.get("https://{SITE}/sign-in").status_code != 200
        except httpx.HTTPError:
            failed += 1
        asked += 1
        slowest = max(slowest, time.monotonic() - began)
        time.sleep(0.02)
print(asked, failed, round(slowest, 2))
"""


def upgrade(server: Server, operator: Operator) -> None:
    """The documented upgrade, while pages are asked for and a client replies."""
    python = "/opt/rungwise/0.1.0/.venv/bin/python"
    asking = subprocess.Popen(
        ["chroot", str(server.root), python, "-c", ASK_ALL_THE_TIME],
        env=environ(), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert asking.stdout is not None
    assert asking.stdout.readline() == "asking\n"
    known = len(operator.texts_to(CLIENT))
    (documented,) = blocks("Upgrading")
    reply = threading.Timer(1.0, operator.reply, (CLIENT, PRACTICE, "no, 15"))
    reply.start()
    # Without a network, so by the version that was installed before it went.
    server.run(documented.replace("rungwise-$version.tar.gz", "0.2.0"))
    checked = server.run("rungwise check")
    reply.join()
    until(lambda: len(operator.texts_to(CLIENT)) > known, 40)
    said, _ = asking.communicate("")
    asked, failed, slowest = said.split()
    say(f"during the upgrade {asked} pages were asked for, {failed} failed, slowest {slowest} s; "
        f"a reply was answered: {operator.texts_to(CLIENT)[-1]}")  # fmt: skip
    assert failed == "0"
    assert int(asked) > 20
    assert "fail " not in checked
    running = server.run("tr '\\0' ' ' </proc/$(cat /run/stand-in/rungwise.pid)/cmdline")
    assert "/opt/rungwise/0.2.0/" in running


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keep", type=Path, help="make the root here, and leave it there")
    options = parser.parse_args()
    inside()
    started = time.monotonic()
    with bare_debian(options.keep) as root:
        names = [name for name in ("python3", "psql", "git") if _has(root, name)]
        assert names == [], f"the root is not bare: {names}"
        release(root / "root/rungwise-0.1.0.tar.gz")
        shutil.copy(root / "root/rungwise-0.1.0.tar.gz", root / "root/rungwise-0.2.0.tar.gz")
        server = Server(root)
        fetch(server)
        leave_the_network()
        (port,) = free_ports(1)
        with operator_on(port) as operator:
            operator.may_answer.set()
            set_up(server, port)
            start(server)
            until(lambda: operator.bound, 40)
            check, test_text = blocks("7")
            time.sleep(12)  # a tick notes itself every ten seconds
            checked = server.run(check)
            assert "fail " not in checked
            server.run(test_text)
            assert until(lambda: operator.texts_to("+12025550123"), 20)[0].startswith(
                "Rungwise test"
            )
            live_a_day(server, operator)
            upgrade(server, operator)
            page_about_a_fall(operator)
            server.run("ls -l /var/lib/rungwise/backups; rungwise replay; rungwise audit verify")
        say("every command of docs/installing.md did what it says, "
            f"in {(time.monotonic() - started) / 60:.1f} minutes")  # fmt: skip


def _has(root: Path, name: str) -> bool:
    return any((root / place / name).exists() for place in ("usr/bin", "bin", "usr/local/bin"))


if __name__ == "__main__":
    main()
