"""The cards at consoles: each organ's token, which opens its pages for players and the venue. A
token opens the form for faults (`/report/TOKEN`) and page 1 of the last report (`/venue/TOKEN`),
nothing else. It is stored in the book's folder, so a printed card still works after the desk
restarts; a new token invalidates the old card.
"""

from __future__ import annotations

import hmac
import json
import secrets
import threading
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from walkboard.desk.frame.private_file import write_private

FILE = "console-cards.json"
_SHAPE = TypeAdapter(dict[int, str])
_BYTES = 9  # 72 bits: 12 letters, so that the square on the card stays coarse
_LOCK = threading.Lock()


def token_of(folder: Path, organ_id: int) -> str:
    """The token of an organ's card, created when first needed."""
    with _LOCK:
        tokens = _read(folder)
        if organ_id not in tokens:
            tokens[organ_id] = secrets.token_urlsafe(_BYTES)
            _write(folder, tokens)
        return tokens[organ_id]


def renew(folder: Path, organ_id: int) -> None:
    """Make a new token; cards with the old one open nothing any more."""
    with _LOCK:
        _write(folder, {**_read(folder), organ_id: secrets.token_urlsafe(_BYTES)})


def organ_of(folder: Path, token: str) -> int | None:
    """Number of the organ that a token is of."""
    for organ_id, known in _read(folder).items():
        if hmac.compare_digest(known.encode(), token.encode()):
            return organ_id
    return None


def _read(folder: Path) -> dict[int, str]:
    try:
        return _SHAPE.validate_json((folder / FILE).read_bytes())
    except (OSError, ValidationError):
        return {}  # none there, or not ours: then new cards are printed


def _write(folder: Path, tokens: dict[int, str]) -> None:
    write_private(folder / FILE, json.dumps(tokens).encode())
