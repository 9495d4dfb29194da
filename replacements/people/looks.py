"""Who looked at whose record: one line for a person, a voter and a quarter of an hour. The table is insert only, and
numbers stand in it, never names (OWASP ASVS 5.0, 16.3.2: access to sensitive data is logged without the data; 16.2.1:
who, when, what; 16.4.2: it cannot be changed).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, exists, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from replacements.store.database import Database
from replacements.store.tables import Look

ONCE_IN = timedelta(minutes=15)


def lately(
    account: InstrumentedAttribute[str],
    what: str,
    *,
    at: datetime,
    about: str = "",
    voter_id: ColumnElement[Any] | None = None,
) -> ColumnElement[bool]:
    """Whether a look of this account was kept within ONCE_IN: at this voter, else at what is called `about`."""
    same = Look.about == about if voter_id is None else Look.voter_id == voter_id
    return exists().where(Look.account == account, same, Look.what == what, Look.at > at - ONCE_IN)


def record(database: Database, *, account: str, what: str, about: str, at: datetime, voter_id: str | None) -> None:
    """Keep that somebody looked. Whether the same was kept `lately`, who calls has asked."""
    with database.write() as session:
        session.add(Look(account=account, what=what, about=about, why="", at=at, voter_id=voter_id))


def newest(
    session: Session, *, account: str = "", about: str = "", voter_id: str = "", skip: int = 0, most: int = 100
) -> Sequence[Look]:
    """The looks that fit, the newest first."""
    query = select(Look).order_by(Look.id.desc()).offset(skip).limit(most)
    for column, wanted in ((Look.account, account), (Look.about, about), (Look.voter_id, voter_id)):
        if wanted:
            query = query.where(column == wanted)
    return session.scalars(query).all()
