"""What every page says until it is settled: mailings that are closed and that two people have not signed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.mailings.signing import valid_signatures
from replacements.store.tables import Election, Mailing
from replacements.web.guard import here, office


@dataclass(frozen=True, slots=True)
class Unsigned:
    """A mailing that is closed and has not gone. `signed`: how many of its signatures count, 0 or 1. `election`: its
    name, where it is not the one that the page speaks of."""

    id: int
    election: str
    goes_on: date
    signed: int


def unsigned_mailings() -> list[Unsigned]:
    """Of whatever election, the oldest first. Nothing for who is not signed in."""
    if here().member is None:
        return []
    with office().database.read() as session:
        closed = session.scalars(select(Mailing).where(Mailing.state == "closed").order_by(Mailing.goes_on)).all()
        return [
            Unsigned(one.id, _elsewhere(session, one), one.goes_on, len(valid_signatures(session, one)))
            for one in closed
        ]


def _elsewhere(session: Session, mailing: Mailing) -> str:
    if mailing.election_id == here().election_id:
        return ""
    return session.get_one(Election, mailing.election_id).name
