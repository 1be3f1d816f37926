"""The desk's own certificate, made on this machine for the address that phones reach it at.

The user's own authority signs it (`authority`); a phone that has installed it trusts the desk.
Another phone warns, its user compares the fingerprint with that on the page *Phones*, and goes on.

The key is in the book's folder, readable only by its owner; without it the phones must confirm
again. It is neither copied nor exported with the book.
"""

from __future__ import annotations

import hashlib
import ipaddress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from walkboard.desk.frame.private_file import write_private
from walkboard.desk.server.authority import (
    SLOW_CLOCKS,
    Authority,
    key_pem,
    read_pair,
)

FILE = "own-certificate.pem"
DAYS = 90  # browsers take at most 398 (CA/Browser Forum, Baseline Requirements, 6.3.2). Chosen.
_RENEWED_BEFORE = timedelta(days=30)


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
    authority : bytes
        Certificate of the authority that signed it (DER), for phones to install; empty where the
        desk signed for itself.
    """

    file: Path
    fingerprint: str
    until: datetime
    authority: bytes = b""


def fingerprint_of(der: bytes) -> str:
    """SHA-256 of a certificate (DER), in pairs of hexadecimal digits as browsers show it."""
    return hashlib.sha256(der).digest().hex(":").upper()


def certificate_for(
    folder: Path, address: str, now: datetime, authority: Authority | None = None
) -> Certificate:
    """The certificate of a book's desk for an address, made if there is none that is still valid.

    Parameters
    ----------
    folder : Path
        The book's.
    address : str
        IPv4 address that phones reach the desk at.
    now : datetime
        Time-zone aware.
    authority : Authority or None
        Signs it, if the address is one of a local network; else the desk signs for itself.

    Raises
    ------
    OSError
        When the folder cannot be written to.
    """
    file = folder / FILE
    known = _read(file)
    if authority is not None and not authority.may_sign_for(address):
        authority = None
    is_signed = known is not None and (authority is None or authority.signed(known))
    if known is None or not is_signed or not _serves(known, address, now):
        known = _make(file, address, now, authority)
    return Certificate(
        file,
        fingerprint_of(known.public_bytes(serialization.Encoding.DER)),
        known.not_valid_after_utc,
        b"" if authority is None else authority.der,
    )


def _serves(known: x509.Certificate, address: str, now: datetime) -> bool:
    names = known.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    addresses = [str(one) for one in names.get_values_for_type(x509.IPAddress)]
    is_now = known.not_valid_before_utc <= now < known.not_valid_after_utc - _RENEWED_BEFORE
    return address in addresses and is_now


def _read(file: Path) -> x509.Certificate | None:
    found, _ = read_pair(file) or (None, None)
    try:
        if found is not None:
            found.extensions.get_extension_for_class(x509.SubjectAlternativeName)
    except (ValueError, TypeError, x509.ExtensionNotFound):
        return None  # not ours: then the phones are asked again
    return found


def _make(file: Path, address: str, now: datetime, authority: Authority | None) -> x509.Certificate:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Walkboard at {address}")])
    alternative = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(address))])
    issuer = name if authority is None else authority.certificate.subject
    signer = key if authority is None else authority.key
    begins = now.astimezone(UTC) - SLOW_CLOCKS
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(begins + timedelta(days=DAYS))
        .add_extension(alternative, critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False
        )
        .sign(signer, hashes.SHA256())
    )
    text = key_pem(key) + made.public_bytes(serialization.Encoding.PEM)
    if authority is not None:
        text += authority.certificate.public_bytes(serialization.Encoding.PEM)
    write_private(file, text)
    return made
