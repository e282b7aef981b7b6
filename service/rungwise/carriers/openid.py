"""An organisation's own sign-in, asked by OpenID Connect Core 1.0: the code flow with PKCE.

What comes back is believed only if it is signed by the issuer that the settings name, for this
service, now, and for the very try that this browser began. The libraries are an extra.
"""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from time import monotonic
from typing import Any
from urllib.parse import urlsplit

import httpx

from rungwise.errors import ServiceError
from rungwise.settings import Settings

BACK = "/sign-in/organisation/back"
TIMEOUT_S = 10.0
KEPT_S = 600.0
# Signed with the provider's private key: never "none", never a shared secret.
ALGORITHMS = ("RS256", "PS256", "ES256", "EdDSA")
LEEWAY_S = 60
LONGEST_SUBJECT = 255  # Core, 2
ON_THIS_MACHINE = ("localhost", "127.0.0.1", "::1")


class NotVouchedFor(ServiceError):
    """Your organisation's sign-in did not vouch for you. Try again, or use your password."""


class ProviderAway(ServiceError):
    """Your organisation's sign-in does not answer. Try later, or use your password."""


@dataclass(frozen=True, slots=True)
class Begun:
    """One try: where the browser goes, and what it must bring back."""

    address: str
    state: str
    nonce: str
    verifier: str


@dataclass(frozen=True, slots=True)
class Vouched:
    """Who signed in there: `subject` is theirs for ever at that issuer; an address may change
    hands (OpenID Connect Core, 5.7), and is None unless the organisation has verified it.
    """

    issuer: str
    subject: str
    email: str | None


class OpenIdProvider:
    """The provider that the settings name. What it says of itself is asked for seldom."""

    def __init__(self, settings: Settings, clock: Callable[[], float] = monotonic) -> None:
        self.issuer = settings.openid_issuer or ""
        self._id = settings.openid_client_id or ""
        self._secret = settings.openid_client_secret or ""
        self._back = settings.public_url.rstrip("/") + BACK
        self._clock = clock
        self._known: dict[str, tuple[float, Any]] = {}

    def begin(self) -> Begun:
        """A new try, for one browser."""
        with self._client() as client:
            verifier, nonce = secrets.token_urlsafe(48), secrets.token_urlsafe(24)
            address, state = client.create_authorization_url(
                self._described("authorization_endpoint"),
                state=secrets.token_urlsafe(24),
                nonce=nonce,
                code_verifier=verifier,
            )
        return Begun(address, state, nonce, verifier)

    def who_is(self, code: str, begun: Begun, now: int) -> Vouched:
        """Who signed in there; NotVouchedFor when the answer is not all that it must be."""
        from authlib.integrations.base_client import OAuthError  # noqa: PLC0415  # an extra

        try:
            with self._client() as client:
                given = client.fetch_token(
                    self._described("token_endpoint"), code=code, code_verifier=begun.verifier
                )
        except OAuthError as refused:
            raise NotVouchedFor from refused
        except (httpx.HTTPError, ValueError) as away:
            raise ProviderAway from away
        claims = self._claims(str(given.get("id_token", "")), begun.nonce, now)
        subject, email = claims["sub"], claims.get("email")
        if not isinstance(subject, str) or not 0 < len(subject) <= LONGEST_SUBJECT:
            raise NotVouchedFor
        if not isinstance(email, str) or claims.get("email_verified") is not True:
            return Vouched(self.issuer, subject, None)
        return Vouched(self.issuer, subject, email.strip().lower())

    def _claims(self, token: str, nonce: str, now: int) -> dict[str, Any]:
        """What the token says, once all that it must be has been looked at (Core, 3.1.3.7)."""
        from joserfc import jwt  # noqa: PLC0415
        from joserfc.errors import JoseError  # noqa: PLC0415
        from joserfc.jwk import KeySet  # noqa: PLC0415

        for again in (False, True):
            # A key that is not known may be new.
            keys: Any = self._asked_for(self._described("jwks_uri"), again=again)
            try:
                read = jwt.decode(token, KeySet.import_key_set(keys), algorithms=list(ALGORITHMS))
                break
            except (JoseError, ValueError) as refused:
                if again:
                    raise NotVouchedFor from refused
        rules = jwt.JWTClaimsRegistry(
            now=now,
            leeway=LEEWAY_S,
            iss={"essential": True, "value": self.issuer},
            aud={"essential": True, "value": self._id},
            exp={"essential": True},
            iat={"essential": True},
            sub={"essential": True},
            nonce={"essential": True, "value": nonce},
        )
        try:
            rules.validate(read.claims)
        except JoseError as refused:
            raise NotVouchedFor from refused
        if read.claims.get("azp", self._id) != self._id:
            raise NotVouchedFor
        return dict(read.claims)

    def _client(self) -> Any:
        from authlib.integrations.httpx_client import OAuth2Client  # noqa: PLC0415

        return OAuth2Client(
            self._id,
            self._secret,
            redirect_uri=self._back,
            scope="openid email",
            code_challenge_method="S256",
            timeout=TIMEOUT_S,
            trust_env=False,
        )

    def _described(self, name: str) -> str:
        """An address from what the provider says of itself (OpenID Connect Discovery 1.0)."""
        found = self._asked_for(
            self.issuer.rstrip("/") + "/.well-known/openid-configuration", again=False
        )
        address = found.get(name)
        # Discovery, 4.3: what it calls itself must be exactly what was asked for.
        if found.get("issuer") != self.issuer or not isinstance(address, str) or not safe(address):
            raise ProviderAway
        return address

    def _asked_for(self, address: str, *, again: bool) -> dict[str, Any]:
        at, known = self._known.get(address, (0.0, None))
        if known is None or again or self._clock() - at > KEPT_S:
            try:
                answer = httpx.get(address, timeout=TIMEOUT_S, trust_env=False)
                answer.raise_for_status()
                known = answer.json()
            except (httpx.HTTPError, ValueError) as away:
                raise ProviderAway from away
            if not isinstance(known, dict):
                raise ProviderAway
            self._known[address] = (self._clock(), known)
        found: dict[str, Any] = known
        return found


def safe(address: str) -> bool:
    """Encrypted, or on this machine."""
    where = urlsplit(address)
    return where.scheme == "https" or where.hostname in ON_THIS_MACHINE


def is_offered(settings: Settings) -> bool:
    """Whether the settings name a provider, and the extra is installed."""
    return settings.openid_issuer is not None and find_spec("authlib") is not None


def provider_of(settings: Settings) -> OpenIdProvider | None:
    return OpenIdProvider(settings) if is_offered(settings) else None
