"""The user's own certificate authority: a phone that installs it trusts every desk of this user.

Browsers give a page the microphone, a lit screen and pages kept on the phone only where they trust
the certificate. Nobody vouches for an address of a local network, so each user has an authority of
their own, made on first use. It can sign for private addresses only (RFC 5280, 4.2.1.10): whoever
got hold of its key could not pass for any other site. The key lies in the user's configuration
folder, readable by its owner alone; it is neither copied nor exported with a book.
"""

from __future__ import annotations

import ipaddress
import os
import sys
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.types import PrivateKeyTypes
from cryptography.x509.oid import NameOID

from walkboard.desk.frame.private_file import write_private

FILE = "authority.pem"
DAYS = 3650  # a phone is asked once. Chosen.
_RENEWED_BEFORE = timedelta(days=400)  # a certificate that it signs must not outlast it
SLOW_CLOCKS = timedelta(days=1)  # of phones: valid since yesterday
# Addresses of local networks: RFC 1918, RFC 3927, RFC 6598, and the machine itself.
PRIVATE = tuple(
    ipaddress.ip_network(block)
    for block in (
        "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "100.64.0.0/10",
        "127.0.0.0/8",
    )
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Authority:
    """An authority and its key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    @property
    def der(self) -> bytes:
        """The certificate as phones install it (DER)."""
        return self.certificate.public_bytes(serialization.Encoding.DER)

    def may_sign_for(self, address: str) -> bool:
        """Whether an IPv4 address is one of a local network."""
        return any(ipaddress.ip_address(address) in block for block in PRIVATE)

    def signed(self, leaf: x509.Certificate) -> bool:
        """Whether it signed a certificate."""
        try:
            leaf.verify_directly_issued_by(self.certificate)
        except Exception:
            return False
        return True


def configuration_folder() -> Path:
    """Where this user's settings lie: the XDG base directory, or what the system has instead."""
    if sys.platform == "win32":
        return Path(os.environ.get("APPDATA", Path.home())) / "Walkboard"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "Walkboard"
    return Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config") / "walkboard"


def authority_in(folder: Path, now: datetime) -> Authority:
    """The authority in a folder, made if there is none that is still valid.

    Parameters
    ----------
    folder : Path
        Made if it is missing.
    now : datetime
        Time-zone aware.

    Raises
    ------
    OSError
        When the folder cannot be written to.
    """
    file = folder / FILE
    known = _read(file)
    if known is not None and now < known.certificate.not_valid_after_utc - _RENEWED_BEFORE:
        return known
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    made = _make(now)
    write_private(file, key_pem(made.key) + made.certificate.public_bytes(_PEM))
    return made


_PEM = serialization.Encoding.PEM


def key_pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    """A private key as PEM (PKCS #8), without a passphrase."""
    return key.private_bytes(_PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())


def read_pair(file: Path) -> tuple[x509.Certificate, PrivateKeyTypes] | None:
    """The certificate of a file with its key; None if there is none, or it is not ours."""
    try:
        text = file.read_bytes()
        key = serialization.load_pem_private_key(text, None)
        found = x509.load_pem_x509_certificate(text)
    except (OSError, ValueError, TypeError):
        return None
    return (found, key) if key.public_key() == found.public_key() else None


def _read(file: Path) -> Authority | None:
    found, key = read_pair(file) or (None, None)
    if found is None or not isinstance(key, ec.EllipticCurvePrivateKey):
        return None
    return Authority(found, key)


def _make(now: datetime) -> Authority:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Walkboard, your own authority")])
    begins = now.astimezone(UTC) - SLOW_CLOCKS
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(begins + timedelta(days=DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_signs_certificates(), critical=True)
        .add_extension(
            x509.NameConstraints([x509.IPAddress(block) for block in PRIVATE], None), critical=True
        )
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    return Authority(certificate, key)


def _signs_certificates() -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=False,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=True,
        crl_sign=True,
        encipher_only=False,
        decipher_only=False,
    )
