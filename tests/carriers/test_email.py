"""E-mail to a real SMTP server on this machine: taken, refused, and never in clear by mistake."""

import socket
import ssl
from collections.abc import Iterator
from email import message_from_bytes, policy
from email.message import EmailMessage
from ipaddress import ip_address
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, Envelope, Session
from certificates import write_certificate
from cryptography import x509
from waiting import PATIENCE_S

from rungwise.carriers.email import MailServer, NotSent, mail_server
from rungwise.settings import Settings, WrongSetting

HERE = "127.0.0.1"


class Post:
    """Keeps what it takes; answers with `answer` instead when one is set."""

    def __init__(self) -> None:
        self.taken: list[Envelope] = []
        self.sessions: list[Session] = []
        self.answer = "250 OK"

    async def handle_DATA(  # noqa: N802  # the name that aiosmtpd calls
        self, _server: object, session: Session, envelope: Envelope
    ) -> str:
        if self.answer.startswith("250"):
            self.taken.append(envelope)
            self.sessions.append(session)
        return self.answer


@pytest.fixture
def post() -> Post:
    return Post()


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate for this machine with its key, made for the test."""
    here = x509.IPAddress(ip_address(HERE))
    return write_certificate(tmp_path_factory.mktemp("tls"), "mail.example.org", here)


def serving(post: Post, **more: object) -> Iterator[Controller]:
    with socket.create_server((HERE, 0)) as free:
        port = free.getsockname()[1]
    controller = Controller(post, hostname=HERE, port=port, **more)
    controller.start()
    try:
        yield controller
    finally:
        controller.stop()


@pytest.fixture
def plain(post: Post) -> Iterator[Controller]:
    yield from serving(post)


@pytest.fixture
def starttls(post: Post, certificate: Path) -> Iterator[Controller]:
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(certificate)

    def signed_in(_server, _session, _envelope, _mechanism, given) -> AuthResult:
        right = (given.login, given.password) == (b"rungwise", b"a secret")
        return AuthResult(success=right, handled=False)

    yield from serving(
        post, tls_context=context, require_starttls=True, authenticator=signed_in,
        auth_required=True,
    )  # fmt: skip


def port_of(controller: Controller) -> int:
    return int(controller.port)


def letter() -> EmailMessage:
    message = EmailMessage()
    message["To"] = "tess@example.org"
    message["Subject"] = "Your week"
    message.set_content("Grüße, 3 clients.\n")
    return message


def trusting(certificate: Path) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=str(certificate))


def test_a_message_arrives_whole(post: Post, plain: Controller) -> None:
    MailServer(HERE, "service@example.org", port_of(plain), "none").send(letter())
    (taken,) = post.taken
    assert (taken.mail_from, taken.rcpt_tos) == ("service@example.org", ["tess@example.org"])
    message = message_from_bytes(taken.content, policy=policy.default)
    assert message["From"] == "service@example.org"
    assert message["Subject"] == "Your week"
    assert message.get_content().splitlines() == ["Grüße, 3 clients."]


def test_over_starttls_with_a_sign_in(post: Post, starttls: Controller, certificate: Path) -> None:
    server = MailServer(
        HERE, "service@example.org", port_of(starttls), "starttls", "rungwise", "a secret"
    )
    server.send(letter(), trusting(certificate))
    assert len(post.taken) == 1
    assert post.sessions[0].ssl is not None


def test_encrypted_from_the_start(post: Post, certificate: Path) -> None:
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(certificate)
    for controller in serving(post, ssl_context=context, ready_timeout=PATIENCE_S):
        server = MailServer(HERE, "service@example.org", port_of(controller), "tls")
        server.send(letter(), trusting(certificate))
    assert len(post.taken) == 1


def test_a_wrong_password_is_not_tried_again(starttls: Controller, certificate: Path) -> None:
    server = MailServer(HERE, "s@example.org", port_of(starttls), "starttls", "rungwise", "wrong")
    with pytest.raises(NotSent, match="535") as refused:
        server.send(letter(), trusting(certificate))
    assert not refused.value.again


def test_a_certificate_nobody_vouches_for_is_refused(post: Post, starttls: Controller) -> None:
    server = MailServer(
        HERE, "s@example.org", port_of(starttls), "starttls", "rungwise", "a secret"
    )
    with pytest.raises(NotSent, match="CertVerification"):
        server.send(letter())
    assert post.taken == []


def test_nothing_leaves_in_clear_where_starttls_was_asked_for(
    post: Post, plain: Controller
) -> None:
    with pytest.raises(NotSent, match="no STARTTLS") as refused:
        MailServer(HERE, "s@example.org", port_of(plain)).send(letter())
    assert not refused.value.again
    assert post.taken == []


@pytest.mark.parametrize(
    ("answer", "again"), [("451 try later", True), ("554 no thank you", False)]
)
def test_a_refusal_says_whether_to_try_again(
    post: Post, plain: Controller, answer: str, again: bool
) -> None:
    post.answer = answer
    with pytest.raises(NotSent, match=answer[:3]) as refused:
        MailServer(HERE, "s@example.org", port_of(plain), "none").send(letter())
    assert refused.value.again is again


def test_a_server_that_is_not_there_is_tried_again() -> None:
    with socket.create_server((HERE, 0)) as free:
        port = free.getsockname()[1]
    with pytest.raises(NotSent) as refused:
        MailServer(HERE, "s@example.org", port, "none").send(letter())
    assert refused.value.again


MAIL = {"RUNGWISE_SMTP_HOST": "mail.example.org", "RUNGWISE_SMTP_FROM": "service@example.org"}


def test_the_settings_make_a_mail_server() -> None:
    assert mail_server(Settings.from_environment({})) is None
    server = mail_server(Settings.from_environment(MAIL))
    assert server == MailServer("mail.example.org", "service@example.org", 587, "starttls")


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"RUNGWISE_SMTP_FROM": "Tess <t@example.org>"}, "an address such as service@example.org"),
        ({"RUNGWISE_SMTP_SECURITY": "none"}, "only for a mail server on this machine"),
        ({"RUNGWISE_SMTP_SECURITY": "ssl"}, "RUNGWISE_SMTP_SECURITY"),
        ({"RUNGWISE_SMTP_USERNAME": "x"}, "RUNGWISE_SMTP_PASSWORD is missing"),
        ({"RUNGWISE_SMTP_PASWORD": "x"}, "There is no setting RUNGWISE_SMTP_PASWORD"),
    ],
)
def test_mail_settings_that_cannot_work_stop_the_start(more: dict[str, str], sentence: str) -> None:
    with pytest.raises(WrongSetting, match=sentence):
        Settings.from_environment(MAIL | more)
    with pytest.raises(WrongSetting, match="RUNGWISE_SMTP_FROM is missing"):
        Settings.from_environment({"RUNGWISE_SMTP_HOST": "127.0.0.1"})


def test_the_password_is_never_shown() -> None:
    assert "a secret" not in repr(MailServer(HERE, "s@example.org", password="a secret"))
