"""Accounts and signing in. The first account is made on the command line; none exists by default.

Wrong passwords are slowed down, never locked out for good: from the fifth in a row on, each is followed by a wait that
doubles, up to 15 minutes. A try is booked as wrong before it is checked, so that many tries at once count as many. The
answer to a wrong password, to an unknown name and to a try during the wait is one and the same.

Signing in itself is in `sign_ins`, which every other room reaches through here.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta

from email_validator import EmailNotValidError, validate_email
from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from replacements.people import passwords
from replacements.people.permissions import Role
from replacements.people.sign_ins import Member, end_sign_in, member_of, signed_in, start_sign_in, token_hash
from replacements.store.database import Database
from replacements.store.tables import Account, Factor, SignIn

__all__ = [
    "AccountTrouble",
    "Member",
    "book_try",
    "check_password",
    "create",
    "end_sign_in",
    "has_factor",
    "set_email",
    "set_password",
    "set_provider_name",
    "set_roles",
    "signed_in",
    "start_sign_in",
    "switch_off",
    "switch_on",
]

FREE_TRIES = 5
FIRST_WAIT = timedelta(seconds=15)
LONGEST_WAIT = timedelta(minutes=15)
_NAME = re.compile(r"[a-z0-9](?:[a-z0-9._-]{0,38}[a-z0-9])?")


class AccountTrouble(Exception):
    """An account cannot be made or changed as asked; the text says why."""


def _checked_roles(roles: Sequence[str]) -> list[str]:
    unknown = [r for r in roles if r not in set(Role)]
    if unknown:
        raise AccountTrouble(f"There is no role {', '.join(unknown)}. The roles are {', '.join(Role)}.")
    if not roles:
        raise AccountTrouble("An account needs at least one role.")
    if Role.OBSERVER in roles and len(set(roles)) > 1:
        raise AccountTrouble("An observer has no other role: an observer never sees anything personal.")
    return [r for r in Role if r in roles]


def create(
    session: Session,
    *,
    name: str,
    password: str,
    roles: Sequence[str],
    at: datetime,
    full_name: str = "",
    email: str = "",
) -> Member:
    """Make an account. `name` is what one signs in with and what the ledger shows: lower case letters, digits, `.-_`.
    Raises AccountTrouble or PasswordRefused with a text for people."""
    shape = name.strip().casefold()
    if not _NAME.fullmatch(shape):
        raise AccountTrouble(
            "An account name has 1 to 40 letters a to z, digits, dots, dashes or underscores, and begins and ends with "
            "a letter or a digit."
        )
    if shape in ("import", "schedule"):
        raise AccountTrouble(f"The ledger uses the name {shape} for what the service does by itself. Choose another.")
    kept_roles = _checked_roles(roles)
    passwords.accept(password, account=shape, full_name=full_name)
    if session.scalar(select(Account.id).where(Account.name == shape)) is not None:
        raise AccountTrouble(f"There is an account {shape} already.")
    account = Account(
        name=shape,
        full_name=full_name.strip(),
        email=_checked_email(email),
        password_hash=passwords.hashed(password),
        roles=kept_roles,
        active=True,
        failures=0,
        created_at=at,
    )
    session.add(account)
    session.flush()
    return member_of(account)


def _account(session: Session, account_id: int) -> Account:
    account = session.get(Account, account_id, with_for_update=True)
    if account is None:
        raise AccountTrouble("There is no such account.")
    return account


def _keep_a_supervisor(session: Session, account: Account) -> None:
    others = session.scalars(select(Account).where(Account.active, Account.id != account.id))
    if Role.SUPERVISOR in account.roles and account.active and not any(Role.SUPERVISOR in o.roles for o in others):
        raise AccountTrouble("This is the last active supervisor. Make another one first.")


def set_roles(session: Session, account_id: int, roles: Sequence[str]) -> None:
    """Give an account other roles; they count from its next page on."""
    account, kept = _account(session, account_id), _checked_roles(roles)
    if Role.SUPERVISOR not in kept:
        _keep_a_supervisor(session, account)
    account.roles = kept


def set_email(session: Session, account_id: int, email: str) -> None:
    """Where the weekly summary goes, for a supervisor; empty for nowhere. Raises AccountTrouble for no address."""
    account = _account(session, account_id)
    account.email = _checked_email(email)


def set_provider_name(session: Session, account_id: int, name: str) -> None:
    """What the office's own sign-in service calls this person; empty: they do not sign in by it. Raises AccountTrouble
    where another account has that name."""
    account, shape = _account(session, account_id), name.strip() or None
    if shape is not None:
        other = select(Account.name).where(Account.provider_name == shape, Account.id != account_id)
        if (taken := session.scalar(other)) is not None:
            raise AccountTrouble(f"The account {taken} has that name at the sign-in service.")
    account.provider_name = shape


def _checked_email(email: str) -> str:
    shape = email.strip()
    if not shape:
        return ""
    try:
        return validate_email(shape, check_deliverability=False).normalized
    except EmailNotValidError as error:
        raise AccountTrouble(f"{shape} is not a mail address: {error}") from error


def switch_off(session: Session, account_id: int) -> None:
    """Let an account sign in no more and end what it has open. The account stays: the ledger names it."""
    account = _account(session, account_id)
    _keep_a_supervisor(session, account)
    account.active = False
    session.execute(delete(SignIn).where(SignIn.account_id == account_id))


def switch_on(session: Session, account_id: int) -> None:
    """Let an account sign in again."""
    account = _account(session, account_id)
    account.active, account.failures, account.locked_until = True, 0, None


def set_password(session: Session, account_id: int, password: str, *, keep_token: str = "") -> None:
    """Give an account another password and end its sign-ins (except the one of `keep_token`)."""
    account = _account(session, account_id)
    passwords.accept(password, account=account.name, full_name=account.full_name)
    account.password_hash = passwords.hashed(password)
    account.failures, account.locked_until = 0, None
    session.execute(delete(SignIn).where(SignIn.account_id == account_id, SignIn.token != token_hash(keep_token)))


def _wait_after(failures: int) -> timedelta:
    if failures < FREE_TRIES:
        return timedelta()
    doublings: int = min(failures - FREE_TRIES, 10)
    return min(FIRST_WAIT * (1 << doublings), LONGEST_WAIT)


def book_try(account: Account, *, at: datetime) -> bool:
    """Book a try as wrong before it is checked. False where this account has to wait, so that nothing is checked."""
    if not account.active or (account.locked_until is not None and account.locked_until > at):
        return False
    account.failures += 1
    wait = _wait_after(account.failures)
    account.locked_until = at + wait if wait else None
    return True


def check_password(database: Database, name: str, password: str, *, at: datetime) -> Member | None:
    """Who this is, or None: wrong name, wrong password, switched off, or still to wait. The caller says the same for
    all four. Costs one password check in every case, and where it fails one row that is written.

    Where a second factor is still to come, the right password only takes back its own try: otherwise whoever knows
    the password could guess codes for ever, four at a time.
    """
    kept, account_id = passwords.nobodys(), None
    with database.write() as session:
        account = session.scalar(select(Account).where(Account.name == name.strip().casefold()).with_for_update())
        if account is not None and book_try(account, at=at):
            kept, account_id = account.password_hash, account.id
        else:
            _write_as_much(session)
    right = passwords.fits(kept, password)
    if account_id is None or not right:
        return None
    with database.write() as session:
        account = _account(session, account_id)
        if not account.active or account.password_hash != kept:
            return None
        account.failures = max(account.failures - 1, 0) if has_factor(session, account_id) else 0
        account.locked_until = None
        if passwords.needs_new_hash(kept):
            account.password_hash = passwords.hashed(password)
        return member_of(account)


def _write_as_much(session: Session) -> None:
    """As much as a try that is booked, and nothing: to put a row on the disk takes long enough to be told from afar."""
    first = select(func.min(Account.id)).scalar_subquery()
    session.execute(update(Account).where(Account.id == first).values(failures=Account.failures))


def has_factor(session: Session, account_id: int) -> bool:
    """Whether a second factor was set up and proved."""
    proved = select(Factor.id).where(Factor.account_id == account_id, Factor.proved_at.is_not(None))
    return session.scalar(proved.limit(1)) is not None
