"""What the service writes to its log: one JSON object a line, with ids and nothing of anybody.

Every line has time (UTC), level, logger and message. Within a request it also has the request's
id, within a tick the tick's name; what else a line is about comes as `extra={"message_id": 7}` and
the like. Of an error stand its type and where it happened, never its words: those may quote a
person.
"""

import json
import logging
import re
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime
from logging.handlers import SysLogHandler
from pathlib import Path
from socket import SOCK_DGRAM, gethostname
from traceback import walk_tb
from types import TracebackType
from typing import TextIO
from urllib.parse import urlsplit
from uuid import uuid4

from rungwise.settings import Settings, WrongSetting
from rungwise.shipped import PACKAGE

log = logging.getLogger(__name__)

# What a line may be about besides: names of values that say nothing of a person.
EXTRAS = (
    *("message_id", "message_ids", "alert_id", "webhook_id", "token_id", "trainer_id"),
    *("carrier", "outcome", "attempt", "method", "route", "status", "ms"),
)
# These log addresses with whatever stands in them, statements and rows, pieces of forms, each tick.
TALKATIVE = (
    *("httpx", "httpcore", "sqlalchemy", "psycopg", "multipart", "python_multipart"),
    "apscheduler",
)
FRAMES = 12
REQUEST_ID = re.compile(r"[A-Za-z0-9._-]{8,64}")

_about: ContextVar[dict[str, str]] = ContextVar("about", default={})  # noqa: B039  # never changed


@contextmanager
def about(**names: str) -> Iterator[None]:
    """Every line written inside, in this thread or what it hands work to, carries these names."""
    token = _about.set({**_about.get(), **names})
    try:
        yield
    finally:
        _about.reset(token)


def request_id(given: str | None) -> str:
    """The id that a caller gave its request, if it can stand in a log; otherwise a new one."""
    return given if given and REQUEST_ID.fullmatch(given) else uuid4().hex


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, object] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            **getattr(record, "about", {}),
        }
        line |= {name: getattr(record, name) for name in EXTRAS if hasattr(record, name)}
        if record.exc_info and record.exc_info[0] is not None:
            kind, error, trace = record.exc_info
            line["error"] = error_name(kind, error)
            line["at"] = frames(trace)
        return json.dumps(line, ensure_ascii=False, default=str)


class PlainLines(logging.Formatter):
    """The same for a person at a terminal."""

    def format(self, record: logging.LogRecord) -> str:
        names = getattr(record, "about", {}) | {
            name: getattr(record, name) for name in EXTRAS if hasattr(record, name)
        }
        at = datetime.fromtimestamp(record.created).astimezone()
        told = " ".join(f"{name}={value}" for name, value in names.items())
        line = f"{at:%H:%M:%S} {record.levelname.lower()} {record.getMessage()} {told}".rstrip()
        if record.exc_info and record.exc_info[0] is not None:
            line += f"\n  {error_name(*record.exc_info[:2])} at " + ", ".join(
                frames(record.exc_info[2])
            )
        return line


def error_name(kind: type[BaseException], error: BaseException | None) -> str:
    """The error's type; of a database's error also what the database calls it."""
    name = database_name(error)
    return f"{kind.__name__} ({name})" if name else kind.__name__


def named(error: BaseException) -> str:
    """For a line that says no more of an error than what it is."""
    return error_name(type(error), error)


def database_name(error: BaseException | None) -> str:
    """Such as SQLITE_FULL or 53100; empty for an error that is no database's."""
    cause = getattr(error, "orig", error)
    name = getattr(cause, "sqlite_errorname", None) or getattr(cause, "sqlstate", None)
    return name if isinstance(name, str) else ""


def frames(trace: TracebackType | None) -> list[str]:
    """Where an error came from, innermost last: file:line function."""
    found = [
        f"{_short(frame.f_code.co_filename)}:{line} {frame.f_code.co_name}"
        for frame, line in walk_tb(trace)
    ]
    return found[-FRAMES:]


def _short(file: str) -> str:
    path = Path(file)
    return str(path.relative_to(PACKAGE.parent)) if path.is_relative_to(PACKAGE) else path.name


def _note_about(record: logging.LogRecord) -> bool:
    """Keep with the line what it is about: another thread may write it out."""
    record.about = _about.get()
    return True


def _not_said_already(record: logging.LogRecord) -> bool:
    return not record.getMessage().startswith("Exception in ASGI application")


def _in_a_thread(ended: threading.ExceptHookArgs) -> None:
    if ended.exc_type is not SystemExit and ended.exc_value is not None:
        error = (ended.exc_type, ended.exc_value, ended.exc_traceback)
        log.critical("a thread ended by an error", exc_info=error)


def _at_the_end(
    kind: type[BaseException], error: BaseException, trace: TracebackType | None
) -> None:
    if issubclass(kind, KeyboardInterrupt):
        sys.__excepthook__(kind, error, trace)
    else:
        log.critical("the service ended by an error", exc_info=(kind, error, trace))


class ErrorLines(logging.Formatter):
    """An RFC 5424 message whose text is the JSON line; the handler puts the priority before it."""

    def __init__(self) -> None:
        super().__init__()
        self._lines = JsonLines()
        self._host = re.sub(r"[^!-~]", "-", gethostname())[:255] or "-"

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        head = f"1 {at} {self._host} rungwise {record.process} {record.levelname} -"
        return f"{head} {self._lines.format(record)}"


def error_reports(address: str) -> logging.Handler:
    """What sends errors on: to `udp://host:port`, or to the socket of a syslog on this machine."""
    if address.startswith("udp://"):
        parts = urlsplit(address)
        place: tuple[str, int] | str = (parts.hostname or "localhost", parts.port or 514)
    else:
        place = address
    if isinstance(place, str) and not Path(place).is_socket():
        raise WrongSetting(
            f"RUNGWISE_ERROR_SYSLOG is {address}, where no syslog listens. Start one, or change it."
        )
    handler = SysLogHandler(place, SysLogHandler.LOG_DAEMON, SOCK_DGRAM)
    handler.append_nul = False  # RFC 5424 has no such end
    handler.setLevel(logging.ERROR)
    handler.setFormatter(ErrorLines())
    handler.addFilter(_note_about)
    return handler


def write_logs(settings: Settings, out: TextIO | None = None) -> None:
    """Write this process's log to standard error, and errors to where the settings say."""
    handler = logging.StreamHandler(out or sys.stderr)
    handler.setFormatter(JsonLines() if settings.log_format == "json" else PlainLines())
    handler.addFilter(_note_about)
    handlers: list[logging.Handler] = [handler]
    if settings.error_syslog is not None:
        handlers.append(error_reports(settings.error_syslog))
    logging.basicConfig(level=settings.log_level.upper(), handlers=handlers, force=True)
    # A line that cannot be written is lost; Python would print it with all its words.
    logging.raiseExceptions = False
    for name in TALKATIVE:
        logging.getLogger(name).setLevel(logging.WARNING)
    # A failed request has its own line, with the request's id.
    logging.getLogger("uvicorn.error").addFilter(_not_said_already)
    logging.captureWarnings(True)
    # What nobody caught would otherwise be printed with its words.
    threading.excepthook = _in_a_thread
    sys.excepthook = _at_the_end
