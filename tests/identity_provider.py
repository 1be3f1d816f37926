"""A small identity provider, honest and dishonest, for tests of signing in by one.

It follows OpenID Connect Core 1.0 (3.1, authorization code flow), Discovery 1.0 and RFC 7636, and
shares no code with the program.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import padding, rsa

CLIENT, SECRET = "walkboard", "a-secret"


def text_of(content: bytes) -> str:
    return base64.urlsafe_b64encode(content).rstrip(b"=").decode()


def part(value: object) -> str:
    return text_of(json.dumps(value).encode())


@dataclass
class OwnProvider:
    """An identity provider; `claims` and `header` replace what its next token says."""

    key: rsa.RSAPrivateKey
    back: str
    issuer: str = ""
    claims: dict[str, Any] = field(default_factory=dict)
    header: dict[str, Any] = field(default_factory=dict)
    describes_itself_as: str = ""
    forger: rsa.RSAPrivateKey | None = None
    asked: dict[str, dict[str, str]] = field(default_factory=dict)

    def let_in(self, address: str) -> dict[str, str]:
        """What the browser of somebody who signed in brings back."""
        query = {name: values[0] for name, values in parse_qs(urlsplit(address).query).items()}
        assert query["response_type"] == "code"
        assert "openid" in query["scope"].split()
        assert (query["client_id"], query["redirect_uri"]) == (CLIENT, self.back)
        assert query["code_challenge_method"] == "S256"
        code = f"code-{len(self.asked)}"
        self.asked[code] = query
        return {"code": code, "state": query["state"]}

    def token(self, form: dict[str, str], authorization: str) -> dict[str, object] | None:
        query = self.asked.pop(form.get("code", ""), None)
        known = base64.b64encode(f"{CLIENT}:{SECRET}".encode()).decode()
        if query is None or authorization != f"Basic {known}":
            return None
        verifier = hashlib.sha256(form["code_verifier"].encode()).digest()
        if text_of(verifier) != query["code_challenge"]:
            return None
        now = int(time.time())
        claims = {
            "iss": self.issuer, "sub": "4711", "aud": CLIENT, "exp": now + 300, "iat": now,
            "nonce": query["nonce"], **self.claims,
        }  # fmt: skip
        claims = {name: value for name, value in claims.items() if value is not None}
        return {
            "access_token": "x", "token_type": "Bearer", "id_token": self.signed(claims),
        }  # fmt: skip

    def signed(self, claims: dict[str, Any]) -> str:
        header = {"alg": "RS256", "kid": "one", "typ": "JWT", **self.header}
        body = f"{part(header)}.{part(claims)}"
        if header["alg"] == "none":
            return f"{body}."
        if header["alg"] == "HS256":  # "signed" with what everybody may read: our public key
            mac = hmac.digest(json.dumps(self.keys()).encode(), body.encode(), "sha256")
            return f"{body}.{text_of(mac)}"
        signer = self.forger or self.key
        signature = signer.sign(body.encode(), padding.PKCS1v15(), hashes.SHA256())
        return f"{body}.{text_of(signature)}"

    def keys(self) -> dict[str, object]:
        numbers = self.key.public_key().public_numbers()
        key = {
            "kty": "RSA", "kid": "one", "use": "sig", "alg": "RS256",
            "n": text_of(numbers.n.to_bytes(256, "big")), "e": text_of(b"\x01\x00\x01"),
        }  # fmt: skip
        return {"keys": [key]}

    def described(self) -> dict[str, object]:
        return {
            "issuer": self.describes_itself_as or self.issuer,
            "authorization_endpoint": f"{self.issuer}/authorize",
            "token_endpoint": f"{self.issuer}/token",
            "jwks_uri": f"{self.issuer}/keys",
        }


@contextmanager
def answering(key: rsa.RSAPrivateKey, back: str) -> Iterator[OwnProvider]:
    """The provider at an address of its own; `back` is where it sends browsers."""
    made = OwnProvider(key, back)

    class Answering(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.answer(
                {
                    "/.well-known/openid-configuration": made.described,
                    "/keys": made.keys,
                }[self.path]()
            )

        def do_POST(self) -> None:
            length = int(self.headers["Content-Length"])
            form = {n: v[0] for n, v in parse_qs(self.rfile.read(length).decode()).items()}
            self.answer(made.token(form, self.headers.get("Authorization", "")))

        def answer(self, value: object) -> None:
            content = json.dumps(value or {"error": "invalid_grant"}).encode()
            self.send_response(200 if value else 400)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answering)
    made.issuer = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield made
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
