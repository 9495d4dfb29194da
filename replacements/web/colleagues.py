"""The people whom a request may be given to."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.people.permissions import Permission, may
from replacements.store.tables import Account


def deciders(session: Session) -> list[str]:
    """The names of the accounts in use that may decide requests, by the alphabet."""
    rows = session.execute(select(Account.name, Account.roles).where(Account.active).order_by(Account.name))
    return [name for name, roles in rows if may(roles, Permission.DECIDE)]
