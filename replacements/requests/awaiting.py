"""What a request waits for: what approving it would do at this moment, and the reply that would go. Reads only, for a
page that is opened often; `previewing` looks at other decisions.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import ColumnElement, exists, func, select
from sqlalchemy.orm import Session, aliased

from replacements.proposals.types import Action, BallotOnRecord
from replacements.replies import wording
from replacements.replies.sources import Texts
from replacements.replies.texts import Rendered
from replacements.requests.carrying_out import live_ballot
from replacements.requests.deciding import awaited, since_judged
from replacements.requests.office import InForce
from replacements.requests.replying import words_of_reply
from replacements.roll.stored import StoredRoll
from replacements.roll.types import Voter
from replacements.store.tables import Mailing, Packet, Request


@dataclass(frozen=True, slots=True)
class OnHand:
    """What whoever asks for a reply has looked up already: the request's voter, the number of the voter's live ballot
    ("" where there is none), the texts in force; whether a replacement is `in_the_post` (None: not asked yet)."""

    voter: Voter | None
    live_ballot: str
    texts: Texts
    in_the_post: bool | None = None


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
    stopped = None
    if action is Action.STOP_REISSUE and voter is not None:
        gone = known.in_the_post
        if gone is None:
            gone = session.scalar(select(in_the_post()).select_from(Request).where(Request.id == request.id))
        stopped = not gone
    return words_of_reply(
        session,
        request,
        force,
        action,
        voter,
        old_number=known.live_ballot if action is Action.REISSUE else "",
        mailing_day=mailing_day if by_post else None,
        stopped=stopped,
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


def in_the_post() -> ColumnElement[bool]:
    """Whether a replacement of a request's voter has left the open mailing, in a statement that asks for Request."""
    other, packet, mailing = aliased(Request), aliased(Packet), aliased(Mailing)
    # Hidden in an expression: SQLite knows no sizes, and would read all that is done in the election.
    election, state = func.coalesce(other.election_id, ""), func.coalesce(other.state, "")
    gone = exists().where(
        other.voter_id == Request.voter_id,
        other.id != Request.id,
        election == Request.election_id,
        state == "done",
        packet.ballot_number == other.issued_ballot,
        packet.state != "pulled",
        mailing.id == packet.mailing_id,
        mailing.state != "open",
    )
    return gone.correlate(Request)
