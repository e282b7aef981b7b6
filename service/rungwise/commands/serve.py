"""`rungwise serve`: run the service."""

import argparse
import gc
import socket

import uvicorn
from fastapi import FastAPI

from rungwise.app import create_app
from rungwise.errors import ServiceError
from rungwise.logs import write_logs
from rungwise.parts import Parts, assemble
from rungwise.settings import Settings
from rungwise.web.http.patience import MOST_CONNECTIONS, Impatient


class PortTaken(ServiceError):
    """Another program listens on that port."""

    def __init__(self, host: str, port: int) -> None:
        super().__init__(
            f"Something else already listens on {host}:{port}. Stop it, or choose another port "
            f"with --port or RUNGWISE_PORT."
        )


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--host", help="address to listen on (RUNGWISE_HOST)")
    parser.add_argument("--port", type=int, help="port to listen on (RUNGWISE_PORT)")


def run(options: argparse.Namespace) -> int:
    settings = with_options(Settings.from_environment(), options)
    serve(create_app(parts=assemble(settings)))
    return 0


def with_options(settings: Settings, options: argparse.Namespace) -> Settings:
    given = {name: getattr(options, name) for name in ("host", "port")}
    return settings.model_copy(
        update={name: value for name, value in given.items() if value is not None}
    )


def check_port(settings: Settings) -> None:
    """PortTaken while nothing has been started yet."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((settings.host, settings.port))
        except OSError:
            raise PortTaken(settings.host, settings.port) from None


def settle() -> None:
    """What is there by now stays: Python's collector need not walk over it again and again."""
    gc.freeze()
    gc.set_threshold(20_000, 20, 50)


def serve(app: FastAPI) -> None:
    """Serve until interrupted."""
    parts: Parts = app.state.parts
    settings = parts.settings
    check_port(settings)
    write_logs(settings)
    settle()
    uvicorn.run(
        app,
        host=settings.host,
        port=settings.port,
        log_config=None,  # ours is set already
        # Addresses and paths of clients stay out of the logs: see web/http/request_log.py.
        access_log=False,
        server_header=False,
        proxy_headers=True,
        http=Impatient,
        limit_concurrency=MOST_CONNECTIONS,
    )
