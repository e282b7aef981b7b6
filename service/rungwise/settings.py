"""Every setting, read once from the environment; a wrong one stops the start with a sentence."""

import ipaddress
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal, Self
from urllib.parse import urlsplit

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from rungwise.errors import ServiceError

PREFIX = "RUNGWISE_"


class WrongSetting(ServiceError):
    """A setting in the environment is missing or cannot be used."""


def _address(url: str) -> str:
    """An address that paths can be added to, and that can stand in another address."""
    parts = urlsplit(url)
    if (
        parts.scheme not in ("http", "https")
        or not parts.hostname
        or "@" in parts.netloc
        or any(character in url for character in "?#% ")
    ):
        raise ValueError("it must look like https://sms.example.org, with no user, ? or #")
    _ = parts.port  # a ValueError for one that cannot be
    return url.rstrip("/")


def _plain(text: str) -> str:
    """What can stand in a header as it is."""
    if not re.fullmatch(r"[!-~]([ -~]{0,198}[!-~])?", text):
        raise ValueError(
            "it must be 1 to 200 plain letters, digits and signs, not ending in a space"
        )
    return text


def _token(text: str) -> str:
    """What can stand in an address as it is, and cannot be guessed."""
    if not re.fullmatch(r"[A-Za-z0-9_-]{16,128}", text):
        raise ValueError("it must be 16 to 128 letters, digits, - and _")
    return text


def _data_keys(text: str) -> str:
    """One or more keys as `rungwise keys make` prints them."""
    if not re.fullmatch(r"[A-Za-z0-9_-]{43}([ ,\n]+[A-Za-z0-9_-]{43})*", text):
        raise ValueError("each key must be one that `rungwise keys make` printed")
    return text


def _syslog(text: str) -> str:
    """Where a syslog listens: udp://host:port, or a socket on this machine."""
    if not re.fullmatch(r"udp://[A-Za-z0-9.-]+(:[0-9]{1,5})?|/[!-~]{1,200}", text):
        raise ValueError("it must be udp://host:514 or a socket's path such as /dev/log")
    if text.startswith("udp://"):
        _ = urlsplit(text).port  # a ValueError for one that cannot be
    return text


def _mail_address(text: str) -> str:
    """An e-mail address without a name before it."""
    if not re.fullmatch(r"[^\s@<>]{1,64}@[A-Za-z0-9.-]{1,190}", text):
        raise ValueError("it must be an address such as service@example.org")
    return text


Address = Annotated[str, AfterValidator(_address)]
MailAddress = Annotated[str, AfterValidator(_mail_address)]
DataKeys = Annotated[str, AfterValidator(_data_keys)]
Plain = Annotated[str, AfterValidator(_plain)]
Token = Annotated[str, AfterValidator(_token)]
Syslog = Annotated[str, AfterValidator(_syslog)]

# Settings that only make sense together: the first names of each group are all needed.
TOGETHER = {
    "kannel": ("kannel_url", "kannel_username", "kannel_password", "kannel_token"),
    "cloud": ("cloud_url", "cloud_account", "cloud_secret"),
    "smtp": ("smtp_host", "smtp_from"),
    "openid": ("openid_issuer", "openid_client_id", "openid_client_secret"),
}


class Settings(BaseModel):
    """Field `x` comes from the variable RUNGWISE_X, or from the file that RUNGWISE_X_FILE names."""

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True)

    database_url: str = Field(default="sqlite:///rungwise.sqlite3", repr=False)
    # To PostgreSQL, by this process: kept open, and opened besides while many are needed at once.
    database_connections: int = Field(default=10, ge=1, le=200)
    database_connections_more: int = Field(default=20, ge=0, le=200)
    # Newest first, separated by spaces or commas: `rungwise keys`.
    data_keys: DataKeys | None = Field(default=None, repr=False)
    host: str = "127.0.0.1"
    port: int = Field(default=8780, ge=1, le=65535)
    public_url: Address = "http://127.0.0.1:8780"
    handset_token: str | None = Field(default=None, min_length=16, repr=False)
    ticks: bool = True
    tick_seconds: float = Field(default=1.0, ge=0.1, le=60)
    secure_cookies: bool = False
    # After so many minutes of stopped ticks or a failing carrier, the practice leads are told.
    watch_minutes: int = Field(default=5, ge=2, le=120)
    # Asked for every minute while all is well, so that an outside monitor notices when it isn't.
    heartbeat_url: Address | None = Field(default=None, repr=False)
    # A sign-in ends after so long unused, and in any case.
    sign_in_idle_minutes: int = Field(default=60, ge=5, le=1440)
    sign_in_hours: int = Field(default=12, ge=1, le=336)

    # An organisation's own sign-in, by OpenID Connect.
    openid_issuer: Address | None = None
    openid_client_id: Plain | None = None
    openid_client_secret: Plain | None = Field(default=None, repr=False)
    openid_name: Plain = "your organisation"

    log_format: Literal["json", "plain"] = "json"
    log_level: Literal["debug", "info", "warning", "error"] = "info"
    # Errors go to a syslog too (RFC 5424): udp://host:514 or a socket's path.
    error_syslog: Syslog | None = None
    # Whoever asks for /metrics shows it; without one only this machine may ask.
    metrics_token: Token | None = Field(default=None, repr=False)
    # Calls of the JSON API a minute, for each token and process.
    api_per_minute: int = Field(default=120, ge=1, le=100_000)
    # Webhooks to addresses inside one's own network, and without TLS: for rehearsals.
    webhook_private: bool = False

    kannel_url: Address | None = None
    kannel_username: Plain | None = None
    kannel_password: Plain | None = Field(default=None, repr=False)
    kannel_token: Token | None = Field(default=None, repr=False)
    kannel_callback_url: Address | None = None
    # A careful start, no source: each operator and service sets a rate of its own.
    kannel_texts_per_second: float = Field(default=10.0, gt=0, le=10_000)

    cloud_url: Address | None = None
    cloud_account: Plain | None = None
    cloud_secret: Plain | None = Field(default=None, repr=False)
    cloud_signature_header: Plain = "X-Twilio-Signature"
    cloud_texts_per_second: float = Field(default=10.0, gt=0, le=10_000)

    smtp_host: Plain | None = None
    smtp_port: int = Field(default=587, ge=1, le=65535)
    smtp_security: Literal["starttls", "tls", "none"] = "starttls"
    smtp_from: MailAddress | None = None
    smtp_username: Plain | None = None
    smtp_password: Plain | None = Field(default=None, repr=False)

    @classmethod
    def from_environment(cls, environ: Mapping[str, str] | None = None) -> Self:
        """Read the settings; WrongSetting names the variable and what is allowed."""
        given = os.environ if environ is None else environ
        _check_names(given, set(cls.model_fields))
        values: dict[str, str] = {}
        for name in cls.model_fields:
            value = _read(given, PREFIX + name.upper())
            if value is not None:
                values[name] = value
        try:
            return cls(**values)  # type: ignore[arg-type]  # pydantic turns the strings into types
        except ValidationError as problem:
            raise WrongSetting(_sentence(problem)) from None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        for group, needed in TOGETHER.items():
            given = [name for name in type(self).model_fields if name.startswith(f"{group}_")]
            if any(name in self.model_fields_set for name in given):
                missing = [name for name in needed if getattr(self, name) is None]
                if missing:
                    raise ValueError(_missing(group, missing))
        if self.cloud_url is not None:
            _check_cloud(self.cloud_url, self.public_url)
        _check_mail(self)
        if self.openid_issuer is not None:
            _check_openid(self.openid_issuer)
        return self


def _check_names(given: Mapping[str, str], known: set[str]) -> None:
    """A misspelt name would leave texts unsent, or people's words unsealed; it stops the start."""
    groups = tuple(f"{PREFIX}{group.upper()}_" for group in (*TOGETHER, "data"))
    for variable in given:
        name = variable.removeprefix(PREFIX).removesuffix("_FILE").lower()
        if variable.startswith(groups) and name not in known:
            raise WrongSetting(f"There is no setting {variable}. Correct its name.")


def _read(given: Mapping[str, str], variable: str) -> str | None:
    file = given.get(f"{variable}_FILE")
    if file is None:
        return given.get(variable)
    if variable in given:
        raise WrongSetting(f"Set either {variable} or {variable}_FILE, not both.")
    try:
        return Path(file).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        raise WrongSetting(
            f"{variable}_FILE is {file!r}, which cannot be read. Name a text file that the service "
            f"may read."
        ) from None


def _missing(group: str, names: list[str]) -> str:
    listed = " and ".join(PREFIX + name.upper() for name in names)
    verb = "is" if len(names) == 1 else "are"
    return f"{listed} {verb} missing; set all of {group}'s settings or none"


def _check_openid(issuer: str) -> None:
    """Who signs in must not be told in clear; a rehearsal may stay on the machine."""
    if not issuer.startswith("https://") and not _on_this_machine(issuer):
        raise ValueError(
            f"{PREFIX}OPENID_ISSUER is {issuer}; it must start with https://, exactly as the "
            "provider writes it"
        )


def _check_cloud(cloud_url: str, public_url: str) -> None:
    """Secrets and replies cross the internet, so encrypted; a rehearsal may stay on the machine."""
    if _on_this_machine(cloud_url) and _on_this_machine(public_url):
        return
    for name, url in (("cloud_url", cloud_url), ("public_url", public_url)):
        if not url.startswith("https://"):
            raise ValueError(
                f"{PREFIX}{name.upper()} is {url}; with a cloud carrier it must start with https://"
            )


def _check_mail(settings: Settings) -> None:
    sign_in = ("smtp_username", "smtp_password")
    missing = [name for name in sign_in if getattr(settings, name) is None]
    if len(missing) == 1:
        raise ValueError(_missing("smtp", missing))
    here = settings.smtp_host is None or _on_this_machine(f"smtp://{settings.smtp_host}")
    if settings.smtp_security == "none" and not here:
        raise ValueError(
            f"{PREFIX}SMTP_SECURITY is none; that is only for a mail server on this machine"
        )


def _on_this_machine(url: str) -> bool:
    host = urlsplit(url).hostname or ""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _sentence(problem: ValidationError) -> str:
    parts = []
    for error in problem.errors():
        said = error["msg"].removeprefix("Value error, ")
        place = error["loc"]
        parts.append(f"{PREFIX}{str(place[0]).upper()}: {said}" if place else said)
    return "Check these settings and start again. " + "; ".join(parts) + "."
