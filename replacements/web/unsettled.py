"""What every page says until it is settled: mailings that are closed and that two people have not signed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select

from replacements.mailings.signing import valid_signatures
from replacements.store.tables import Mailing
from replacements.web.guard import here, office


@dataclass(frozen=True, slots=True)
class Unsigned:
    """A mailing that is closed and has not gone. `signed`: how many of its signatures count, 0 or 1."""

    id: int
    goes_on: date
    signed: int


def unsigned_mailings() -> list[Unsigned]:
    """Of whatever election, the oldest first. Nothing for who is not signed in."""
    if here().member is None:
        return []
    with office().database.read() as session:
        closed = session.scalars(select(Mailing).where(Mailing.state == "closed").order_by(Mailing.goes_on)).all()
        return [Unsigned(one.id, one.goes_on, len(valid_signatures(session, one))) for one in closed]
