"""A reply of the office's own that came back undelivered: tied to its request, and put before a person.

A bounce is known by the Message-ID of what it returns, by what it answers, and at last by recipient and subject. It can
be forged, so it changes nothing but what people look at: no ballot, no packet, no reply.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.mail.letter import Letter, Returned
from replacements.proposals.types import Action
from replacements.store.tables import OPEN_STATES, Reply, Request

RULE = "trade.undelivered"  # what the reason rests on; pages find such requests by it
MOST_DAYS = 14  # after which recipient and subject alone tie no bounce to a reply


def note(session: Session, letter: Letter, row: Request, *, at: datetime) -> None:
    """Tie a bounce to the reply that it returns. `row` is the bounce's own request, new in this transaction.

    A voter who was asked something never got the question: that request waits for a person again. Where the request
    was decided, it stays so, and the bounce's own request waits for a person instead. A notice of delay is only tied.
    """
    returned = letter.returned
    reply = _reply(session, returned, letter.arrived) if returned is not None else None
    if returned is None or reply is None:
        return
    request: Request | None = None
    if reply.request_id is not None:  # the request is locked before its reply, as everywhere
        request = session.scalars(select(Request).where(Request.id == reply.request_id).with_for_update()).one()
        row.continues, row.election_id = request.id, request.election_id
    reply = session.scalars(
        select(Reply).where(Reply.id == reply.id).with_for_update().execution_options(populate_existing=True)
    ).one()
    if not returned.final or reply.returned_at is not None:
        return
    reply.returned_at, reply.returned_because, reply.returned_told = at, returned.reason, returned.told
    if request is not None and request.state in OPEN_STATES:
        _reopen(request, returned)
        return
    about = f"to request {request.id}" if request is not None else f"no. {reply.id}"
    row.state, row.proposal = "waiting", Action.READ.value
    row.reasons = [_reason(f"The office's reply {about} came back undelivered: {returned.reason}.")]


def _reopen(request: Request, returned: Returned) -> None:
    text = f"The office's reply came back undelivered: {returned.reason}. The voter has not read it."
    request.reasons = [*request.reasons, _reason(text)]
    request.version += 1
    if request.state == "asked":
        request.state, request.decision, request.decided_by, request.decided_at = "waiting", None, None, None


def _reason(text: str) -> dict[str, str]:
    return {"rule": RULE, "text": text}


def _reply(session: Session, returned: Returned, arrived: datetime) -> Reply | None:
    """The reply that came back: one that went out, or may have gone out before the program learned of it."""
    gone = Reply.attempts > 0
    for message_id in returned.message_ids:
        found = session.scalars(select(Reply).where(Reply.message_id == message_id, gone)).first()
        if found is not None:
            return found
    if not returned.recipients or not returned.subject:
        return None
    same = session.scalars(
        select(Reply)
        .where(
            func.lower(Reply.to).in_(returned.recipients),
            Reply.sent_at >= arrived - timedelta(days=MOST_DAYS),
            Reply.sent_at <= arrived + timedelta(hours=1),  # clocks of two servers differ
        )
        .order_by(Reply.returned_at.is_not(None), Reply.sent_at.desc(), Reply.id.desc())
        .limit(50)
    )
    return next((reply for reply in same if _bare(reply.subject) == _bare(returned.subject)), None)


def _bare(subject: str) -> str:
    """A subject without what programs put before it, and without regard to case and spaces."""
    text = " ".join(subject.split()).casefold()
    return re.sub(r"^(?:\s*(?:re|aw|sv|fwd?)\s*:\s*)+", "", text)
