"""A person says which election a request is about: it is judged anew by that election's rules, and nothing is decided.

Where a message is about several elections at once, each gets a request of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.ballots import ledger
from replacements.mail.letter import UnreadableMail
from replacements.requests import office
from replacements.requests.deciding import Refused, Stale
from replacements.requests.intake import letter_from, stored
from replacements.requests.judging import Judgement, Place
from replacements.requests.keeping import request_rows
from replacements.requests.office import InForce
from replacements.requests.which_election import PERSON, judge_among
from replacements.roll.stored import StoredRoll
from replacements.store.database import Database
from replacements.store.tables import Message, RawMail, Request

MAY_STILL = "waiting"  # the state in which a request may be put under another election
_JUDGED_ANEW = (
    "election_id", "standing", "voter_id", "kinds", "cause", "proposal", "reasons", "two_people", "judged",
    "language", "who_claimed", "who_p", "kind_claimed", "kind_p", "reply_draft",
)  # fmt: skip


def choose(
    database: Database, request_id: int, *, version: int, elections: Sequence[str], by: str, at: datetime
) -> list[int]:
    """Put a request under the election it is about, by id; of several, the others get requests of their own. Returns
    the ids of all. Raises Stale where somebody changed it meanwhile, Refused where it cannot be; then nothing changed.
    """
    with database.write() as session:
        request = session.scalars(select(Request).where(Request.id == request_id).with_for_update()).first()
        if request is None:
            raise Refused(f"There is no request {request_id}.")
        if request.version != version:
            raise Stale("Somebody else changed this request while you were looking at it. Nothing was changed.")
        if request.state != MAY_STILL:
            raise Refused("This request is no longer one that waits for a clerk; its election stays.")
        open_ = {force.election_id: force for force in office.offered(session, at=at)}
        chosen = list(dict.fromkeys(elections))
        if not chosen or not set(chosen) <= set(open_):
            raise Refused("Choose the election that this request is about, among those that are open.")
        was, asked = request.election_id, request.judged.get("asked", request.place)
        rows = [request]
        for place, election_id in enumerate(chosen):
            anew = _judged_anew(session, request, asked, open_[election_id], at)
            if place == 0:
                for name in _JUDGED_ANEW:
                    setattr(request, name, getattr(anew, name))
                request.version += 1
            else:
                anew.place = _free_place(session, request.message_id)
                anew.person, anew.continues = request.person, request.continues
                session.add(anew)
                rows.append(anew)
            session.flush()
        for row in rows:  # the ledger last, as everywhere
            ledger.append(
                session,
                event="election_chosen",
                election_id=row.election_id,
                by=by,
                at=at,
                voter_id=row.voter_id,
                details={"request": row.id, "was": was},
            )
        return [row.id for row in rows]


def _judged_anew(session: Session, request: Request, asked: int, force: InForce, at: datetime) -> Request:
    """The request as it would be if only this election were open. A message that cannot be read again keeps what a
    person was told of it."""
    message = session.get_one(Message, request.message_id)
    judgement = _judgement(session, message, force, at)
    place = Place(force.election_id, PERSON)
    row: Request | None = None
    if judgement is not None:
        judgement = replace(judgement, place=place, asked=tuple(replace(one, place=place) for one in judgement.asked))
        rows = request_rows(session, judgement, message, {force.election_id: force}, force)
        row = rows[asked] if asked < len(rows) else None
    if row is None:
        kept = {name: getattr(request, name) for name in (*_JUDGED_ANEW, "person")}
        kept["judged"] = {**request.judged, "election_by": PERSON, "rules": force.sha256}
        kept["election_id"] = force.election_id
        row = Request(message_id=message.id, received_at=request.received_at, state=MAY_STILL, **kept)
    row.judged = {**{name: value for name, value in row.judged.items() if name != "elections"}, "asked": asked}
    return row


def _judgement(session: Session, message: Message, force: InForce, at: datetime) -> Judgement | None:
    raw = session.get(RawMail, message.id)
    if raw is None:
        return None
    try:
        letter = letter_from(session, raw.raw, message, office.offered(session, at=at), force)
    except UnreadableMail:
        return None
    return judge_among(
        letter, roll=StoredRoll(session), elections=[stored(session, force)], at=min(letter.arrived, at), now=at
    )


def _free_place(session: Session, message_id: int) -> int:
    return (session.scalar(select(func.max(Request.place)).where(Request.message_id == message_id)) or 0) + 1
