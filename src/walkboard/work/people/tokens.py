"""Random tokens: whoever has one is let in, so the book stores only their hashes."""

from __future__ import annotations

import hashlib
import secrets

_BYTES = 32
# Crockford's letters without those that are read for another, as in the codes of phones.
LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
READ_AS = str.maketrans({"O": "0", "I": "1", "L": "1", "-": None, " ": None})


def new_token() -> str:
    """256 random bits, as text for an address or a cookie."""
    return secrets.token_urlsafe(_BYTES)


def hash_of(token: str) -> str:
    """Hash of a token. Fast on purpose: 256 random bits cannot be guessed from it."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def random_letters(count: int) -> str:
    """Letters that can be written down and typed, five bits each."""
    return "".join(secrets.choice(LETTERS) for _ in range(count))
