"""The recovery code: one for each person, works once, for when the passkey is lost.

Its first letters find the person, the rest is the secret: 100 random bits, of which the book keeps
an Argon2id hash (RFC 9106). A stranger who knows no first letters makes the desk hash nothing.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from walkboard.errors import InputError
from walkboard.work.people.tokens import LETTERS, READ_AS, random_letters

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

_FINDER, _SECRET, _GROUP = 5, 20, 5  # letters
_ONE_AT_A_TIME = threading.Lock()  # a hash takes 64 MB, and the desk has other things to do
MISSING = InputError(
    "People cannot sign in: the libraries for it are not installed.",
    fix="Install them with: pip install 'walkboard[people]'",
)


def new_code(book: Book, person_id: int) -> str:
    """Make a person's recovery code, in place of the last one; to be shown once.

    Raises
    ------
    InputError
        When argon2-cffi is not installed.
    BookError
        When there is no such person.
    """
    try:
        from argon2 import PasswordHasher
    except ImportError as error:
        raise MISSING from error
    finder, secret = random_letters(_FINDER), random_letters(_SECRET)
    with _ONE_AT_A_TIME:
        hashed = PasswordHasher().hash(secret)
    book.keep_recovery(person_id, finder, hashed)
    code = finder + secret
    return "-".join(code[n : n + _GROUP] for n in range(0, len(code), _GROUP))


def redeem(book: Book, code: str) -> int | None:
    """The id of the person whose code it is; the code is used up. None if it is nobody's.

    Raises
    ------
    InputError
        When argon2-cffi is not installed.
    """
    letters = code.upper().translate(READ_AS)
    if len(letters) != _FINDER + _SECRET or not set(letters) <= set(LETTERS):
        return None
    finder, secret = letters[:_FINDER], letters[_FINDER:]
    known = book.recovery(finder)
    if known is None:
        return None
    try:
        from argon2 import PasswordHasher
        from argon2.exceptions import VerificationError
    except ImportError as error:
        raise MISSING from error
    person_id, hashed = known
    try:
        with _ONE_AT_A_TIME:
            PasswordHasher().verify(hashed, secret)
    except VerificationError:
        return None
    return person_id if book.use_recovery(finder) else None
