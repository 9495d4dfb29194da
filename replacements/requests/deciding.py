"""A person's decision on a request: one transaction that voids, issues, queues packet and reply, or does nothing.

Every function names the version of the request that the person saw. Who comes second gets `Stale`, with a text that
says so; what the rules or the ballot's state do not allow gets `Refused`. In both cases nothing has changed.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots import life
from replacements.mail.composing import thread_headers
from replacements.mailings.queue import open_mailing, pull, queue_packet
from replacements.proposals.types import Action
from replacements.replies import outbox
from replacements.replies.html_part import html_page
from replacements.replies.texts import NoText, Rendered, render
from replacements.requests import drafting, office
from replacements.requests.judging import NO_REPLY, is_on_file
from replacements.requests.office import InForce
from replacements.roll.stored import StoredRoll
from replacements.roll.types import Voter
from replacements.rules.transit import in_time
from replacements.store.database import Database
from replacements.store.tables import LIVE_STATES, Ballot, Mailing, Message, Packet, Reply, Request

OPEN = ("waiting", "second", "asked")
WAITS_FOR_VOTER = (Action.ASK_IDENTITY, Action.STATEMENT_FIRST)
NEEDS_VOTER = (Action.REISSUE, Action.SEND_MATERIALS, Action.STOP_REISSUE)
LONGEST_REPLY = 4000  # characters that a clerk may write into a reply


class Refused(Exception):
    """It cannot be done; the text says why and what to do. Nothing has changed."""


class Stale(Exception):
    """Somebody decided this request meanwhile. Nothing has changed."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a decision: the request's new state, a sentence for the person, and the new ballot, if one."""

    state: str
    text: str
    issued: str = ""


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
) -> Outcome:
    """Carry out what is proposed, or `action` / another `voter_id` instead (then `note` says why).

    A request that needs two people is first marked as agreed to by one; the second must be somebody else, with a role
    that the rules name. Raises Refused or Stale; then nothing has changed.
    """
    with database.write() as session:
        request, force = _open_request(session, request_id, version)
        chosen = action or Action(request.decision if request.state == "second" else request.proposal)
        voter = voter_id or request.voter_id
        changed = chosen.value != request.proposal or voter != request.voter_id
        if request.state == "second" and (chosen.value != request.decision or (voter_id or voter) != request.voter_id):
            raise Refused("Another person agreed to something else. Decline it, and decide anew.")
        if changed and request.state != "second" and not note.strip():
            raise Refused("This differs from what is proposed: say why in the note.")
        if chosen is Action.REISSUE and not force.adopted:
            raise Refused("No official has adopted the office's rules yet, so no ballot can be voided.")
        if chosen in NEEDS_VOTER and not voter:
            raise Refused("Choose the voter first: nobody is identified in this request.")
        if changed and chosen is Action.REISSUE:
            request.two_people = True  # a ballot voided against the proposal: two people look at it
        if request.two_people and chosen is Action.REISSUE:
            first = _second_person(request, force, by, roles, chosen, voter, note, at)
            if first is not None:
                return first
        request.voter_id = voter
        return _carry_out(session, request, force, chosen, by=by, at=at, note=note, reply_text=reply_text)


def decline(database: Database, request_id: int, *, version: int, by: str, at: datetime, note: str) -> Outcome:
    """Do nothing about a request, with the reason. No reply goes out by itself."""
    if not note.strip():
        raise Refused("Say in the note why the request is declined.")
    with database.write() as session:
        request, _ = _open_request(session, request_id, version)
        _close(request, "declined", "declined", by, at, note)
        return Outcome("declined", "Declined. Nothing was changed and no reply was sent.")


def take_back(database: Database, request_id: int, *, version: int, by: str, at: datetime, reason: str) -> Outcome:
    """Undo a reissue whose mailing has not closed: replacement cancelled, original reinstated, request open again."""
    if not reason.strip():
        raise Refused("Say why the reissue is taken back.")
    with database.write() as session:
        request = _locked(session, request_id)
        if request.version != version:
            raise Stale(_STALE)
        if request.issued_ballot is None or request.state != "done":
            raise Refused("This request has issued no ballot that could be taken back.")
        _undo_reissue(session, request, by=by, at=at, reason=reason)
        request.state, request.decision, request.decision_note = "waiting", None, f"Taken back: {reason.strip()}"
        request.first_by = request.decided_by = request.decided_at = None
        request.version += 1
        return Outcome("waiting", "Taken back: the first ballot is valid again, the replacement is cancelled.")


_STALE = "Somebody else decided this request while you were looking at it. Nothing of yours was carried out."


def _locked(session: Session, request_id: int) -> Request:
    request = session.scalars(select(Request).where(Request.id == request_id).with_for_update()).first()
    if request is None:
        raise Refused(f"There is no request {request_id}.")
    return request


def _open_request(session: Session, request_id: int, version: int) -> tuple[Request, InForce]:
    request = _locked(session, request_id)
    if request.version != version or request.state not in OPEN:
        raise Stale(_STALE)
    force = office.in_force(session)
    if force is None:
        raise Refused("No rules are loaded.")
    return request, force


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


def _close(request: Request, state: str, decision: str, by: str, at: datetime, note: str) -> None:
    request.state, request.decision = state, decision
    request.decision_note = note.strip() or request.decision_note
    request.decided_by, request.decided_at = by, at
    request.version += 1


def _carry_out(
    session: Session,
    request: Request,
    force: InForce,
    action: Action,
    *,
    by: str,
    at: datetime,
    note: str,
    reply_text: str | None,
) -> Outcome:
    voter = StoredRoll(session).voter(request.voter_id) if request.voter_id else None
    mailing_day: date | None = None
    new_number, stopped, old_number = "", None, ""
    text = "Done."
    if action is Action.REISSUE:
        old_number, new_number, mailing_day = _reissue(session, request, force, voter, by=by, at=at)
        text = f"Ballot {old_number} is void; ballot {new_number} goes into the mailing of {mailing_day:%A, %B %d}."
    elif action is Action.SEND_MATERIALS and voter is not None:
        mailing_day = _queue(session, request, force, voter, None, at=at)
        text = f"The materials go into the mailing of {mailing_day:%A, %B %d}. No ballot was voided."
    elif action is Action.STOP_REISSUE and voter is not None:
        stopped, text = _stop(session, request, voter, by=by, at=at)
    elif action is Action.DROP:
        text = "Filed. No reply goes out."
    elif action is Action.READ:
        text = "Marked as read by a person. No reply was sent by the service."
    state = "filed" if action is Action.DROP else "asked" if action in WAITS_FOR_VOTER else "done"
    _close(request, state, action.value, by, at, note)
    reply = _reply(
        session,
        request,
        force,
        action,
        voter,
        at=at,
        old_number=old_number,
        new_number=new_number,
        mailing_day=mailing_day,
        stopped=stopped,
        own_text=reply_text,
    )
    if reply is not None:
        text += f" The reply ({reply.template}) is on its way out."
    return Outcome(state, text, new_number)


def _reissue(
    session: Session, request: Request, force: InForce, voter: Voter | None, *, by: str, at: datetime
) -> tuple[str, str, date]:
    if voter is None:
        raise Refused("This voter is no longer on the roll. Choose the voter again.")
    live = session.scalars(
        select(Ballot).where(
            Ballot.election_id == force.election_id,
            Ballot.voter_id == voter.voter_id,
            Ballot.state.in_(LIVE_STATES),
        )
    ).first()
    if live is None:
        raise Refused("This voter has no live ballot that could be replaced.")
    open_mailing(session, election_id=force.election_id, rules=force.rules, at=at)  # locked before the ledger is
    try:
        new = life.reissue(
            session,
            number=live.number,
            cause=request.cause or "spoiled",
            by=by,
            at=at,
            prefix=force.rules.mailing.number_prefix,
            original=force.rules.replacements.original,
            details={"request": request.id} | ({"agreed_by": request.first_by} if request.first_by else {}),
        )
    except life.NotPossible as error:
        raise Refused(str(error)) from error
    session.flush()
    request.voided_ballot, request.issued_ballot = live.number, new.number
    return live.number, new.number, _queue(session, request, force, voter, new.number, at=at)


def _queue(
    session: Session, request: Request, force: InForce, voter: Voter, number: str | None, *, at: datetime
) -> date:
    packet = queue_packet(
        session,
        election_id=force.election_id,
        rules=force.rules,
        at=at,
        request_id=request.id,
        voter_id=voter.voter_id,
        ballot_number=number,
        contents=packet_contents(force, voter, with_ballot=number is not None),
    )
    return mailing_day_of(session, packet)


def packet_contents(force: InForce, voter: Voter, *, with_ballot: bool) -> list[str]:
    """What the rules put into a packet for this voter; materials alone are everything but the ballot."""
    contents = []
    for item in force.rules.mailing.contents:
        if "if required" in item:
            if not voter.id_required:
                continue
            item = item.replace("if required", "").strip()
        if item == "ballot" and not with_ballot:
            continue
        contents.append(item)
    return contents


def mailing_day_of(session: Session, packet: Packet) -> date:

    return session.get_one(Mailing, packet.mailing_id).goes_on


def _stop(session: Session, request: Request, voter: Voter, *, by: str, at: datetime) -> tuple[bool, str]:
    """Take back a replacement that still waits, and close the voter's other open requests for a ballot."""
    others = session.scalars(
        select(Request)
        .where(Request.voter_id == voter.voter_id, Request.id != request.id, Request.election_id == request.election_id)
        .with_for_update()
    ).all()
    stopped = True
    text = "No replacement was on its way; the voter's ballot stays as it is."
    for other in others:
        if other.state in OPEN and other.proposal in (Action.REISSUE.value, Action.STATEMENT_FIRST.value):
            _close(other, "declined", "withdrawn", by, at, f"Withdrawn by the voter (request {request.id}).")
            text = "The open request is closed; the voter's ballot stays as it is."
        elif other.state == "done" and other.issued_ballot is not None:
            try:
                _undo_reissue(session, other, by=by, at=at, reason=f"Withdrawn by the voter (request {request.id}).")
            except Refused:
                stopped = False
                text = "Too late to stop: the replacement is mailed, and the first ballot stays void."
            else:
                other.decision_note = f"Taken back: withdrawn by the voter (request {request.id})."
                other.state, other.decision = "declined", "withdrawn"
                other.version += 1
                stopped = True
                text = "The replacement is cancelled; the first ballot is valid again."
    return stopped, text


def _undo_reissue(session: Session, request: Request, *, by: str, at: datetime, reason: str) -> None:
    packet = session.scalars(
        select(Packet).where(Packet.ballot_number == request.issued_ballot, Packet.state == "queued").with_for_update()
    ).first()
    if packet is not None:
        pull(session, packet.id, by=by, at=at, reason=reason)
    try:
        life.take_back(session, replacement=request.issued_ballot or "", reason=reason, by=by, at=at)
    except life.NotPossible as error:
        raise Refused(str(error)) from error
    unsent = session.scalars(
        select(Reply).where(Reply.request_id == request.id, Reply.state.in_(("held", "queued"))).with_for_update()
    )
    for reply in unsent:
        reply.state = "cancelled"
    request.voided_ballot = request.issued_ballot = None


def _reply(
    session: Session,
    request: Request,
    force: InForce,
    action: Action,
    voter: Voter | None,
    *,
    at: datetime,
    old_number: str,
    new_number: str,
    mailing_day: date | None,
    stopped: bool | None,
    own_text: str | None,
) -> Reply | None:
    message = session.get_one(Message, request.message_id)
    judged = request.judged
    if action in NO_REPLY or not judged.get("may_answer") or not message.sender:
        return None
    chance = in_time(force.rules, mailing_day, overseas=bool(voter and voter.overseas)) if mailing_day else None
    try:
        rendered = render(
            action.value,
            judged.get("language", "en"),
            drafting.facts(
                voter=voter,
                on_file=is_on_file(message.sender, voter),
                rules=force.rules,
                adopted=force.adopted,
                in_time=chance,
                missing=tuple(judged.get("missing", ())),
                cause=request.cause or "",
                form=judged.get("form") or force.rules.address_change.form,
                old_number=old_number,
                new_number=new_number,
                mailing_day=mailing_day,
                stopped=stopped,
            ),
            topics=tuple(judged.get("topics", ())) if action is Action.ANSWER else (),
        )
    except NoText as error:
        raise Refused(f"There is no reviewed text for this: {error}. Choose another action.") from error
    if own_text is not None and own_text.strip() and own_text.strip() != rendered.text.strip():
        rendered = _edited(rendered, own_text)
    return queue_reply(session, request, force, message, rendered, seed=f"{request.id}/{request.version}", at=at)


def _edited(rendered: Rendered, own_text: str) -> Rendered:
    text = own_text.replace("\r\n", "\n").strip()
    if len(text) > LONGEST_REPLY:
        raise Refused(f"The reply is longer than {LONGEST_REPLY} characters.")
    page = html_page(text, subject=rendered.subject, language=rendered.language)
    return Rendered(rendered.template, rendered.language, rendered.subject, text, page)


def queue_reply(
    session: Session,
    request: Request,
    force: InForce,
    message: Message,
    rendered: Rendered,
    *,
    seed: str,
    at: datetime,
) -> Reply | None:
    """Put a reply to a request's message into the outbox, in the message's thread. None: no usable address."""
    thread = message.judgement or {}
    in_reply_to, references = thread_headers(
        message.message_id, tuple(thread.get("references", ())), tuple(thread.get("in_reply_to", ()))
    )
    try:
        return outbox.queue(
            session,
            election_id=force.election_id,
            request_id=request.id,
            rendered=rendered,
            to=message.sender,
            in_reply_to=in_reply_to,
            references=references,
            domain=force.rules.office.address.rpartition("@")[2],
            seed=f"{seed}/{rendered.template}",
            at=at,
        )
    except outbox.UnusableAddress:
        # A request is never held up by an address that cannot be answered; the request shows that no reply went.
        return None
