"""A small provider of OpenID Connect on this machine, that can be told to do wrong."""

import hashlib
import hmac
import json
import threading
import time
from base64 import urlsafe_b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from secrets import token_urlsafe
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT, SECRET = "rungwise", "the-organisations-secret-for-rungwise"


@dataclass
class Provider:
    """`wrong` changes the claims or the header of the next token; `person` is who signs in."""

    issuer: str = ""
    person: dict[str, Any] = field(
        default_factory=lambda: {"email": "tess@example.org", "email_verified": True}
    )
    wrong: dict[str, Any] = field(default_factory=dict)
    now: float = 0.0
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "first"}))
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    asked: list[dict[str, str]] = field(default_factory=list)

    def token(self, begun: dict[str, str]) -> str:
        claims = {
            "iss": self.issuer,
            "aud": CLIENT,
            "sub": "person-1",
            "iat": int(self.now),
            "exp": int(self.now) + 300,
            "nonce": begun["nonce"],
            **self.person,
            **{name: value for name, value in self.wrong.items() if name not in ("alg", "key")},
        }
        if self.wrong.get("alg") == "HS256":
            # The public key as a shared secret: what a careless verifier takes.
            begun_by = ".".join(map(_plain, ({"alg": "HS256", "kid": self.key.kid}, claims)))
            public = self.key.as_pem(private=False)
            signed = hmac.new(public, begun_by.encode(), hashlib.sha256).digest()
            return f"{begun_by}.{_text(signed)}"
        if self.wrong.get("alg") == "none":
            return ".".join(map(_plain, ({"alg": "none"}, claims))) + "."
        key = self.wrong.get("key", self.key)
        return jwt.encode({"alg": "RS256", "kid": self.key.kid}, claims, key)

    def exchange(self, form: dict[str, str]) -> tuple[int, dict[str, Any]]:
        begun = self.codes.pop(form.get("code", ""), None)
        digest = hashlib.sha256(form.get("code_verifier", "").encode()).digest()
        challenge = _text(digest)
        # RFC 7636, 4.6.
        if begun is None or begun["code_challenge"] != challenge:
            return 400, {"error": "invalid_grant"}
        return 200, {"access_token": "x", "token_type": "Bearer", "id_token": self.token(begun)}


def _text(held: bytes) -> str:
    return urlsafe_b64encode(held).decode().rstrip("=")


def _plain(part: dict[str, Any]) -> str:
    return _text(json.dumps(part).encode())


class Handler(BaseHTTPRequestHandler):
    provider: Provider

    def log_message(self, *_: object) -> None:
        pass

    def answer(self, status: int, told: dict[str, Any]) -> None:
        body = json.dumps(told).encode()
        self.send_response(status)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def do_GET(self) -> None:  # the library's name
        provider, where = self.provider, urlsplit(self.path)
        if where.path == "/.well-known/openid-configuration":
            self.answer(
                200,
                {
                    "issuer": provider.wrong.get("calls_itself", provider.issuer),
                    "authorization_endpoint": f"{provider.issuer}/authorize",
                    "token_endpoint": f"{provider.issuer}/token",
                    "jwks_uri": f"{provider.issuer}/keys",
                },
            )
        elif where.path == "/keys":
            self.answer(200, {"keys": [provider.key.as_dict(private=False)]})
        else:
            asked = {name: values[0] for name, values in parse_qs(where.query).items()}
            provider.asked.append(asked)
            code = token_urlsafe(8)
            provider.codes[code] = asked
            back = urlencode({"code": code, "state": asked["state"]})
            self.send_response(303)
            self.send_header("Location", f"{asked['redirect_uri']}?{back}")
            self.end_headers()

    def do_POST(self) -> None:
        length = int(self.headers.get("Content-Length", 0))
        form = {name: one[0] for name, one in parse_qs(self.rfile.read(length).decode()).items()}
        self.answer(*self.provider.exchange(form))


@contextmanager
def providing() -> Iterator[Provider]:
    provider = Provider(now=time.time())
    handler = type("Own", (Handler,), {"provider": provider})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    provider.issuer = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield provider
    server.shutdown()
    thread.join()
    server.server_close()
