"""Who is kept waiting at the door, and who is not: guesses, hashes, slow callers, other names."""

import asyncio
import socket
import stat
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from threading import Event, Lock, Thread
from time import monotonic

import pytest
import uvicorn
from fastapi.testclient import TestClient
from postbox import serving  # found by the line in conftest.py
from starlette.exceptions import HTTPException
from waiting import PATIENCE_S, until
from web_world import PASSWORD, World, csrf_of, sign_in

from rungwise.app import create_app
from rungwise.coach.accounts import passwords
from rungwise.coach.accounts.passwords import AT_ONCE, MAY_WAIT, TooBusy
from rungwise.store import Store
from rungwise.web.http.patience import Impatient, LimitTime
from rungwise.web.http.sessions import MOST_BY_ACCOUNT

TESS = "tess@example.org"


def held_by_others(world: World) -> None:
    """A stranger's wrong passwords, until the account takes no more tries."""
    stranger = world.browser()
    for _ in range(MOST_BY_ACCOUNT):
        assert sign_in(stranger, TESS, "wrong").status_code == 401
    assert sign_in(stranger, TESS, PASSWORD).status_code == 429


def test_a_browser_known_before_is_not_held_by_others_guesses(world: World) -> None:
    known = world.browser()
    assert sign_in(known, TESS, PASSWORD).status_code == 303
    known.cookies.delete("rungwise")
    held_by_others(world)
    assert sign_in(known, TESS, PASSWORD).status_code == 303


def test_a_known_browser_may_not_guess_either(world: World) -> None:
    known = world.browser()
    sign_in(known, TESS, PASSWORD)
    known.cookies.delete("rungwise")
    answers = [sign_in(known, TESS, "wrong").status_code for _ in range(MOST_BY_ACCOUNT + 1)]
    assert answers == [401] * MOST_BY_ACCOUNT + [429]
    # Nor does its cookie help with another account.
    assert sign_in(known, "omar@example.org", PASSWORD).status_code == 303


def test_a_fresh_reset_is_not_held_by_others_guesses(world: World) -> None:
    held_by_others(world)
    page = world.signed_in("lena").post(f"/practice/trainers/{world.trainers['tess']}/reset").text
    address = page.partition("/welcome/")[2].split('"')[0].split("<")[0]
    fresh = world.browser()
    token = csrf_of(fresh.get(f"/welcome/{address}").text)
    chosen = "four unconnected words here"
    form = {"csrf": token, "password": chosen}
    assert fresh.post(f"/welcome/{address}", data=form).status_code == 303
    assert sign_in(fresh, TESS, chosen).status_code == 303


def test_the_page_says_what_ends_the_wait(world: World) -> None:
    held_by_others(world)
    told = sign_in(world.browser(), TESS, PASSWORD).text
    assert "by you or by somebody else" in told
    assert "by a link, which works at once" in told
    # No mail server is set up here, so the page names the command.
    assert "rungwise practice reset --email" in told
    assert "/sign-in/forgotten" not in told


def test_guesses_made_at_once_are_counted_like_those_made_in_turn(world: World) -> None:
    browsers = [world.browser() for _ in range(3 * MOST_BY_ACCOUNT)]
    tokens = [csrf_of(browser.get("/sign-in").text) for browser in browsers]

    def guess(browser: TestClient, token: str) -> int:
        form = {"email": TESS, "password": "wrong", "csrf": token}
        return int(browser.post("/sign-in", data=form).status_code)

    with ThreadPoolExecutor(len(browsers)) as pool:
        answers = list(pool.map(guess, browsers, tokens))
    # Some may be told that too many passwords are being checked; none is checked beyond the limit.
    assert answers.count(401) <= MOST_BY_ACCOUNT
    assert set(answers) <= {401, 429, 503}


def test_two_hashes_run_at_once_and_few_wait() -> None:
    running, most, lock, go = 0, 0, Lock(), Event()

    def work() -> None:
        nonlocal running, most
        with lock:
            running += 1
            most = max(most, running)
        go.wait(PATIENCE_S)
        with lock:
            running -= 1

    room = AT_ONCE + MAY_WAIT
    with ThreadPoolExecutor(room) as pool:
        waiting = [pool.submit(passwords._in_turn, work) for _ in range(room)]
        until(lambda: passwords._room._value == 0 and running == AT_ONCE)
        with pytest.raises(TooBusy, match="Wait a minute"):
            passwords._in_turn(work)
        go.set()
        for one in waiting:
            one.result(PATIENCE_S)
    assert most == AT_ONCE
    passwords._in_turn(work)


# --- recovering without a lead --------------------------------------------------------------------


def test_a_lead_gets_a_link_by_mail_and_nobody_learns_who_has_an_account(world: World) -> None:
    with serving() as box:
        mails = world.parts.settings.model_copy(
            update={
                "smtp_host": "127.0.0.1",
                "smtp_port": box.port,
                "smtp_security": "none",
                "smtp_from": "service@example.org",
            }
        )
        object.__setattr__(world.parts, "settings", mails)
        browser = world.browser()
        assert "/sign-in/forgotten" in browser.get("/sign-in").text

        def ask(email: str) -> str:
            token = csrf_of(browser.get("/sign-in/forgotten").text)
            answer = browser.post("/sign-in/forgotten", data={"email": email, "csrf": token})
            assert answer.status_code == 200
            return str(answer.text)

        assert ask("nobody@example.org") == ask("Lena@example.org ")
        (letter,) = box.letters
        assert box.receivers == ["lena@example.org"]
        address = letter.get_content().partition("/welcome/")[2].split()[0]
    token = csrf_of(browser.get(f"/welcome/{address}").text)
    form = {"csrf": token, "password": "four unconnected words here"}
    assert browser.post(f"/welcome/{address}", data=form).status_code == 303
    assert sign_in(browser, "lena@example.org", "four unconnected words here").status_code == 303


def test_links_by_mail_are_few_and_end_no_link_that_a_lead_made(world: World) -> None:
    with serving() as box:
        mails = world.parts.settings.model_copy(
            update={
                "smtp_host": "127.0.0.1",
                "smtp_port": box.port,
                "smtp_security": "none",
                "smtp_from": "service@example.org",
            }
        )
        object.__setattr__(world.parts, "settings", mails)
        page = world.signed_in("lena").post(f"/practice/trainers/{world.trainers['tess']}/reset")
        made = page.text.partition("/welcome/")[2].split('"')[0].split("<")[0]
        browser = world.browser()
        answers = []
        for _ in range(MOST_BY_ACCOUNT + 1):
            token = csrf_of(browser.get("/sign-in/forgotten").text)
            answer = browser.post("/sign-in/forgotten", data={"email": TESS, "csrf": token})
            answers.append(answer.status_code)
        assert answers == [200] * MOST_BY_ACCOUNT + [429]
        assert len(box.letters) == MOST_BY_ACCOUNT
    assert browser.get(f"/welcome/{made}").status_code == 200


# --- the server itself ----------------------------------------------------------------------------


@contextmanager
def served(app: object, head_within_s: float) -> Iterator[int]:
    class Quick(Impatient):
        pass

    Quick.head_within_s = head_within_s
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port = int(listening.getsockname()[1])
        config = uvicorn.Config(app, http=Quick, log_config=None, lifespan="off")  # type: ignore[arg-type]
        server = uvicorn.Server(config)
        thread = Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        until(lambda: server.started)
        yield port
        server.should_exit = True
        thread.join(PATIENCE_S)


@pytest.mark.parametrize("sent", [b"", b"GET / HTTP/1.1\r\nHost: x\r\n"])
def test_a_request_whose_head_does_not_come_is_hung_up_on(world: World, sent: bytes) -> None:
    with served(world.app, 0.4) as port, socket.create_connection(("127.0.0.1", port)) as caller:
        caller.settimeout(5)
        caller.sendall(sent)
        begun = monotonic()
        assert caller.recv(100) == b""
        assert monotonic() - begun < 2


def test_a_body_that_trickles_in_is_refused_in_time(world: World) -> None:
    head = (
        "POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 90000\r\n"
        "Content-Type: application/x-www-form-urlencoded\r\n\r\nemail="
    )
    slow = LimitTime(world.app, within_s=0.5)
    with served(slow, 5) as port, socket.create_connection(("127.0.0.1", port)) as caller:
        caller.settimeout(5)
        caller.sendall(head.encode())
        begun = monotonic()
        answer = caller.recv(1000)
        assert b" 408 " in answer
        assert monotonic() - begun < 3


def test_a_wait_for_the_answer_is_no_slow_body() -> None:
    """An event stream reads on to learn whether the caller hangs up; that may take for ever."""

    async def app(_scope, receive, send) -> None:
        await receive()
        await asyncio.wait_for(receive(), 1)
        await send({"type": "done"})

    messages = iter([{"type": "http.request", "body": b""}, {"type": "http.disconnect"}])
    sent = []

    async def receive():
        message = next(messages)
        await asyncio.sleep(0.2 if message["type"] == "http.disconnect" else 0)
        return message

    async def send(message) -> None:
        sent.append(message["type"])

    asyncio.run(LimitTime(app, within_s=0.05)({"type": "http"}, receive, send))
    assert sent == ["done"]


def test_a_body_that_stops_raises_what_becomes_the_answer() -> None:
    async def app(_scope, receive, _send) -> None:
        await receive()

    async def never():
        await asyncio.sleep(10)

    with pytest.raises(HTTPException, match="took too long") as refused:
        asyncio.run(LimitTime(app, within_s=0.05)({"type": "http"}, never, never))
    assert refused.value.status_code == 408


def test_pages_are_served_under_the_services_own_name_alone(world: World) -> None:
    settings = world.parts.settings.model_copy(update={"public_url": "https://own.example.org"})
    object.__setattr__(world.parts, "settings", settings)
    app = create_app(parts=world.parts)
    for host, status in {
        "own.example.org": 200,
        "OWN.example.org:443": 200,
        "127.0.0.1:8780": 200,
        "attacker.example.net": 421,
        "own.example.org.example.net": 421,
        "": 421,
        "[": 421,
    }.items():
        browser = TestClient(app, headers={"host": host}, raise_server_exceptions=True)
        assert browser.get("/sign-in").status_code == status, host
        assert browser.get("/api/v1/clients").status_code == (421 if status == 421 else 401)
        # Monitors and carriers may come by a name inside.
        assert browser.get("/healthz").status_code != 421


def test_the_cookie_before_signing_in_is_for_this_host_alone_and_new_after_each_form(
    world: World,
) -> None:
    secure = world.parts.settings.model_copy(update={"secure_cookies": True})
    object.__setattr__(world.parts, "settings", secure)
    browser = TestClient(world.app, base_url="https://testserver", follow_redirects=False)
    browser.get("/sign-in")
    first = browser.cookies["__Host-rungwise-before"]
    browser.get("/sign-in")
    assert browser.cookies["__Host-rungwise-before"] == first  # another tab may have it
    sign_in(browser, TESS, "wrong")
    assert browser.cookies["__Host-rungwise-before"] != first
    sign_in(browser, TESS, PASSWORD)
    assert "__Host-rungwise-before" not in browser.cookies


def test_a_new_database_is_its_owners_alone(tmp_path: Path) -> None:
    file = tmp_path / "new.sqlite3"
    store = Store(f"sqlite:///{file}")
    with store.write() as session:
        session.connection().exec_driver_sql("CREATE TABLE x (y)")
        modes = {
            each.name: stat.S_IMODE(each.stat().st_mode) for each in tmp_path.glob("new.sqlite3*")
        }
    store.close()
    assert len(modes) > 1
    assert set(modes.values()) == {0o600}, modes
