"""Carrying out what was decided, in the caller's transaction: void, issue, queue packet and reply, stop, take back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots import ledger, life
from replacements.mailings.queue import contents_for, open_mailing, pull_waiting, put_into
from replacements.proposals.types import Action
from replacements.replies import outbox, wording
from replacements.requests.judging import NO_REPLY
from replacements.requests.office import InForce
from replacements.requests.replying import WAITS_FOR_VOTER, reply_to
from replacements.requests.replying import Refused as Refused
from replacements.roll.stored import StoredRoll
from replacements.roll.types import Voter
from replacements.store.tables import LIVE_STATES, OPEN_STATES, Ballot, Mailing, Message, Request

BY_POST = (Action.REISSUE, Action.SEND_MATERIALS)
BALLOT = "ballot"  # the entry of the packet's contents that materials alone go without


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a decision: the request's new state, a sentence for the person, and the new ballot, if one."""

    state: str
    text: str
    issued: str = ""


def close_request(request: Request, state: str, decision: str, by: str, at: datetime, note: str) -> None:
    """The decision on the request's row."""
    request.state, request.decision = state, decision
    request.decision_note = note.strip() or request.decision_note
    request.decided_by, request.decided_at = by, at
    request.version += 1


def carry_out(
    session: Session,
    request: Request,
    message: Message,
    force: InForce,
    action: Action,
    *,
    by: str,
    at: datetime,
    note: str,
    reply_text: str | None,
    ballot: str | None = None,
) -> Outcome:
    """Do it. `ballot` is the voter's ballot that the decision was made on: where another one is live by now, a reissue
    is refused, so that nobody voids a ballot that nobody looked at."""
    mailing_day: date | None = None
    new_number, stopped, old_number = "", None, ""
    text = "Done."
    # Read before anything is locked that a colleague's approval waits for.
    texts = wording.in_force(session) if action not in NO_REPLY else None
    mailing: Mailing | None = None
    if action in BY_POST:  # locked before the ballots and the ledger are; then the voter is read as of now
        mailing = open_mailing(session, election_id=force.election_id, rules=force.rules, at=at)
    voter = StoredRoll(session).voter(request.voter_id) if request.voter_id else None
    if mailing is not None and action is Action.REISSUE:
        old_number, new_number = _reissue(session, request, force, voter, ballot, mailing, by=by, at=at)
        mailing_day = mailing.goes_on
        text = f"Ballot {old_number} is void; ballot {new_number} goes into the mailing of {mailing_day:%A, %B %d}."
    elif mailing is not None and voter is not None:
        _queue(session, request, force, voter, None, mailing, at=at)
        mailing_day = mailing.goes_on
        text = f"The materials go into the mailing of {mailing_day:%A, %B %d}. No ballot was voided."
    elif action is Action.STOP_REISSUE and voter is not None:
        stopped, text = _stop(session, request, voter, by=by, at=at)
    elif action is Action.DROP:
        text = "Filed. No reply goes out."
    elif action is Action.READ:
        text = "Marked as read by a person. No reply was sent by the service."
    state = "filed" if action is Action.DROP else "asked" if action in WAITS_FOR_VOTER else "done"
    if old_number:
        request.voided_ballot, request.issued_ballot = old_number, new_number
    # What was decided stays under the rules that it was decided by, whatever is adopted later.
    request.judged = {**request.judged, "decided_by_rules": force.sha256}
    close_request(request, state, action.value, by, at, note)
    if state != "filed":
        _settle_earlier(session, request)
    said = reply_to(
        session,
        request,
        message,
        force,
        action,
        voter,
        at=at,
        old_number=old_number,
        new_number=new_number,
        mailing_day=mailing_day,
        stopped=stopped,
        own_text=reply_text,
        texts=texts,
    )
    return Outcome(state, f"{text} {said}".strip(), new_number)


def _settle_earlier(session: Session, request: Request) -> None:
    """The request that this one answers waits for the voter no longer: what they wrote was decided here."""
    number = request.continues
    while number is not None:
        earlier = session.scalars(select(Request).where(Request.id == number).with_for_update()).one()
        number = earlier.continues
        if earlier.state == "asked":
            earlier.state = "done"
            earlier.decision_note = earlier.decision_note or f"Answered in request {request.id}."
            earlier.version += 1


def live_ballot(session: Session, election_id: str, voter_id: str | None) -> Ballot | None:
    """The ballot of a voter that could still be counted, and that a reissue would replace."""
    if not voter_id:
        return None
    return session.scalars(
        select(Ballot).where(
            Ballot.election_id == election_id, Ballot.voter_id == voter_id, Ballot.state.in_(LIVE_STATES)
        )
    ).first()


def _reissue(
    session: Session,
    request: Request,
    force: InForce,
    voter: Voter | None,
    ballot: str | None,
    mailing: Mailing,
    *,
    by: str,
    at: datetime,
) -> tuple[str, str]:
    """The numbers of the ballot that is dead now, and of the one that waits in the mailing for the post."""
    if voter is None:
        raise Refused("This voter is no longer on the roll. Choose the voter again.")
    ballots = life.locked_of_voter(session, voter_id=voter.voter_id, election_id=force.election_id)
    live = next((ballot for ballot in ballots if ballot.state in LIVE_STATES), None)
    if live is None:
        raise Refused("This voter has no live ballot that could be replaced.")
    if ballot is not None and live.number != ballot:
        raise Refused("This voter's ballot was replaced in this very moment. Load the page again.")
    try:
        new = life.reissue(
            session,
            number=live.number,
            cause=request.cause or "spoiled",
            by=by,
            at=at,
            prefix=force.rules.mailing.number_prefix,
            original=force.rules.replacements.original,
            style=voter.style or live.style,
            details={"request": request.id, "rules": force.sha256}
            | ({"agreed_by": request.first_by} if request.first_by else {}),
            among=ballots,
        )
    except life.NotPossible as error:
        raise Refused(str(error)) from error
    _queue(session, request, force, voter, new.number, mailing, at=at)
    return live.number, new.number


def _queue(
    session: Session,
    request: Request,
    force: InForce,
    voter: Voter,
    number: str | None,
    mailing: Mailing,
    *,
    at: datetime,
) -> None:
    contents = [c for c in force.rules.mailing.contents if number is not None or c != BALLOT]
    put_into(
        session,
        mailing,
        at=at,
        request_id=request.id,
        voter_id=voter.voter_id,
        ballot_number=number,
        contents=contents_for(contents, id_required=voter.id_required),
    )


def _stop(session: Session, request: Request, voter: Voter, *, by: str, at: datetime) -> tuple[bool, str]:
    """Take back a replacement that still waits, and close the voter's other open requests for a ballot."""
    others = session.scalars(
        select(Request)
        .where(Request.voter_id == voter.voter_id, Request.id != request.id, Request.election_id == request.election_id)
        .with_for_update()
    ).all()
    stopped = True
    withdrawn: list[int] = []
    text = "No replacement was on its way; the voter's ballot stays as it is."
    for other in others:
        if other.state in OPEN_STATES and other.proposal in (Action.REISSUE.value, Action.STATEMENT_FIRST.value):
            close_request(other, "declined", "withdrawn", by, at, f"Withdrawn by the voter (request {request.id}).")
            withdrawn.append(other.id)
            text = "The open request is closed; the voter's ballot stays as it is."
        elif other.state == "done" and other.issued_ballot is not None:
            try:
                undo_reissue(session, other, by=by, at=at, reason=f"Withdrawn by the voter (request {request.id}).")
            except Refused:
                stopped = False
                text = "Too late to stop: the replacement is mailed, and the first ballot stays void."
            else:
                other.decision_note = f"Taken back: withdrawn by the voter (request {request.id})."
                other.state, other.decision = "declined", "withdrawn"
                other.version += 1
                withdrawn.append(other.id)
                stopped = True
                text = "The replacement is cancelled; the first ballot is valid again."
    for number in withdrawn:  # the ledger last: every row that is needed is locked by now
        ledger.append(
            session,
            event="request_withdrawn",
            election_id=request.election_id,
            by=by,
            at=at,
            voter_id=voter.voter_id,
            details={"request": number, "withdrawn_in": request.id},
        )
    return stopped, text


def undo_reissue(session: Session, request: Request, *, by: str, at: datetime, reason: str) -> None:
    """Cancel the replacement, reinstate the original, and keep back what was not said yet. Raises Refused."""
    number = request.issued_ballot or ""
    try:
        pull_waiting(session, number, by=by, at=at, reason=reason)
        life.take_back(session, replacement=number, reason=reason, by=by, at=at)
    except life.NotPossible as error:
        raise Refused(str(error)) from error
    outbox.cancel(session, request_ids=[request.id], at=at)
    request.voided_ballot = request.issued_ballot = None
