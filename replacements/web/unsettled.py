"""What every page says until it is settled: mailings that are closed and that two people have not signed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from flask import g, request
from sqlalchemy import func, select
from sqlalchemy.orm import Session, defer

from replacements.store.tables import Mailing, Signature
from replacements.web.guard import here, office


@dataclass(frozen=True, slots=True)
class Unsigned:
    """A mailing that is closed and has not gone. `signed`: how many of its signatures count, 0 or 1. `election`: its
    name, where it is not the one that the page speaks of."""

    id: int
    election: str
    goes_on: date
    signed: int


def mailings(session: Session) -> Sequence[Mailing]:
    """The mailings of the elections that are open or looked at, and whatever is closed and has not gone; by their days.
    Looked up once for each look at a page, as it was then; anew where something is changed."""
    found: Sequence[Mailing] | None = g.get("mailings") if request.method == "GET" else None
    if found is None:
        looker = here()
        ids = {looker.election_id, *(force.election_id for force in looker.elections)}
        signed = (Signature.mailing_id == Mailing.id) & (Mailing.state == "closed")
        # Those that count, as in `signing.valid_signatures`, without a statement for each mailing. A manifest has a
        # line of each packet, and an election a mailing of each day: none is read here.
        counts = signed & (Signature.sha256 == Mailing.manifest["sha256"].as_string())
        query = select(Mailing, func.count(Signature.id)).outerjoin(Signature, counts)
        query = query.where((Mailing.state == "closed") | Mailing.election_id.in_(ids))
        query = query.group_by(Mailing.id).order_by(Mailing.goes_on, Mailing.id).options(defer(Mailing.manifest))
        g.signed = dict(session.execute(query).all())
        found = g.mailings = list(g.signed)
    return found


def unsigned_mailings() -> list[Unsigned]:
    """Of whatever election, the oldest first. Nothing for who is not signed in."""
    if here().member is None:
        return []
    with office().database.read() as session:
        closed = [one for one in mailings(session) if one.state == "closed"]
    return [Unsigned(one.id, _elsewhere(one), one.goes_on, g.signed[one]) for one in closed]


def _elsewhere(mailing: Mailing) -> str:
    if mailing.election_id == here().election_id:
        return ""
    return next((one.rules.election.name for one in here().every if one.election_id == mailing.election_id), "")
