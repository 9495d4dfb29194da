"""Second factors at signing in: an authenticator app (TOTP, RFC 6238), and recovery codes that stand in for it.

Six digits from HMAC-SHA-1 every 30 seconds, which is what authenticator apps agree on (RFC 6238, section 4). A code is
taken for the step it belongs to, and for the one before and after, since clocks differ and people type (RFC 6238,
5.2 and 6); each only once (RFC 6238, 5.2; OWASP ASVS 5.0, 6.5.1; NIST SP 800-63B-4, 3.1.4): the last step that was
taken is kept, and none up to it is taken again. A code lives 90 seconds by this, where ASVS 6.5.5 has 30: clocks of
phones are seldom exact, and the throttle keeps three codes as hard to guess as one. Tries share the throttle of the
password (`accounts.book_try`), so that who knows the password cannot guess codes (NIST SP 800-63B-4, 3.2.2).

The key of an app is kept encrypted (XSalsa20-Poly1305) under a key derived from the installation's secret, the file of
REPLACEMENTS_SECRET_FILE: a copy of the database alone gives no code. Who replaces that file makes every app's key
unreadable; recovery codes go on working, and a supervisor takes the factor off.

Recovery codes have 120 random bits, so that a plain SHA-256 keeps them (OWASP ASVS 5.0, 6.5.2: from 112 bits on; NIST
SP 800-63B-4, 4.2.1.1 asks for 64). Ten, shown once, each taken once.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import pyotp
from nacl.exceptions import CryptoError
from nacl.secret import SecretBox
from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from replacements.people import sign_ins
from replacements.people.accounts import AccountTrouble, book_try
from replacements.store.database import Database
from replacements.store.tables import Account, Factor, RecoveryCode

APP, KEY, RECOVERY = "totp", "key", "recovery"
STEP = 30  # seconds
DRIFT = 1  # steps to either side
RECOVERY_CODES = 10
UNPROVED_FOR = timedelta(minutes=15)  # then setting up an app begins anew
_RECOVERY_BYTES, _GROUP = 15, 4


@dataclass(frozen=True, slots=True)
class Standing:
    """What an account has: its proved factors, oldest first, and how many recovery codes are left."""

    factors: Sequence[Factor]
    codes_left: int


def _box(secret: bytes) -> SecretBox:
    return SecretBox(hmac.digest(secret, b"second factors", "sha256"))


def app_of(key: str) -> pyotp.TOTP:
    """The codes of an app with this key (base32)."""
    return pyotp.TOTP(key, interval=STEP)


def begin_app(session: Session, account_id: int, *, secret: bytes, at: datetime) -> str:
    """Make a key for an app, which counts once it is proved. Returns it in base32 (160 random bits, RFC 4226, 4)."""
    session.execute(delete(Factor).where(Factor.account_id == account_id, Factor.proved_at.is_(None)))
    key = pyotp.random_base32(32)
    sealed = bytes(_box(secret).encrypt(key.encode()))
    session.add(Factor(account_id=account_id, kind=APP, label="", data=sealed, counter=0, made_at=at))
    return key


def _opened(factor: Factor, secret: bytes) -> str | None:
    try:
        return _box(secret).decrypt(factor.data).decode()
    except CryptoError:  # kept under another secret
        return None


def being_set_up(session: Session, account_id: int, *, secret: bytes, at: datetime) -> str | None:
    """The key of the app that is being set up, to be shown again; None where none is, or it took too long."""
    found = _unproved(session, account_id, at)
    return _opened(found, secret) if found is not None else None


def _unproved(session: Session, account_id: int, at: datetime) -> Factor | None:
    return session.scalar(
        select(Factor).where(
            Factor.account_id == account_id,
            Factor.kind == APP,
            Factor.proved_at.is_(None),
            Factor.made_at > at - UNPROVED_FOR,
        )
    )


def prove_app(session: Session, account_id: int, code: str, *, secret: bytes, at: datetime) -> bool:
    """Let the app that is being set up count, since it gives the right code."""
    found = _unproved(session, account_id, at)
    if found is None or not _takes_app(found, code, secret=secret, at=at):
        return False
    found.proved_at = at
    return True


def _takes_app(factor: Factor, code: str, *, secret: bytes, at: datetime) -> bool:
    """Whether the app shows this code now. Its step is used up then, with all before it."""
    key = _opened(factor, secret)
    if key is None:
        return False
    now = int(at.timestamp()) // STEP
    for step in range(now - DRIFT, now + DRIFT + 1):
        if hmac.compare_digest(app_of(key).generate_otp(step).encode(), code.encode()) and step > factor.counter:
            factor.counter, factor.used_at = step, at
            return True
    return False


def check(database: Database, account_id: int, typed: str, *, secret: bytes, at: datetime) -> str:
    """Which factor this is a code of, APP or RECOVERY; "" for none, or while the account has to wait. The code is used
    up then. Each try is booked as wrong before it is checked."""
    code = "".join(c for c in typed if c.isalnum()).upper()
    with database.write() as session:
        account = session.get(Account, account_id, with_for_update=True)
        if account is None or not book_try(account, at=at):
            return ""
        kind = _takes(session, account_id, code, secret=secret, at=at)
        if kind:
            account.failures, account.locked_until = 0, None
        return kind


def _takes(session: Session, account_id: int, code: str, *, secret: bytes, at: datetime) -> str:
    apps = select(Factor).where(Factor.account_id == account_id, Factor.kind == APP, Factor.proved_at.is_not(None))
    for factor in session.scalars(apps.with_for_update()):
        if _takes_app(factor, code, secret=secret, at=at):
            return APP
    kept = session.get(RecoveryCode, _hash(code), with_for_update=True)
    if kept is None or kept.account_id != account_id or kept.used_at is not None:
        return ""
    kept.used_at = at
    return RECOVERY


def _hash(code: str) -> str:
    return hashlib.sha256(code.encode()).hexdigest()


def make_recovery_codes(session: Session, account_id: int, *, at: datetime) -> list[str]:
    """Make ten codes in place of all before: `ABCD-EFGH-…`, base32. They cannot be shown again."""
    session.execute(delete(RecoveryCode).where(RecoveryCode.account_id == account_id))
    codes = [base64.b32encode(secrets.token_bytes(_RECOVERY_BYTES)).decode() for _ in range(RECOVERY_CODES)]
    session.add_all([RecoveryCode(hash=_hash(code), account_id=account_id, made_at=at) for code in codes])
    return ["-".join(code[i : i + _GROUP] for i in range(0, len(code), _GROUP)) for code in codes]


def standing(session: Session, account_id: int) -> Standing:
    return standings(session, [account_id])[account_id]


def standings(session: Session, accounts: Collection[int]) -> dict[int, Standing]:
    """How each of these accounts stands; two statements, however many they are."""
    factors: dict[int, list[Factor]] = {account_id: [] for account_id in accounts}
    proved = select(Factor).where(Factor.account_id.in_(accounts), Factor.proved_at.is_not(None)).order_by(Factor.id)
    for factor in session.scalars(proved):
        factors[factor.account_id].append(factor)
    unused = (
        select(RecoveryCode.account_id, func.count())
        .where(RecoveryCode.account_id.in_(accounts), RecoveryCode.used_at.is_(None))
        .group_by(RecoveryCode.account_id)
    )
    left = dict(session.execute(unused).all())
    return {account_id: Standing(factors[account_id], left.get(account_id, 0)) for account_id in accounts}


def remove_one(session: Session, account_id: int, factor_id: int, *, wanted: bool) -> None:
    """Take one factor away. `wanted`: a role of the account must have one. The recovery codes go with the last one.
    Raises AccountTrouble where it is not there, or is the last one of an account that must have one."""
    factors = standing(session, account_id).factors
    found = next((factor for factor in factors if factor.id == factor_id), None)
    if found is None:
        raise AccountTrouble("That second factor is gone already.")
    if wanted and len(factors) == 1:
        raise AccountTrouble("Your role needs a second factor. Set up another one first, then remove this one.")
    if len(factors) == 1:
        remove_all(session, account_id)
    else:
        session.delete(found)


def remove_all(session: Session, account_id: int) -> list[str]:
    """Take every factor and recovery code off an account: they are lost. Returns the kinds that there were."""
    kinds = sorted(factor.kind for factor in standing(session, account_id).factors)
    session.execute(delete(Factor).where(Factor.account_id == account_id))
    session.execute(delete(RecoveryCode).where(RecoveryCode.account_id == account_id))
    return kinds


def lost(session: Session, account_id: int) -> list[str]:
    """Take a lost factor off an account, with all others, and sign it out everywhere. Returns the kinds there were."""
    kinds = remove_all(session, account_id)
    sign_ins.end_all(session, account_id)
    return kinds
