"""Signing in by an identity provider: what it says wrong is refused (Core, 3.1.3.7)."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from cryptography.hazmat.primitives.asymmetric import rsa

from tests.identity_provider import CLIENT, SECRET, OwnProvider, answering
from walkboard.errors import InputError
from walkboard.work.people.openid import LASTS_S, Provider, SignOn, read_provider

BACK = "https://organs.example.org/sign-in/openid/back"


@pytest.fixture(scope="module")
def keys() -> tuple[rsa.RSAPrivateKey, rsa.RSAPrivateKey]:
    first, second = (rsa.generate_private_key(65537, 2048) for _ in range(2))
    return first, second


@pytest.fixture
def provider(keys: tuple[rsa.RSAPrivateKey, rsa.RSAPrivateKey]) -> Iterator[OwnProvider]:
    with answering(keys[0], BACK) as found:
        yield found


def sign_on(provider: OwnProvider, **more: Any) -> SignOn:
    return SignOn(Provider("Firm", provider.issuer, CLIENT, SECRET), BACK, **more)


def test_whoever_comes_back_is_known_by_issuer_and_subject(provider: OwnProvider) -> None:
    signing = sign_on(provider)
    begun = signing.begin("an-invitation")
    account = signing.finish(begun.sealed, provider.let_in(begun.address))
    assert (account.issuer, account.subject) == (provider.issuer, "4711")
    assert account.invitation == "an-invitation"


_NOW = int(time.time())
LIES: dict[str, dict[str, Any]] = {
    "of another issuer": {"claims": {"iss": "https://evil.example"}},
    "for another client": {"claims": {"aud": "somebody-else"}},
    "for several, by another": {"claims": {"aud": [CLIENT, "other"], "azp": "other"}},
    "for several, by nobody": {"claims": {"aud": [CLIENT, "other"]}},
    "over": {"claims": {"exp": _NOW - 3600, "iat": _NOW - 7200}},
    "without an end": {"claims": {"exp": None}},
    "of another sign-in": {"claims": {"nonce": "another"}},
    "without a nonce": {"claims": {"nonce": None}},
    "of nobody": {"claims": {"sub": None}},
    "not signed": {"header": {"alg": "none"}},
    "signed with the public key": {"header": {"alg": "HS256"}},
    "of a key that it has not": {"header": {"kid": "two"}},
}


@pytest.mark.parametrize("lie", LIES.values(), ids=LIES)
def test_a_token_that_is_not_right_lets_nobody_in(
    provider: OwnProvider, lie: dict[str, Any]
) -> None:
    provider.claims, provider.header = lie.get("claims", {}), lie.get("header", {})
    signing = sign_on(provider)
    begun = signing.begin()
    with pytest.raises(InputError, match="no answer that can be trusted"):
        signing.finish(begun.sealed, provider.let_in(begun.address))


def test_a_forged_signature_lets_nobody_in(
    provider: OwnProvider, keys: tuple[rsa.RSAPrivateKey, rsa.RSAPrivateKey]
) -> None:
    provider.forger = keys[1]
    signing = sign_on(provider)
    begun = signing.begin()
    with pytest.raises(InputError, match="no answer that can be trusted"):
        signing.finish(begun.sealed, provider.let_in(begun.address))


def test_a_provider_that_calls_itself_by_another_name_is_refused(provider: OwnProvider) -> None:
    provider.describes_itself_as = "https://evil.example"
    with pytest.raises(InputError, match="another name"):
        sign_on(provider).begin()


def test_only_the_browser_that_began_may_end(provider: OwnProvider) -> None:
    now_s = 0.0
    signing = sign_on(provider, clock_s=lambda: now_s)
    mine, other = signing.begin(), signing.begin()
    back = provider.let_in(mine.address)
    for sealed in (other.sealed, "", "x.y", mine.sealed + "0", sign_on(provider).begin().sealed):
        with pytest.raises(InputError, match="not begun in this browser"):
            signing.finish(sealed, back)
    with pytest.raises(InputError, match="not begun in this browser"):
        signing.finish(mine.sealed, {**back, "state": "another"})
    with pytest.raises(InputError, match="did not let you in"):
        signing.finish(mine.sealed, {"state": back["state"], "error": "access_denied"})
    now_s = LASTS_S
    with pytest.raises(InputError, match="too long"):
        signing.finish(mine.sealed, back)


def test_a_code_works_once_and_only_with_its_verifier(provider: OwnProvider) -> None:
    signing = sign_on(provider)
    begun = signing.begin()
    back = provider.let_in(begun.address)
    signing.finish(begun.sealed, back)
    with pytest.raises(InputError, match="no answer that can be trusted"):
        signing.finish(begun.sealed, back)
    stolen = signing.begin()
    code = provider.let_in(stolen.address)["code"]
    thief = signing.begin()
    state = parse_qs(urlsplit(thief.address).query)["state"][0]
    with pytest.raises(InputError, match="no answer that can be trusted"):
        signing.finish(thief.sealed, {"code": code, "state": state})


def test_the_file_that_names_a_provider(tmp_path: Path) -> None:
    file = tmp_path / "provider.toml"
    lines = 'name = "Firm"\nissuer = "{}"\nclient_id = "w"\nclient_secret = "s"\n'
    file.write_text(lines.format("https://id.example.org"), encoding="utf-8")
    assert read_provider(file) == Provider("Firm", "https://id.example.org", "w", "s")
    file.write_text(lines.format("http://id.example.org"), encoding="utf-8")
    with pytest.raises(InputError, match="not encrypted"):
        read_provider(file)
    for content in ("", "name = 3", "name", lines.format("https://x") + "more = 1"):
        file.write_text(content, encoding="utf-8")
        with pytest.raises(InputError, match="names no identity provider"):
            read_provider(file)
