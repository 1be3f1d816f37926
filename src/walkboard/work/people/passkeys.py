"""Passkeys: signing in with what a phone or a laptop keeps (W3C Web Authentication, level 2).

Browsers offer them on https and at localhost only, and bind each to the name of the desk's address:
a desk that gets another name needs new passkeys.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from types import ModuleType
from typing import TYPE_CHECKING, Any

from walkboard.book.people.records import Passkey, Person
from walkboard.errors import InputError
from walkboard.work.people.challenges import LASTS_S, Challenges
from walkboard.work.people.recovery import MISSING

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

_SIGN_IN = "sign in"


@dataclass(frozen=True, slots=True)
class Party:
    """Whom passkeys are for, as browsers show it.

    Attributes
    ----------
    host : str
        Name of the desk's address, without scheme and port (the RP ID).
    origin : str
        With both.
    name : str
        Shown by the browser.
    """

    host: str
    origin: str
    name: str


class Passkeys:
    """Adds passkeys, and finds whose one is.

    Parameters
    ----------
    party : Party
    challenges : Challenges
    """

    def __init__(self, party: Party, challenges: Challenges | None = None) -> None:
        self.party = party
        self._challenges = Challenges() if challenges is None else challenges

    def options_to_add(self, book: Book, person: Person) -> dict[str, Any]:
        """What a browser needs to make a passkey for a person (PublicKeyCredentialCreationOptions).

        Raises
        ------
        InputError
            When the library is not installed.
        """
        webauthn = _library()
        from webauthn.helpers import base64url_to_bytes, options_to_json_dict
        from webauthn.helpers.structs import (
            AuthenticatorSelectionCriteria,
            PublicKeyCredentialDescriptor,
            ResidentKeyRequirement,
            UserVerificationRequirement,
        )

        options = webauthn.generate_registration_options(
            rp_id=self.party.host,
            rp_name=self.party.name,
            user_id=person.uid.encode(),
            user_name=person.name,
            user_display_name=person.name,
            challenge=self._challenges.new(_to_add(person)),
            timeout=round(1000.0 * LASTS_S),
            # Kept in the device together with whose it is, so that nobody types a name; unlocked by
            # finger, face or PIN, so that a phone that was found opens nothing.
            authenticator_selection=AuthenticatorSelectionCriteria(
                resident_key=ResidentKeyRequirement.REQUIRED,
                user_verification=UserVerificationRequirement.REQUIRED,
            ),
            exclude_credentials=[
                PublicKeyCredentialDescriptor(id=base64url_to_bytes(known.credential))
                for known in book.passkeys(person.id)
            ],
        )
        found: dict[str, Any] = options_to_json_dict(options)
        return found

    def add(self, book: Book, person: Person, answer: object) -> Passkey:
        """Keep a passkey that a browser has made.

        Parameters
        ----------
        book : Book
        person : Person
        answer : object
            The browser's answer (RegistrationResponseJSON).

        Raises
        ------
        InputError
            When it is not an answer to `options_to_add`, or the library is not installed.
        BookError
            When the passkey is known already.
        """
        webauthn = _library()
        from webauthn.helpers import bytes_to_base64url
        from webauthn.helpers.exceptions import WebAuthnException

        challenge = self._challenge_in(answer, _to_add(person))
        try:
            made = webauthn.verify_registration_response(
                credential=answer,
                expected_challenge=challenge,
                expected_rp_id=self.party.host,
                expected_origin=self.party.origin,
                require_user_verification=True,
            )
        except WebAuthnException as error:
            raise _not_taken() from error
        if not self._challenges.use(challenge):
            raise _not_taken()
        return book.add_passkey(
            person.id,
            bytes_to_base64url(made.credential_id),
            bytes_to_base64url(made.credential_public_key),
            made.sign_count,
        )

    def options_to_sign_in(self) -> dict[str, Any]:
        """What a browser needs to sign somebody in (PublicKeyCredentialRequestOptions).

        Raises
        ------
        InputError
            When the library is not installed.
        """
        webauthn = _library()
        from webauthn.helpers import options_to_json_dict
        from webauthn.helpers.structs import UserVerificationRequirement

        options = webauthn.generate_authentication_options(
            rp_id=self.party.host,
            challenge=self._challenges.new(_SIGN_IN),
            timeout=round(1000.0 * LASTS_S),
            user_verification=UserVerificationRequirement.REQUIRED,
        )
        found: dict[str, Any] = options_to_json_dict(options)
        return found

    def whose(self, book: Book, answer: object) -> int:
        """The id of the person whose passkey answers.

        Parameters
        ----------
        book : Book
        answer : object
            The browser's answer (AuthenticationResponseJSON).

        Raises
        ------
        InputError
            When it is not an answer to `options_to_sign_in` by a passkey of the book; also when its
            counter has not grown, as with a copied key.
        """
        webauthn = _library()
        from webauthn.helpers import base64url_to_bytes
        from webauthn.helpers.exceptions import WebAuthnException

        challenge = self._challenge_in(answer, _SIGN_IN)
        credential = answer.get("id") if isinstance(answer, dict) else None
        passkey = book.passkey_of(credential) if isinstance(credential, str) else None
        if passkey is None:
            raise _not_taken()
        try:
            used = webauthn.verify_authentication_response(
                credential=answer,
                expected_challenge=challenge,
                expected_rp_id=self.party.host,
                expected_origin=self.party.origin,
                credential_public_key=base64url_to_bytes(passkey.public_key),
                credential_current_sign_count=passkey.uses,
                require_user_verification=True,
            )
        except WebAuthnException as error:
            raise _not_taken() from error
        if not self._challenges.use(challenge):
            raise _not_taken()
        if used.new_sign_count != passkey.uses:
            book.count_use(passkey.id, used.new_sign_count)
        return passkey.person_id

    def _challenge_in(self, answer: object, purpose: str) -> bytes:
        """The challenge that an answer is to, if it is ours."""
        from webauthn.helpers import base64url_to_bytes

        try:
            data = base64url_to_bytes(answer["response"]["clientDataJSON"])  # type: ignore[index]
            challenge = base64url_to_bytes(json.loads(data)["challenge"])
        except (ValueError, TypeError, KeyError, RecursionError, AttributeError):
            raise _not_taken() from None
        if not self._challenges.is_ours(challenge, purpose):
            raise InputError("This took too long.", fix="Try it again.")
        return challenge


def refuse_without_library() -> None:
    """Raise InputError where the libraries for signing in are not installed; loads neither."""
    from importlib.util import find_spec

    if find_spec("webauthn") is None or find_spec("argon2") is None:
        raise MISSING


def _to_add(person: Person) -> str:
    return f"add to {person.uid}"


def _library() -> ModuleType:
    try:
        import webauthn
    except ImportError as error:
        raise MISSING from error
    return webauthn


def _not_taken() -> InputError:
    return InputError(
        "This passkey was not accepted.",
        fix="Use one that was added to this desk, or ask for a new invitation.",
    )
