"""The log: JSON lines with ids and without anybody's words; errors as RFC 5424 messages."""

import json
import logging
import re
import socket
import threading
import warnings
from datetime import datetime
from io import StringIO

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from rungwise.logs import ErrorLines, JsonLines, PlainLines, about, error_reports, write_logs
from rungwise.meters import Meters
from rungwise.settings import Settings, WrongSetting
from rungwise.web.http.request_log import Asked

SECRET = "Ada fell in the kitchen"


@pytest.fixture
def root():
    """The root logger as it was, afterwards."""
    logger = logging.getLogger()
    before = (list(logger.handlers), logger.level, list(logging.getLogger("uvicorn.error").filters))
    yield logger
    for handler in logger.handlers:
        if handler not in before[0]:
            handler.close()
    logger.handlers[:], logger.level = before[0], before[1]
    logging.getLogger("uvicorn.error").filters[:] = before[2]
    logging.captureWarnings(False)
    logging.raiseExceptions = True


@pytest.fixture
def lines(root):
    """What was logged since, each line read as JSON."""
    out = StringIO()
    write_logs(Settings(), out)

    def read():
        found = [json.loads(line) for line in out.getvalue().splitlines()]
        return [line for line in found if line["logger"] != "httpx2"]  # the tests' own browser

    return read


def boom() -> None:
    raise ValueError(SECRET)


def test_a_line_has_time_level_ids_and_nothing_else(lines) -> None:
    with about(request="abc-123-def"):
        logging.getLogger("service.x").info("texts stored", extra={"message_ids": [4, 5]})
    logging.getLogger("service.x").debug("not at this level")
    (line,) = lines()
    assert datetime.fromisoformat(line.pop("time")).tzinfo is not None
    assert line == {
        "level": "info",
        "logger": "service.x",
        "message": "texts stored",
        "request": "abc-123-def",
        "message_ids": [4, 5],
    }


def test_an_error_tells_where_and_not_what_was_said(lines) -> None:
    try:
        boom()
    except ValueError:
        logging.getLogger("service.x").exception("reading failed", extra={"message_id": 7})
    (line,) = lines()
    assert (line["error"], line["message_id"]) == ("ValueError", 7)
    assert re.fullmatch(r"test_logs\.py:\d+ boom", line["at"][-1])
    assert SECRET not in json.dumps(line)


def test_threads_that_are_handed_work_do_not_mix_up_requests(lines) -> None:
    def speak(name: str) -> None:
        with about(request=name):
            barrier.wait()
            logging.getLogger("service.x").info(name)

    barrier = threading.Barrier(2)
    threads = [threading.Thread(target=speak, args=(f"request-{n}",)) for n in (1, 2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted((line["request"], line["message"]) for line in lines()) == [
        ("request-1", "request-1"),
        ("request-2", "request-2"),
    ]


@pytest.mark.parametrize("name", ["httpx", "httpcore.http11", "apscheduler.executors.default"])
def test_libraries_that_tell_of_every_call_and_tick_are_quiet(lines, name: str) -> None:
    logging.getLogger(name).info("GET https://x.test/clients/7?words=Ada")
    logging.getLogger(name).error("the scheduler broke")
    assert [line["message"] for line in lines()] == ["the scheduler broke"]


def test_warnings_of_libraries_are_lines_too(lines) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("default")
        warnings.warn("old", UserWarning, stacklevel=1)
    assert [line["level"] for line in lines()] == ["warning"]


def test_plain_lines_are_for_people() -> None:
    record = logging.makeLogRecord({"msg": "handed over", "levelname": "INFO", "message_id": 3})
    record.about = {"tick": "send"}
    assert re.fullmatch(
        r"\d\d:\d\d:\d\d info handed over tick=send message_id=3", PlainLines().format(record)
    )


# --- requests -------------------------------------------------------------------------------------


@pytest.fixture
def asked(lines):
    app = FastAPI()
    meters = Meters()

    @app.get("/clients/{client_id}")
    def one(client_id: int) -> str:
        logging.getLogger("service.x").info("inside")
        return "ok"

    @app.get("/broken/{client_id}")
    def broken(client_id: int) -> None:
        boom()

    app.add_middleware(Asked, meters=meters)
    return TestClient(app, raise_server_exceptions=False), meters, lines


def test_a_requests_id_goes_in_and_out_and_stands_in_its_lines(asked) -> None:
    browser, meters, lines = asked
    answer = browser.get("/clients/4711?words=Ada", headers={"X-Request-ID": "from-the-proxy.1"})
    assert answer.headers["X-Request-ID"] == "from-the-proxy.1"
    inside, told = lines()
    assert inside["request"] == told["request"] == "from-the-proxy.1"
    assert (told["method"], told["route"], told["status"]) == ("GET", "/clients/{client_id}", 200)
    assert "4711" not in json.dumps(told)
    assert "Ada" not in json.dumps(told)
    count = meters.registry.get_sample_value(
        "rungwise_http_request_seconds_count", {"area": "page", "status": "2xx"}
    )
    assert count == 1


@pytest.mark.parametrize("given", ["short", "x" * 65, "with space in it", '"},{"level":"x'])
def test_an_id_that_cannot_stand_in_a_log_is_replaced(asked, given: str) -> None:
    browser, _, lines = asked
    mine = browser.get("/clients/1", headers={"X-Request-ID": given}).headers["X-Request-ID"]
    assert re.fullmatch(r"[0-9a-f]{32}", mine)
    assert {line["request"] for line in lines()} == {mine}


def test_a_failed_request_is_told_once_with_its_id(asked) -> None:
    browser, _, lines = asked
    assert browser.get("/broken/4711").status_code == 500
    failed, told = lines()
    assert (failed["level"], failed["error"]) == ("error", "ValueError")
    assert failed["request"] == told["request"]
    assert told["status"] == 500
    assert SECRET not in json.dumps(failed)
    assert "4711" not in json.dumps(failed)


# --- errors by syslog -----------------------------------------------------------------------------

# RFC 5424 section 6: HEADER SP STRUCTURED-DATA SP MSG.
RFC5424 = re.compile(
    r"<(?P<pri>\d{1,3})>1 (?P<time>\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00)"
    r" [!-~]{1,255} (?P<app>[!-~]{1,48}) \d{1,128} [!-~]{1,32} - (?P<msg>\{.*\})"
)


def test_errors_are_sent_on_as_rfc_5424_says(root) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listening:
        listening.bind(("127.0.0.1", 0))
        listening.settimeout(5)
        write_logs(Settings(error_syslog=f"udp://127.0.0.1:{listening.getsockname()[1]}"))
        logging.getLogger("service.x").warning("no error")
        with about(request="abc-123-def"):
            logging.getLogger("service.x").error("it broke", extra={"message_id": 9})
        got = listening.recv(4096).decode()
    found = RFC5424.fullmatch(got)
    assert found, got
    # Facility daemon (3), severity error (3).
    assert (int(found["pri"]), found["app"]) == (3 * 8 + 3, "rungwise")
    line = json.loads(found["msg"])
    assert (line["message"], line["request"], line["message_id"]) == ("it broke", "abc-123-def", 9)


def test_a_socket_where_nothing_listens_stops_the_start(tmp_path) -> None:
    with pytest.raises(WrongSetting, match="where no syslog listens"):
        error_reports(str(tmp_path / "log"))


@pytest.mark.parametrize("address", ["tcp://x:1", "log", "udp://", "udp://x:99999", "udp://x:y"])
def test_an_address_that_cannot_be_stops_the_start(address: str) -> None:
    with pytest.raises(WrongSetting, match="RUNGWISE_ERROR_SYSLOG"):
        Settings.from_environment({"RUNGWISE_ERROR_SYSLOG": address})


def test_the_formats_agree_on_what_a_line_says() -> None:
    record = logging.makeLogRecord({"msg": "x %s", "args": ("y",), "levelname": "ERROR"})
    assert json.loads(JsonLines().format(record))["message"] == "x y"
    assert '"message": "x y"' in ErrorLines().format(record)
