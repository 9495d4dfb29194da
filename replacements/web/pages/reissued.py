"""What was reissued: old number, new number, why, in which mailing, and how it stands."""

from __future__ import annotations

from flask import Blueprint, render_template
from sqlalchemy import func, select
from sqlalchemy.orm import aliased

from replacements.people.permissions import Permission
from replacements.store.tables import Ballot, Mailing, Packet, Request
from replacements.web.guard import here, leaf, needs, office

blueprint = Blueprint("reissued", __name__, url_prefix="/reissued")
A_PAGE = 100


@blueprint.get("/")
@needs(Permission.SEE_REQUESTS)
def page() -> str:
    number = leaf()
    old = aliased(Ballot)
    query = (
        select(Ballot, old, Request, Packet, Mailing)
        .join(old, Ballot.replaces == old.number)
        .outerjoin(Request, Request.issued_ballot == Ballot.number)
        .outerjoin(Packet, (Packet.ballot_number == Ballot.number) & (Packet.state != "pulled"))
        .outerjoin(Mailing, Packet.mailing_id == Mailing.id)
        .where(Ballot.election_id == here().election_id)
    )
    with office().database.read() as session:
        total = session.scalar(
            select(func.count())
            .select_from(Ballot)
            .where(Ballot.election_id == here().election_id, Ballot.replaces.is_not(None))
        )
        rows = session.execute(
            query.order_by(Mailing.goes_on.desc(), Ballot.number.desc()).offset((number - 1) * A_PAGE).limit(A_PAGE)
        ).all()
        return render_template("reissued.html", rows=rows, total=total or 0, number=number, a_page=A_PAGE)
