"""A person's decision on a request: one transaction that voids, issues, queues packet and reply, or does nothing.

Every function names the version of the request that the person saw. Who comes second gets `Stale`, with a text that
says so; what the rules or the ballot's state do not allow gets `Refused`. In both cases nothing has changed.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from replacements.proposals.table import too_many
from replacements.proposals.types import Action, BallotOnRecord, Because
from replacements.requests import office
from replacements.requests.carrying_out import Outcome, Refused, carry_out, close_request, undo_reissue
from replacements.requests.judging import NO_REPLY, UNDECIDED
from replacements.requests.office import InForce
from replacements.requests.records import StoredBallots
from replacements.requests.which_election import ABOUT_ONE, BALLOTS, NEXT
from replacements.store.database import Database
from replacements.store.tables import LIVE_STATES, OPEN_STATES, Ballot, Message, Request

__all__ = ["Outcome", "Refused", "Stale", "approve", "decline", "take_back"]

NEEDS_VOTER = (Action.REISSUE, Action.SEND_MATERIALS, Action.STOP_REISSUE)


class Stale(Exception):
    """Somebody decided this request meanwhile. Nothing has changed."""


def approve(
    database: Database,
    request_id: int,
    *,
    version: int,
    by: str,
    roles: Collection[str],
    at: datetime,
    action: Action | None = None,
    voter_id: str | None = None,
    note: str = "",
    reply_text: str | None = None,
    by_rule: bool = False,
) -> Outcome:
    """Carry out what is proposed, or `action` / another `voter_id` instead (then `note` says why).

    A request that needs two people is first marked as agreed to by one; the second must be somebody else, with a role
    that the rules name. `by_rule`: no person decides, so where two are needed it is Refused. Raises Refused or Stale;
    then nothing has changed.
    """
    with database.write() as session:
        request, message, force = _open_request(session, request_id, version, at)
        chosen = action or awaited(request)
        voter = voter_id or request.voter_id
        changed = chosen.value != request.proposal or voter != request.voter_id
        if request.state == "second" and (chosen.value != request.decision or (voter_id or voter) != request.voter_id):
            raise Refused("Another person agreed to something else. Decline it, and decide anew.")
        if changed and request.state != "second" and not note.strip():
            raise Refused("This differs from what is proposed: say why in the note.")
        refuse_impossible(session, request, force, chosen, voter)
        present = StoredBallots(session, force.election_id).present(voter) if voter else None
        if chosen is Action.REISSUE:
            if changed:
                request.two_people = True  # a ballot voided against the proposal: two people look at it
            _add_reasons(request, since_judged(request, force, present))
            if request.first_by and present and request.judged.get("ballot", present.number) != present.number:
                raise Refused("The voter's ballot was replaced after the first person agreed. Decline this request.")
        if request.two_people and chosen is Action.REISSUE:
            if by_rule:
                raise Refused("Two people must agree to this.")
            first = _second_person(request, force, by, roles, chosen, voter, note, at)
            if first is not None:
                if present is not None:  # the ballot that the first of the two looked at
                    request.judged = {**request.judged, "ballot": present.number}
                return first
        request.voter_id = voter
        return carry_out(
            session,
            request,
            message,
            force,
            chosen,
            by=by,
            at=at,
            note=note,
            reply_text=reply_text,
            ballot=present.number if present else None,
        )


def awaited(request: Request) -> Action:
    """What approving this request would do now: what one person agreed to already, else what is proposed."""
    return Action(request.decision if request.state == "second" and request.decision else request.proposal)


def refuse_impossible(session: Session, request: Request, force: InForce, action: Action, voter_id: str | None) -> None:
    """Raise Refused where this cannot be done by anybody: for a decision and for looking at one before. `force`: the
    rules of the request's own election."""
    if action is Action.REISSUE and not force.adopted:
        raise Refused("No official has adopted the office's rules yet, so no ballot can be voided.")
    if action in NEEDS_VOTER and not voter_id:
        raise Refused("Choose the voter first: nobody is identified in this request.")
    if force.closed is not None and action not in NO_REPLY:
        raise Refused(f"The election ({force.name}) was closed by {force.closed.by}. Decline the request.")
    if action in ABOUT_ONE and _which_is_open(session, request, force, voter_id):
        raise Refused("Choose first which election this is about: more than one is open, and nothing says which.")


def _which_is_open(session: Session, request: Request, force: InForce, voter_id: str | None) -> bool:
    """Whether a person must still say which election a request is about. What the ballots of one voter told says
    nothing of another voter, whom a person put in that one's place."""
    by = request.judged.get("election_by")
    if by == UNDECIDED:
        return True
    if by not in (BALLOTS, NEXT) or not voter_id or voter_id == request.voter_id:
        return False
    held = session.scalars(select(Ballot.election_id).where(Ballot.voter_id == voter_id, Ballot.state.in_(LIVE_STATES)))
    return bool(set(held) - {force.election_id})


def since_judged(request: Request, force: InForce, present: BallotOnRecord | None) -> list[Because]:
    """Why a reissue needs two people now, though nothing said so when the request was judged: what the voter's
    ballot is may have changed since, by another request or another letter."""
    if present is None:
        return []
    found = list(too_many(force.rules, present))
    if present.replacement_waits or request.judged.get("ballot", present.number) != present.number:
        text = "The voter's ballot was replaced after this request was judged."
        found.append(Because("trade.already_replaced", text))
    return found


def _add_reasons(request: Request, more: list[Because]) -> None:
    if more:
        request.two_people = True
    known = {reason["rule"] for reason in request.reasons}
    added = [{"rule": reason.rule, "text": reason.text} for reason in more if reason.rule not in known]
    if added:
        request.reasons = [*request.reasons, *added]


def decline(database: Database, request_id: int, *, version: int, by: str, at: datetime, note: str) -> Outcome:
    """Do nothing about a request, with the reason. No reply goes out by itself."""
    if not note.strip():
        raise Refused("Say in the note why the request is declined.")
    with database.write() as session:
        request, _, _ = _open_request(session, request_id, version, at)
        close_request(request, "declined", "declined", by, at, note)
        return Outcome("declined", "Declined. Nothing was changed and no reply was sent.")


def take_back(database: Database, request_id: int, *, version: int, by: str, at: datetime, reason: str) -> Outcome:
    """Undo a reissue whose mailing has not closed: replacement cancelled, original reinstated, request open again."""
    if not reason.strip():
        raise Refused("Say why the reissue is taken back.")
    with database.write() as session:
        request, _ = _locked(session, request_id)
        if request.version != version:
            raise Stale(_STALE)
        if request.issued_ballot is None or request.state != "done":
            raise Refused("This request has issued no ballot that could be taken back.")
        undo_reissue(session, request, by=by, at=at, reason=reason)
        request.state, request.decision, request.decision_note = "waiting", None, f"Taken back: {reason.strip()}"
        request.first_by = request.decided_by = request.decided_at = None
        request.version += 1
        return Outcome("waiting", "Taken back: the first ballot is valid again, the replacement is cancelled.")


_STALE = "Somebody else decided this request while you were looking at it. Nothing of yours was carried out."


# With the message, which the reply answers.
_LOCKED = (
    select(Request, Message)
    .join(Message, Message.id == Request.message_id)
    .where(Request.id == bindparam("request"))
    .with_for_update(of=Request)
)


def _locked(session: Session, request_id: int) -> tuple[Request, Message]:
    found = session.execute(_LOCKED, {"request": request_id}).first()
    if found is None:
        raise Refused(f"There is no request {request_id}.")
    request, message = found
    return request, message


def _open_request(session: Session, request_id: int, version: int, at: datetime) -> tuple[Request, Message, InForce]:
    """The request, locked, its message, and the rules of its election."""
    request, message = _locked(session, request_id)
    if request.version != version or request.state not in OPEN_STATES:
        raise Stale(_STALE)
    force = office.of(session, request.election_id, at=at)
    if force is None:
        raise Refused("No rules are loaded for this request's election.")
    return request, message, force


def _second_person(
    request: Request,
    force: InForce,
    by: str,
    roles: Collection[str],
    chosen: Action,
    voter: str | None,
    note: str,
    at: datetime,
) -> Outcome | None:
    """None where both have agreed and it can be carried out."""
    if request.first_by is None:
        request.first_by, request.decision, request.voter_id = by, chosen.value, voter
        request.decision_note = note.strip() or request.decision_note
        request.state = "second"
        request.version += 1
        return Outcome("second", "Noted. A second person must agree before anything is changed.")
    if request.first_by == by:
        raise Refused("You have agreed already; the second person must be somebody else.")
    if not set(roles) & set(force.rules.approval.second_by):
        raise Refused(f"The second approval is for: {', '.join(force.rules.approval.second_by)}.")
    return None
