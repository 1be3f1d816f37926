"""Encrypted sharing: the desk's own certificate, and what a phone's browser then allows."""

from __future__ import annotations

import base64
import hashlib
import re
import shutil
import ssl
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from urllib.error import HTTPError, URLError
from urllib.request import Request, urlopen

import pytest
import uvicorn
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError
from playwright.sync_api import Browser, BrowserContext

from tests.browser import CHROMIUM, close
from tests.desk.conftest import eventually, wait_until_fresh
from tests.desk.looking import PHONE, look_at
from walkboard.desk.server import serving
from walkboard.desk.server.authority import FILE as AUTHORITY_FILE
from walkboard.desk.server.authority import authority_in, key_pem
from walkboard.desk.server.certificate import DAYS, FILE, Certificate, _make, certificate_for

AT_HAND = "127.0.0.2"  # an address of every Linux machine that is not the desk's own
NOW = datetime.now(UTC)


def test_it_stays_the_same_until_it_no_longer_serves(tmp_path: Path) -> None:
    first = certificate_for(tmp_path, AT_HAND, NOW)
    assert (tmp_path / FILE).stat().st_mode & 0o077 == 0
    assert re.fullmatch(r"(?:[0-9A-F]{2}:){31}[0-9A-F]{2}", first.fingerprint)
    assert certificate_for(tmp_path, AT_HAND, NOW + timedelta(days=50)) == first
    assert certificate_for(tmp_path, AT_HAND, NOW + timedelta(days=70)) != first
    other = certificate_for(tmp_path, "127.0.0.3", NOW)
    assert other.fingerprint != first.fingerprint
    (tmp_path / FILE).write_text("no certificate")
    assert certificate_for(tmp_path, "127.0.0.3", NOW).fingerprint != other.fingerprint


def test_openssl_takes_it_for_a_server_at_that_address_and_no_authority(tmp_path: Path) -> None:
    # OpenSSL as the standard library has it reads the certificate by itself.
    made = certificate_for(tmp_path, AT_HAND, NOW)
    found = ssl._ssl._test_decode_cert(str(made.file))  # type: ignore[attr-defined]
    assert found["subjectAltName"] == (("IP Address", AT_HAND),)
    ends = datetime.strptime(found["notAfter"], "%b %d %H:%M:%S %Y GMT").replace(tzinfo=UTC)
    begins = datetime.strptime(found["notBefore"], "%b %d %H:%M:%S %Y GMT").replace(tzinfo=UTC)
    assert ends - begins == timedelta(days=DAYS) < timedelta(days=398)


def test_the_authority_is_made_once_and_renewed_before_it_ends(tmp_path: Path) -> None:
    folder = tmp_path / "configuration" / "walkboard"
    first = authority_in(folder, NOW)
    assert (folder / AUTHORITY_FILE).stat().st_mode & 0o077 == 0
    assert folder.stat().st_mode & 0o077 == 0
    assert authority_in(folder, NOW + timedelta(days=3000)).der == first.der
    assert authority_in(folder, NOW + timedelta(days=3400)).der != first.der
    assert certificate_for(tmp_path, AT_HAND, NOW, first).authority == first.der
    # Another authority, or none as before: the desk is signed again.
    other = authority_in(tmp_path / "other", NOW)
    signed = certificate_for(tmp_path, AT_HAND, NOW, other)
    assert other.signed(x509.load_pem_x509_certificate(signed.file.read_bytes()))
    assert not first.signed(x509.load_pem_x509_certificate(signed.file.read_bytes()))
    assert certificate_for(tmp_path, AT_HAND, NOW, other) == signed


def test_a_key_that_is_not_its_certificates_is_not_used(tmp_path: Path) -> None:
    """A file put together from two backups: what it signed, no phone would trust."""
    first, other = authority_in(tmp_path / "one", NOW), authority_in(tmp_path / "two", NOW)
    mixed = key_pem(other.key) + first.certificate.public_bytes(Encoding.PEM)
    (tmp_path / "one" / AUTHORITY_FILE).write_bytes(mixed)
    made = authority_in(tmp_path / "one", NOW)
    assert made.der not in {first.der, other.der}
    assert made.signed(made.certificate)


def test_it_can_vouch_for_local_networks_only(tmp_path: Path) -> None:
    # RFC 5280, 4.2.1.10, judged by the library's own verifier of servers.
    authority = authority_in(tmp_path / "configuration", NOW)
    assert [authority.may_sign_for(a) for a in ("192.168.1.7", "10.0.0.1", "172.16.3.4")] == [
        True
    ] * 3
    assert not authority.may_sign_for("8.8.8.8")
    assert certificate_for(tmp_path, "8.8.8.8", NOW, authority).authority == b""
    verifier = PolicyBuilder().store(Store([authority.certificate]))
    for address, is_let in (("192.168.1.7", True), ("8.8.8.8", False)):
        _make(tmp_path / "leaf.pem", address, NOW, authority)
        leaf = x509.load_pem_x509_certificate((tmp_path / "leaf.pem").read_bytes())
        server = verifier.build_server_verifier(x509.IPAddress(ip_address(address)))
        if is_let:
            assert server.verify(leaf, [])[0] == leaf
        else:
            with pytest.raises(VerificationError):
                server.verify(leaf, [])


@dataclass
class Shared:
    """A desk that is shared encrypted."""

    certificate: Certificate
    home: str = ""
    phones: str = ""
    servers: list[uvicorn.Server] = field(default_factory=list)

    def tell(self, home: str, phones: str | None) -> None:
        assert phones is not None
        self.home, self.phones = home, phones


@pytest.fixture(scope="module")
def shared(village_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shared]:
    folder = shutil.copytree(village_book, tmp_path_factory.mktemp("https") / "book")
    authority = authority_in(tmp_path_factory.mktemp("configuration") / "walkboard", NOW)
    made = Shared(certificate_for(folder, AT_HAND, NOW, authority))
    begun = uvicorn.Server.__init__

    def init(self: uvicorn.Server, config: uvicorn.Config) -> None:
        begun(self, config)
        made.servers.append(self)

    def run() -> None:
        serving.serve(
            folder, port=0, shared_address=AT_HAND, certificate=made.certificate, tell=made.tell
        )

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(uvicorn.Server, "__init__", init)
        running = threading.Thread(target=run)
        running.start()
        eventually(lambda: len(made.servers) == 2 and all(one.started for one in made.servers))
        yield made
        made.servers[0].should_exit = True
        running.join(20)
    assert not running.is_alive()


def test_each_address_uses_its_own_protocol(shared: Shared) -> None:
    port = int(shared.home.rstrip("/").rpartition(":")[2])
    with urlopen(f"{shared.home}organs") as answer:
        assert answer.status == 200
    shown = ssl.get_server_certificate((AT_HAND, port))
    found = hashlib.sha256(ssl.PEM_cert_to_DER_cert(shown)).hexdigest().upper()
    assert found == shared.certificate.fingerprint.replace(":", "")
    with pytest.raises((URLError, ConnectionError)):
        urlopen(f"http://{AT_HAND}:{port}/pair")
    trusting = ssl.create_default_context()
    with pytest.raises(URLError, match="CERTIFICATE_VERIFY_FAILED"):
        urlopen(f"{shared.phones}pair", context=trusting)
    trusting.load_verify_locations(shared.certificate.file)
    with pytest.raises(HTTPError, match="401"):
        urlopen(f"{shared.phones}organs", context=trusting)
    foreign = Request(f"{shared.phones}pair", headers={"Origin": f"http://{AT_HAND}:{port}"})
    with pytest.raises(HTTPError, match="403"):
        urlopen(foreign, context=trusting)


def test_a_device_that_installs_the_authority_trusts_the_desk(shared: Shared) -> None:
    # Anyone may have the authority's certificate; OpenSSL judges what it is good for.
    going_past = ssl._create_unverified_context()
    with urlopen(f"{shared.phones}authority.crt", context=going_past) as answer:
        der = answer.read()
        assert answer.headers["Content-Type"] == "application/x-x509-ca-cert"
    trusting = ssl.create_default_context(cadata=der)
    with urlopen(f"{shared.phones}pair", context=trusting) as answer:
        assert answer.status == 200
    with urlopen(f"{shared.home}sharing") as answer:
        page = re.sub(r"<[^>]*>|\s", "", answer.read().decode())
    assert hashlib.sha256(der).hexdigest().upper() in page
    assert f"{shared.phones}authority.crt" in page


def test_a_phone_is_paired_renamed_and_removed(
    shared: Shared, browser: Browser, tmp_path: Path
) -> None:
    at_desk = browser.new_page()
    at_desk.goto(f"{shared.home}sharing")
    at_desk.click("button.main")
    wait_until_fresh(at_desk)
    digits = shared.certificate.fingerprint.replace(":", "")
    assert re.sub(r"\s", "", at_desk.inner_text("#certificate .fingerprint")) == digits
    letters = at_desk.inner_text(".letters")
    phone = browser.new_context(viewport=PHONE, ignore_https_errors=True)  # type: ignore[arg-type]
    page = phone.new_page()
    page.goto(f"{shared.phones}pair")
    page.fill("input[name=code]", letters)
    page.click("button.main")
    page.wait_for_url(f"{shared.phones}organ/1")
    wait_until_fresh(page)
    assert page.evaluate("isSecureContext && !!navigator.mediaDevices && 'wakeLock' in navigator")
    assert [cookie["secure"] for cookie in phone.cookies()] == [True]
    # Chromium keeps no page of a desk whose certificate it warned of, and the page says so.
    page.goto(f"{shared.phones}organ/1/pipe")
    page.wait_for_selector("html[data-keeps=no]")
    page.wait_for_selector("#wake >> text=leave it open")
    _keeps_the_page_where_the_certificate_is_trusted(shared, phone, tmp_path)
    at_desk.reload()
    wait_until_fresh(at_desk)
    look_at(at_desk, "sharing-https")
    at_desk.fill("form[action='/sharing/rename'] input[name=name]", " The phone  in the loft ")
    at_desk.click("form[action='/sharing/rename'] button")
    at_desk.wait_for_selector("th:has-text('The phone in the loft')")
    at_desk.click("form[action='/sharing/revoke'] button")
    at_desk.wait_for_selector("text=No device is paired")
    page.reload()
    assert "not paired" in page.inner_text("main")
    close(phone)
    at_desk.close()


def _keeps_the_page_where_the_certificate_is_trusted(
    shared: Shared, phone: BrowserContext, profile: Path
) -> None:
    found = x509.load_pem_x509_certificate(shared.certificate.file.read_bytes())
    key = found.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    digest = base64.b64encode(hashlib.sha256(key).digest()).decode()
    assert phone.browser is not None
    trusting = phone.browser.browser_type.launch_persistent_context(
        profile,
        executable_path=CHROMIUM,
        args=["--no-sandbox", f"--ignore-certificate-errors-spki-list={digest}"],
    )
    trusting.add_cookies(phone.cookies())  # type: ignore[arg-type]
    page = trusting.new_page()
    page.goto(f"{shared.phones}organ/1/pipe")
    page.wait_for_selector("html[data-keeps=yes]")
    close(trusting)


def test_a_device_without_a_name_keeps_the_one_it_has(shared: Shared) -> None:
    unknown = Request(f"{shared.home}sharing/rename", data=b"device=none&name=x", method="POST")
    with pytest.raises(HTTPError, match="404"):
        urlopen(unknown)
