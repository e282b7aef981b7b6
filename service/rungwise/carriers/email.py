"""E-mail by SMTP: one message, one connection, and an honest answer whether it was taken.

`Mail` is the carrier by which pages leave as e-mail, through the same outbox as texts.
"""

import smtplib
import ssl
from dataclasses import dataclass, field
from email.message import EmailMessage
from time import monotonic
from typing import Any, Literal

from rungwise.carriers.base import (
    Accepted,
    Callback,
    Forged,
    Heard,
    OutboundText,
    Outcome,
    Refused,
    TryLater,
    Unknown,
)
from rungwise.errors import ServiceError
from rungwise.settings import Settings

Security = Literal["starttls", "tls", "none"]

# The whole conversation must be over by then: well under the outbox's lease.
WITHIN_S = 25.0
LONGEST_SUBJECT = 120
EMAIL = "email"


class NotSent(ServiceError):
    """The mail server did not take the message. `again` says whether trying later may help.

    `lost` when it may have taken it all the same, `of_message` when it refused this message or its
    receiver and not us, `unreachable` when no connection was made.
    """

    def __init__(
        self,
        why: str,
        *,
        again: bool,
        lost: bool = False,
        of_message: bool = False,
        unreachable: bool = False,
    ) -> None:
        later = "It is tried again later." if again else "Look at the mail settings."
        super().__init__(f"The mail server did not take the message: {why}. {later}")
        self.why = why
        self.again = again
        self.lost = lost
        self.of_message = of_message
        self.unreachable = unreachable


@dataclass(frozen=True, slots=True)
class MailServer:
    """Where e-mail leaves. `security`: "starttls" turns a plain connection into an encrypted one
    or gives up, "tls" is encrypted from the start, "none" is for a relay on this machine.
    """

    host: str
    sender: str
    port: int = 587
    security: Security = "starttls"
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    within_s: float = WITHIN_S

    def send(self, message: EmailMessage, tls: ssl.SSLContext | None = None) -> None:
        """Hand the message over, from `sender`; NotSent unless the server took it."""
        context = tls or ssl.create_default_context()
        if "From" not in message:
            message["From"] = self.sender
        try:
            with self._connected(context) as server:
                if self.username is not None and self.password is not None:
                    server.login(self.username, self.password)
                server.send_message(message)
        except smtplib.SMTPResponseException as problem:
            again = _passing(problem)
            ours = isinstance(problem, smtplib.SMTPDataError)
            said = f"answer {problem.smtp_code}"
            raise NotSent(said, again=again, of_message=ours and not again) from None
        except smtplib.SMTPRecipientsRefused as problem:
            codes = [code for code, _ in problem.recipients.values()]
            again = all(c < 500 for c in codes)
            raise NotSent(f"answer {codes[0]}", again=again, of_message=not again) from None
        except smtplib.SMTPNotSupportedError:
            raise NotSent("it offers no STARTTLS or no sign-in", again=False) from None
        except smtplib.SMTPServerDisconnected:
            raise NotSent("the connection was lost", again=True, lost=True) from None
        except (smtplib.SMTPException, ssl.SSLError) as problem:
            raise NotSent(type(problem).__name__, again=False) from None
        except OSError as problem:
            # A connection that was refused took nothing; one that hangs may have.
            lost = not isinstance(problem, ConnectionRefusedError)
            name = type(problem).__name__
            raise NotSent(name, again=True, lost=lost, unreachable=not lost) from None

    def _connected(self, context: ssl.SSLContext) -> smtplib.SMTP:
        if self.security == "tls":
            return _HurriedTls(self.host, self.port, timeout=self.within_s, context=context)
        server = _Hurried(self.host, self.port, timeout=self.within_s)
        if self.security == "starttls":
            try:
                server.starttls(context=context)
            except BaseException:
                server.close()
                raise
        return server


class _Hurried(smtplib.SMTP):
    """Gives up when the whole conversation takes too long, not only one step of it."""

    def __init__(self, host: str, port: int, *, timeout: float, **more: Any) -> None:
        self._until = monotonic() + timeout
        super().__init__(host, port, timeout=timeout, **more)

    def _hurry(self) -> None:
        left_s = self._until - monotonic()
        if left_s <= 0:
            raise TimeoutError
        if self.sock is not None:
            self.sock.settimeout(left_s)

    def send(self, s: Any) -> None:
        self._hurry()
        super().send(s)

    def getreply(self) -> tuple[int, bytes]:
        self._hurry()
        return super().getreply()


class _HurriedTls(_Hurried, smtplib.SMTP_SSL):
    """The same, encrypted from the start."""


class Mail:
    """Sends pages as e-mail: the first line is the subject, and the service's address follows.

    What is sent again after a lost answer has the same Message-ID, so a mailbox may show it once.
    Nothing comes back this way.
    """

    name = EMAIL

    def __init__(self, server: MailServer, address: str) -> None:
        self._server = server
        self._address = address

    def send(self, text: OutboundText) -> Outcome:
        letter = self._letter(text)
        try:
            self._server.send(letter)
        except NotSent as problem:
            said = f"The mail server did not take it: {problem.why}."
            if problem.of_message:
                return Refused(said)
            # What is wrong with our own sign-in or connection is no fault of the message.
            if problem.lost:
                return Unknown(said)
            return TryLater(said, unreachable=problem.unreachable or not problem.again)
        return Accepted(letter["Message-ID"])

    def _letter(self, text: OutboundText) -> EmailMessage:
        letter = EmailMessage()
        letter["To"] = text.to_phone
        letter["Subject"] = " ".join(text.body.splitlines()[:1])[:LONGEST_SUBJECT]
        domain = self._server.sender.rpartition("@")[2]
        letter["Message-ID"] = f"<rungwise-{text.id}@{domain}>"
        # Asks mail programs not to answer with notes of absence (RFC 3834).
        letter["Auto-Submitted"] = "auto-generated"
        letter.set_content(f"{text.body}\n\n{self._address}/\n")
        return letter

    def hear(self, callback: Callback) -> Heard:  # noqa: ARG002  # the protocol has it
        raise Forged("Nothing comes in by e-mail.")


def mail_server(settings: Settings) -> MailServer | None:
    """The mail server of the settings; None when none is set up."""
    if settings.smtp_host is None or settings.smtp_from is None:
        return None
    return MailServer(
        host=settings.smtp_host,
        sender=settings.smtp_from,
        port=settings.smtp_port,
        security=settings.smtp_security,
        username=settings.smtp_username,
        password=settings.smtp_password,
    )


def _passing(problem: smtplib.SMTPResponseException) -> bool:
    """4xx is for now, 5xx for good (RFC 5321 section 4.2.1); -1 is a connection lost."""
    return problem.smtp_code < 500
