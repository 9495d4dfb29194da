"""What a request waits for: what approving it would do at this moment, and the reply that would go. Reads only, for a
page that is opened often; `previewing` looks at other decisions.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.proposals.types import Action, BallotOnRecord
from replacements.replies import wording
from replacements.replies.sources import Texts
from replacements.replies.texts import Rendered
from replacements.requests.carrying_out import live_ballot, words_of_reply
from replacements.requests.deciding import awaited, since_judged
from replacements.requests.office import InForce
from replacements.roll.stored import StoredRoll
from replacements.roll.types import Voter
from replacements.store.tables import Mailing, Packet, Request


@dataclass(frozen=True, slots=True)
class OnHand:
    """What whoever asks for a reply has looked up already: the request's voter, the number of the voter's live ballot
    ("" where there is none), the texts in force."""

    voter: Voter | None
    live_ballot: str
    texts: Texts


def reply_now(
    session: Session,
    request: Request,
    force: InForce,
    *,
    mailing_day: date,
    language: str = "",
    known: OnHand | None = None,
) -> Rendered | None:
    """The reply that approving would send at this moment. `mailing_day`: of the mailing that is open now.

    The draft that is kept with a request was written when its message came: its mailing may be gone since. Reads only.
    `language`: another than the message's, for whoever must read it first. Raises Refused where there is no text.
    """
    action = awaited(request)
    known = known or _looked_up(session, request, action)
    voter = known.voter
    by_post = action is Action.REISSUE or (action is Action.SEND_MATERIALS and voter is not None)
    return words_of_reply(
        session,
        request,
        force,
        action,
        voter,
        old_number=known.live_ballot if action is Action.REISSUE else "",
        mailing_day=mailing_day if by_post else None,
        stopped=_can_be_stopped(session, request) if action is Action.STOP_REISSUE and voter is not None else None,
        language=language,
        texts=known.texts,
    )


def _looked_up(session: Session, request: Request, action: Action) -> OnHand:
    voter = StoredRoll(session).voter(request.voter_id) if request.voter_id else None
    old = live_ballot(session, request.election_id, request.voter_id) if action is Action.REISSUE else None
    return OnHand(voter, old.number if old else "", wording.in_force(session))


def second_person_since(request: Request, force: InForce, present: BallotOnRecord | None) -> tuple[str, ...]:
    """Why a reissue needs two people by now, though nothing said so when the request was judged. `present`: the voter's
    present ballot."""
    if awaited(request) is not Action.REISSUE or request.two_people or not request.voter_id:
        return ()
    return tuple(reason.text for reason in since_judged(request, force, present))


def _can_be_stopped(session: Session, request: Request) -> bool:
    """Whether no replacement of this voter has left the open mailing."""
    gone = (
        select(Request.id)
        .join(Packet, Packet.ballot_number == Request.issued_ballot)
        .join(Mailing, Packet.mailing_id == Mailing.id)
        .where(
            Request.voter_id == request.voter_id,
            Request.id != request.id,
            Request.election_id == request.election_id,
            Request.state == "done",
            Packet.state != "pulled",
            Mailing.state != "open",
        )
    )
    return session.scalar(gone.limit(1)) is None
