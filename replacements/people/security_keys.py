"""Security keys and passkeys as second factors: Web Authentication (WebAuthn), levels 2 and 3.

A key signs a challenge of ours for this very site, so that a page that only looks like ours gets nothing it could use
(OWASP ASVS 5.0, 6.3.3). It stands beside the password: that somebody touches it is enough, and what maker it is of is
not asked. A challenge is kept with the sign-in, counts for one purpose and once, and is gone with the sign-in. A key
whose count does not go up was copied, and is refused (WebAuthn level 2, 7.2, step 21); keys that do not count say 0.

Needs the extra `sign-in` (fido2).
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.util import find_spec
from ipaddress import ip_address
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.people.accounts import book_try
from replacements.people.second_factor import KEY
from replacements.people.sign_ins import Found
from replacements.store.tables import Account, Factor, SignIn

if TYPE_CHECKING:
    from fido2.server import Fido2Server

SET_UP, GIVE = "set up", "give"
LONGEST_LABEL = 40
_LONGEST_ANSWER = 20_000  # characters
# What the library raises over bytes that no key would send, beside the ValueError of what does not fit.
_GARBLED = (ValueError, LookupError, TypeError, AttributeError, AssertionError, OverflowError, struct.error)


class KeyRefused(Exception):
    """What a key answered is not taken; the text says so in plain words."""


@dataclass(frozen=True, slots=True)
class Place:
    """The site that keys are for: its name for people, and its origin as the browser sees it."""

    name: str
    origin: str

    @property
    def domain(self) -> str:
        """The relying party's identifier."""
        return urlsplit(self.origin).hostname or ""


def can_be_used(place: Place) -> bool:
    """Whether keys work here: what they need is installed, and the site has a name. An address of numbers is none."""
    if find_spec("fido2") is None or not place.domain:
        return False
    try:
        ip_address(place.domain)
    except ValueError:
        return True
    return False


def _server(place: Place) -> Fido2Server:
    from fido2.server import Fido2Server
    from fido2.webauthn import PublicKeyCredentialRpEntity

    party = PublicKeyCredentialRpEntity(name=place.name, id=place.domain)
    return Fido2Server(party, verify_origin=lambda origin: origin == place.origin)


def _of(session: Session, account_id: int) -> Sequence[Factor]:
    return session.scalars(
        select(Factor).where(Factor.account_id == account_id, Factor.kind == KEY).with_for_update()
    ).all()


def ask(session: Session, found: Found, place: Place, purpose: str) -> dict[str, Any]:
    """What to ask a key for, as a browser takes it (WebAuthn level 3, 5.4 and 5.5, as JSON). Keeps the challenge.
    `purpose`: SET_UP or GIVE."""
    from fido2.webauthn import (
        AttestedCredentialData,
        PublicKeyCredentialUserEntity,
        ResidentKeyRequirement,
        UserVerificationRequirement,
    )

    server, member = _server(place), found.member
    known = [AttestedCredentialData(factor.data) for factor in _of(session, member.account_id)]
    options: Any
    if purpose == SET_UP:
        user = PublicKeyCredentialUserEntity(
            id=str(member.account_id).encode(), name=member.name, display_name=member.full_name or member.name
        )
        options, state = server.register_begin(
            user,
            known,
            resident_key_requirement=ResidentKeyRequirement.DISCOURAGED,
            user_verification=UserVerificationRequirement.DISCOURAGED,
        )
    else:
        options, state = server.authenticate_begin(known, user_verification=UserVerificationRequirement.DISCOURAGED)
    session.get_one(SignIn, found.sign_in_id).challenge = json.dumps({**state, "purpose": purpose})
    return dict(dict(options)["publicKey"])


def _asked(session: Session, found: Found, purpose: str) -> dict[str, Any]:
    """What was kept when a key was asked, for this once. Raises KeyRefused where it was not asked for this."""
    row = session.get(SignIn, found.sign_in_id, with_for_update=True)
    kept: dict[str, Any] = json.loads(row.challenge) if row is not None and row.challenge else {}
    if row is not None:
        row.challenge = ""
    if kept.pop("purpose", "") != purpose:
        raise KeyRefused("The key was not asked for this, or was asked again since. Try once more.")
    return kept


def _read(answer: str) -> Mapping[str, Any]:
    try:
        read = json.loads(answer[:_LONGEST_ANSWER])
    except ValueError:
        read = None
    if not isinstance(read, dict):
        raise KeyRefused("The browser gave nothing that a key could have said.")
    return read


def add(session: Session, found: Found, place: Place, answer: str, *, label: str, at: datetime) -> None:
    """Let a new key count. `answer`: what the browser gives, as JSON. Raises KeyRefused."""
    from fido2.utils import websafe_encode

    kept = _asked(session, found, SET_UP)
    try:
        made = _server(place).register_complete(kept, _read(answer))
    except _GARBLED as error:
        raise KeyRefused("That key could not be set up here. Try once more, or another one.") from error
    data = made.credential_data
    if data is None or session.scalar(
        select(Factor.id).where(Factor.credential_id == websafe_encode(data.credential_id))
    ):
        raise KeyRefused("That key is set up already.")
    session.add(
        Factor(
            account_id=found.member.account_id,
            kind=KEY,
            label=label.strip()[:LONGEST_LABEL],
            data=bytes(data),
            credential_id=websafe_encode(data.credential_id),
            counter=made.counter,
            made_at=at,
            proved_at=at,
        )
    )
    session.flush()


def give(session: Session, found: Found, place: Place, answer: str, *, at: datetime) -> None:
    """Take what a key signed as the second factor. Raises KeyRefused; the caller commits nevertheless, so that the try
    stays booked as every other and the challenge is used up."""
    from fido2.utils import websafe_encode
    from fido2.webauthn import AttestedCredentialData, AuthenticationResponse

    account = session.get(Account, found.member.account_id, with_for_update=True)
    kept = _asked(session, found, GIVE)
    if account is None or not book_try(account, at=at):
        raise KeyRefused("After several wrong tries in a row, each further try has to wait a little.")
    keys = {factor.credential_id: factor for factor in _of(session, account.id)}
    try:
        response = AuthenticationResponse.from_dict(_read(answer))
        known = [AttestedCredentialData(factor.data) for factor in keys.values()]
        used = keys[websafe_encode(_server(place).authenticate_complete(kept, known, response).credential_id)]
        counter = response.response.authenticator_data.counter
    except _GARBLED as error:
        raise KeyRefused("That is not a key of this account, or not for this site.") from error
    if counter <= used.counter and (counter or used.counter):
        raise KeyRefused("That key's count went back: there may be a copy of it. Remove it and tell a supervisor.")
    used.counter, used.used_at = counter, at
    account.failures, account.locked_until = 0, None
