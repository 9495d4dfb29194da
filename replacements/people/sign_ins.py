"""Sign-ins (sessions): rows on the server; the browser holds a random token of which the row has only the SHA-256.

A sign-in ends after some time without use, after some time in any case, when the person signs out or ends it from
elsewhere, when the password is changed elsewhere, and when the account is switched off. How long it lasts is written
into it when it starts. The values left to an office are those of NIST SP 800-63B-4, section 2.2.3 (AAL2: an hour
without use, 24 hours in any case) or shorter; ours are an hour and 12 hours, a long day at the counter. OWASP ASVS
5.0 asks for both ends (7.3.1, 7.3.2), for a new token whenever somebody proves who they are (7.2.4), for at least 128
random bits (7.2.3), and that people see and end their own (7.5.2), administrators everybody's (7.4.5).

How many sign-ins an account may have at a time is not limited (ASVS 7.1.2): the person sees them all.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, delete, or_, select
from sqlalchemy.orm import Session

from replacements.store.database import Database
from replacements.store.tables import Account, SignIn

CODE, SET_UP = "code", "set_up"  # what may be outstanding: a second factor to give, or to set up
OUTSTANDING_FOR = timedelta(minutes=15)  # then one begins again with the password
_SEEN_EVERY = timedelta(minutes=1)  # how exactly the time of last use is kept; saves a write per page
_LONGEST_IDLE = timedelta(minutes=60)  # what is longer unused is over by every setting


@dataclass(frozen=True, slots=True)
class Member:
    """A member of staff, as other rooms see one: no password in it."""

    account_id: int
    name: str
    full_name: str
    roles: tuple[str, ...]


def member_of(account: Account) -> Member:
    return Member(account.id, account.name, account.full_name, tuple(account.roles))


@dataclass(frozen=True, slots=True)
class Ends:
    """How long a sign-in lasts: without use, and in any case."""

    idle: timedelta = timedelta(minutes=60)
    longest: timedelta = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class Found:
    """A sign-in that is not over. `outstanding`: "" where all was given, else CODE or SET_UP; `second`: the kind of
    second factor that was given, "" for none. `beside`: what was asked for beside it."""

    sign_in_id: int
    member: Member
    outstanding: str
    second: str
    beside: tuple[Any, ...] = ()


def token_hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def start_sign_in(
    session: Session,
    account_id: int,
    *,
    at: datetime,
    ends: Ends | None = None,
    browser: str = "",
    outstanding: str = "",
    second: str = "",
) -> str:
    """Sign a member in; returns the token for the browser (256 random bits). Sweeps out sign-ins that are over."""
    session.execute(delete(SignIn).where(or_(SignIn.ends_at <= at, SignIn.seen_at <= at - _LONGEST_IDLE)))
    ends, token = ends or Ends(), secrets.token_urlsafe(32)
    session.add(
        SignIn(
            token=token_hash(token),
            account_id=account_id,
            started_at=at,
            seen_at=at,
            ends_at=at + (OUTSTANDING_FOR if outstanding else ends.longest),
            idle_minutes=int(ends.idle.total_seconds() // 60),
            browser=browser,
            outstanding=outstanding,
            second=second,
        )
    )
    session.flush()
    return token


def _is_over(row: SignIn, at: datetime) -> bool:
    return row.ends_at <= at or row.seen_at <= at - timedelta(minutes=row.idle_minutes)


def find(
    database: Database,
    token: str,
    *,
    at: datetime,
    by_itself: bool = False,
    beside: Sequence[ColumnElement[Any]] = (),
) -> Found | None:
    """The sign-in of this token, or None where it is unknown, over, or of an account switched off.

    `by_itself`: a page asks without anybody touching it, which is no use of the sign-in. `beside`: scalar subqueries
    that are answered in the same statement; they may name the Account.
    """
    if not token:
        return None
    with database.read() as session:
        both = select(SignIn, Account, *beside).join(Account, Account.id == SignIn.account_id)
        found_both = session.execute(both.where(SignIn.token == token_hash(token))).first()
        if found_both is None:
            return None
        row, account, *more = found_both
        if _is_over(row, at) or not account.active:
            return None
        found = Found(row.id, member_of(account), row.outstanding, row.second, tuple(more))
        seen_at = row.seen_at
    if not by_itself and at - seen_at >= _SEEN_EVERY:
        with database.write() as session:
            fresh = session.get(SignIn, found.sign_in_id)
            if fresh is not None:
                fresh.seen_at = at
    return found


def signed_in(database: Database, token: str, *, at: datetime, by_itself: bool = False) -> Member | None:
    """Whose token this is, once everything that is asked for at signing in was given; else None."""
    found = find(database, token, at=at, by_itself=by_itself)
    return found.member if found is not None and not found.outstanding else None


def hold(database: Database, sign_in_id: int, outstanding: str) -> None:
    """Let a sign-in do nothing until what is outstanding was given: the rules ask for more than they did."""
    with database.write() as session:
        row = session.get(SignIn, sign_in_id)
        if row is not None:
            row.outstanding = outstanding


def renew(session: Session, token: str, *, at: datetime, ends: Ends, second: str) -> str:
    """Put a sign-in under a new token once a second factor was given, with nothing outstanding (ASVS 5.0, 7.2.4).
    Raises LookupError where there is none."""
    row = session.scalar(select(SignIn).where(SignIn.token == token_hash(token)).with_for_update())
    if row is None:
        raise LookupError("This sign-in is over.")
    account_id, browser = row.account_id, row.browser
    session.delete(row)
    session.flush()
    return start_sign_in(session, account_id, at=at, ends=ends, browser=browser, second=second)


def end_sign_in(session: Session, token: str) -> None:
    """Sign out: the token is worth nothing from now on."""
    session.execute(delete(SignIn).where(SignIn.token == token_hash(token)))


def of_account(session: Session, account_id: int, *, at: datetime) -> Sequence[SignIn]:
    """The sign-ins of an account that are not over, the one used last first."""
    rows = session.scalars(
        select(SignIn).where(SignIn.account_id == account_id).order_by(SignIn.seen_at.desc(), SignIn.id.desc())
    )
    return [row for row in rows if not _is_over(row, at)]


def end_one(session: Session, account_id: int, sign_in_id: int) -> bool:
    """End this sign-in of this account. False where it was over, or is another's."""
    row = session.get(SignIn, sign_in_id)
    if row is None or row.account_id != account_id:
        return False
    session.delete(row)
    return True


def end_all(session: Session, account_id: int, *, besides: int | None = None) -> None:
    """End every sign-in of an account, except one."""
    found = delete(SignIn).where(SignIn.account_id == account_id)
    session.execute(found if besides is None else found.where(SignIn.id != besides))
