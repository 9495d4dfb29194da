"""What was reissued: old number, new number, why, in which mailing, and how it stands."""

from __future__ import annotations

from flask import Blueprint, render_template
from sqlalchemy import func, select, text
from sqlalchemy.orm import aliased, load_only

from replacements.people.permissions import Permission
from replacements.store.tables import Ballot, Mailing, Packet, Request
from replacements.web.guard import here, leaf, needs, office

blueprint = Blueprint("reissued", __name__, url_prefix="/reissued")
A_PAGE = 100
# Its words are written out, so that SQLite sees that an index of packets has just these.
_PACKET = (Packet.ballot_number == Ballot.number) & text("packets.state <> 'pulled'")


@blueprint.get("/")
@needs(Permission.SEE_REQUESTS)
def page() -> str:
    number = leaf()
    with office().database.read() as session:
        reissued = (Ballot.election_id == here().election_id) & Ballot.replaces.is_not(None)
        total = session.scalar(select(func.count()).select_from(Ballot).where(reissued))
        # Sorted are numbers alone; the rows of one page are read whole.
        on_page = session.scalars(
            select(Ballot.number)
            .outerjoin(Packet, _PACKET)
            .outerjoin(Mailing, Packet.mailing_id == Mailing.id)
            .where(reissued)
            .order_by(Mailing.goes_on.desc(), Ballot.number.desc())
            .offset((number - 1) * A_PAGE)
            .limit(A_PAGE)
        ).all()
        old = aliased(Ballot)
        found = session.execute(
            select(Ballot, old, Request, Packet, Mailing)
            .join(old, Ballot.replaces == old.number)
            .outerjoin(Request, Request.issued_ballot == Ballot.number)
            .outerjoin(Packet, _PACKET)
            .outerjoin(Mailing, Packet.mailing_id == Mailing.id)
            .where(Ballot.number.in_(on_page))
            .options(load_only(Mailing.goes_on))  # a manifest has a line of each packet
        ).all()
        turn = {ballot: place for place, ballot in enumerate(on_page)}
        rows = sorted(found, key=lambda row: turn[row[0].number])
        return render_template("reissued.html", rows=rows, total=total or 0, number=number, a_page=A_PAGE)
