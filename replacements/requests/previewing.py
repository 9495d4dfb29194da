"""What a decision would do and which reply would go, before anybody decides.

The decision is carried out as it would be, looked at, and undone: what is shown cannot differ from what is done by
more than what others decide meanwhile.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select

from replacements.proposals.types import Action
from replacements.requests import office
from replacements.requests.carrying_out import Refused, carry_out
from replacements.requests.deciding import refuse_impossible, since_judged
from replacements.requests.records import StoredBallots
from replacements.store.database import Database
from replacements.store.tables import Message, Reply, Request


@dataclass(frozen=True, slots=True)
class Preview:
    """The reply that would go (`to` is empty where none would), and whether a second person would have to agree."""

    to: str
    subject: str
    text: str
    language: str
    two_people: bool


class _Undo(Exception):
    """No mistake: the way out of a transaction that must leave nothing behind."""

    def __init__(self, preview: Preview) -> None:
        self.preview = preview


def preview(
    database: Database, request_id: int, *, by: str, at: datetime, action: Action, voter_id: str | None = None
) -> Preview:
    """Look at a decision without taking it. Raises Refused where it could not be taken."""
    try:
        with database.write() as session:
            request = session.get(Request, request_id)
            force = office.of(session, request.election_id, at=at) if request is not None else None
            if request is None or force is None:
                raise Refused("There is no such request, or no rules are loaded.")
            about = voter_id or request.voter_id
            differs = action.value != request.proposal or about != request.voter_id
            refuse_impossible(session, request, force, action, about)
            request.voter_id = about
            ballots = StoredBallots(session, force.election_id)
            present = ballots.present(request.voter_id) if request.voter_id else None
            two_people = action is Action.REISSUE and (
                request.two_people or differs or bool(since_judged(request, force, present))
            )
            newest = session.scalar(select(Reply.id).order_by(Reply.id.desc()).limit(1)) or 0
            message = session.get_one(Message, request.message_id)
            carry_out(session, request, message, force, action, by=by, at=at, note="", reply_text=None)
            session.flush()
            reply = session.scalars(
                select(Reply).where(Reply.request_id == request_id, Reply.id > newest).order_by(Reply.id.desc())
            ).first()
            shown = (reply.to, reply.subject, reply.text, reply.language) if reply else ("", "", "", "")
            raise _Undo(Preview(*shown, two_people=two_people))
    except _Undo as undo:
        return undo.preview
