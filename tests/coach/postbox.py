"""A real SMTP server on this machine that keeps what it takes, and can refuse or be closed."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes, policy
from email.message import EmailMessage

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import Envelope, Session

from rungwise.carriers.email import Mail, MailServer

HERE = "127.0.0.1"
SERVICE = "https://balance.example.org"


class Postbox:
    """What arrived, oldest first; answers with `answer` instead when one is set."""

    def __init__(self) -> None:
        self.letters: list[EmailMessage] = []
        self.receivers: list[str] = []
        self.answer = "250 OK"
        self.port = free_port()

    async def handle_DATA(  # noqa: N802  # the name that aiosmtpd calls
        self, _server: object, _session: Session, envelope: Envelope
    ) -> str:
        if self.answer.startswith("250"):
            content = envelope.content
            assert isinstance(content, bytes)
            self.letters.append(message_from_bytes(content, policy=policy.default))
            self.receivers += envelope.rcpt_tos
        return self.answer

    @property
    def mail(self) -> Mail:
        return Mail(MailServer(HERE, "service@example.org", self.port, "none"), SERVICE)


def free_port() -> int:
    with socket.create_server((HERE, 0)) as free:
        return int(free.getsockname()[1])


@contextmanager
def serving() -> Iterator[Postbox]:
    box = Postbox()
    controller = Controller(box, hostname=HERE, port=box.port)
    controller.start()
    try:
        yield box
    finally:
        controller.stop()
