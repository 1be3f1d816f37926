"""The desk's own certificate, made on this machine: a phone's browser then knows it by sight.

Browsers give the microphone and the wake lock to encrypted pages alone. Nobody vouches for an
address of a local network, so the desk signs for itself: the phone warns once, its user compares
the fingerprint with that on the page *Phones*, and goes on.

The key lies in the book's folder, readable by its owner alone; without it the phones are asked
again. It is neither copied nor exported with the book.
"""

from __future__ import annotations

import hashlib
import ipaddress
import os
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

FILE = "own-certificate.pem"
# Browsers take none of more than 398 days (CA/Browser Forum, Baseline Requirements, 6.3.2).
DAYS = 397
_RENEWED_BEFORE = timedelta(days=30)
_SLOW_CLOCKS = timedelta(days=1)  # of phones: it is valid since yesterday


@dataclass(frozen=True, slots=True)
class Certificate:
    """What the server needs, and what its user compares.

    Attributes
    ----------
    file : Path
        Key and certificate (PEM).
    fingerprint : str
        SHA-256 of the certificate (DER), in pairs of hexadecimal digits as browsers show it.
    until : datetime
    """

    file: Path
    fingerprint: str
    until: datetime


def certificate_for(folder: Path, address: str, now: datetime) -> Certificate:
    """The certificate of a book's desk for an address, made when there is none that still serves.

    Parameters
    ----------
    folder : Path
        The book's.
    address : str
        IPv4 address that phones reach the desk at.
    now : datetime
        Time-zone aware.

    Raises
    ------
    OSError
        When the folder cannot be written to.
    """
    file = folder / FILE
    known = _read(file)
    if known is None or not _serves(known, address, now):
        known = _make(file, address, now)
    fingerprint = hashlib.sha256(known.public_bytes(serialization.Encoding.DER)).hexdigest().upper()
    pairs = (fingerprint[at : at + 2] for at in range(0, len(fingerprint), 2))
    return Certificate(file, ":".join(pairs), known.not_valid_after_utc)


def _serves(known: x509.Certificate, address: str, now: datetime) -> bool:
    names = known.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    addresses = [str(one) for one in names.get_values_for_type(x509.IPAddress)]
    is_now = known.not_valid_before_utc <= now < known.not_valid_after_utc - _RENEWED_BEFORE
    return address in addresses and is_now


def _read(file: Path) -> x509.Certificate | None:
    try:
        text = file.read_bytes()
        key = serialization.load_pem_private_key(text, None)
        found = x509.load_pem_x509_certificate(text)
        found.extensions.get_extension_for_class(x509.SubjectAlternativeName)
    except (OSError, ValueError, TypeError, x509.ExtensionNotFound):
        return None  # none there, or not ours: then the phones are asked again
    return found if key.public_key() == found.public_key() else None


def _make(file: Path, address: str, now: datetime) -> x509.Certificate:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Walkboard at {address}")])
    alternative = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(address))])
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now.astimezone(UTC) - _SLOW_CLOCKS)
        .not_valid_after(now.astimezone(UTC) + timedelta(days=DAYS) - _SLOW_CLOCKS)
        .add_extension(alternative, critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    text = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    ) + made.public_bytes(serialization.Encoding.PEM)
    part = file.with_suffix(".part")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    part.replace(file)
    return made
