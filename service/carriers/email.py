"""E-mail by SMTP: one message, one connection, and an honest answer whether it was taken."""

import smtplib
import ssl
from dataclasses import dataclass, field
from email.message import EmailMessage
from typing import Literal

from service.errors import ServiceError
from service.settings import Settings

Security = Literal["starttls", "tls", "none"]

TIMEOUT_S = 20.0


class NotSent(ServiceError):
    """The mail server did not take the message. `again` says whether trying later may help."""

    def __init__(self, why: str, *, again: bool) -> None:
        later = "It is tried again later." if again else "Look at the mail settings."
        super().__init__(f"The mail server did not take the message: {why}. {later}")
        self.again = again


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
            raise NotSent(f"answer {problem.smtp_code}", again=_passing(problem)) from None
        except smtplib.SMTPRecipientsRefused as problem:
            codes = [code for code, _ in problem.recipients.values()]
            raise NotSent(f"answer {codes[0]}", again=all(c < 500 for c in codes)) from None
        except smtplib.SMTPNotSupportedError:
            raise NotSent("it offers no STARTTLS or no sign-in", again=False) from None
        except smtplib.SMTPServerDisconnected:
            raise NotSent("the connection was lost", again=True) from None
        except (smtplib.SMTPException, ssl.SSLError) as problem:
            raise NotSent(type(problem).__name__, again=False) from None
        except OSError as problem:
            raise NotSent(type(problem).__name__, again=True) from None

    def _connected(self, context: ssl.SSLContext) -> smtplib.SMTP:
        if self.security == "tls":
            return smtplib.SMTP_SSL(self.host, self.port, timeout=TIMEOUT_S, context=context)
        server = smtplib.SMTP(self.host, self.port, timeout=TIMEOUT_S)
        if self.security == "starttls":
            try:
                server.starttls(context=context)
            except BaseException:
                server.close()
                raise
        return server


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
