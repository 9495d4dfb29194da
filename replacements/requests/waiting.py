"""Requests that wait for the voter's statement or details: reminded of once, and closed when the office's rules say so.

Counted from the day on which the question went out, in days of the office's calendar. Who has written again, whose
question never arrived, or whose reminder did not go out, is not closed by rule: a person sees the request.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from types import MappingProxyType
from typing import NamedTuple

from sqlalchemy import ColumnElement, Select, exists, func, or_, select, text
from sqlalchemy.orm import Session, aliased, load_only

from replacements.ballots import ledger
from replacements.proposals.types import Action
from replacements.replies import wording
from replacements.replies.texts import ReplyFacts, render
from replacements.requests import office
from replacements.requests.carrying_out import close_request
from replacements.requests.judging import UNDECIDED, is_on_file
from replacements.requests.office import InForce
from replacements.requests.replying import queue_reply
from replacements.roll.stored import StoredRoll
from replacements.roll.types import Voter
from replacements.rules.calendar import local, open_for_post
from replacements.rules.office import Rules, Wait
from replacements.store.database import Database
from replacements.store.tables import Message, Reply, Request

BY = "rules: waiting"  # who closes a request by rule, as the ledger names it
LAPSED = "lapsed"
WAITS_FOR: Mapping[str, str] = MappingProxyType(
    {Action.STATEMENT_FIRST.value: "statement", Action.ASK_IDENTITY.value: "details"}
)
SOON = timedelta(days=3)
LATELY = timedelta(days=7)
# Very many may wait: what judging found out and what replies say is not read to count them.
_IN_BRIEF = load_only(
    Request.election_id,
    Request.message_id,
    Request.voter_id,
    Request.state,
    Request.decision,
    Request.decided_at,
)
_LAPSED = text("requests.decision = 'lapsed'")


@dataclass(frozen=True, slots=True)
class Tended:
    """What one run did, in requests."""

    reminded: int = 0
    lapsed: int = 0


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one waiting request stands. `asked_on`: the office's day on which the question went out, None while it has
    not. `reminded_on`, `lapses_on`: None where it was not, or where nothing closes it by rule."""

    waits_for: str
    asked_on: date | None
    reminded_on: date | None
    lapses_on: date | None
    remind_on: date | None


@dataclass(frozen=True, slots=True)
class Overview:
    """For the supervisor: how many wait for an answer that has not come, how many of them were reminded, how many lapse
    within SOON, and how many lapsed LATELY. `by_rule`: the office's rules remind or close at all."""

    waiting: int
    reminded: int
    lapsing_soon: int
    lapsed_lately: int
    by_rule: bool


def tend(database: Database, *, now: datetime) -> Tended:
    """Remind and close what is due, each request in a transaction of its own and by the rules of its election. Safe to
    run twice, or in two processes.

    Does nothing under rules that no official has adopted, or where they say nothing of it, or in a closed election.
    """
    with database.read() as session:
        ids = [
            request.id
            for force in office.known(session, at=now)
            if _tends(force)
            for request in session.scalars(select(Request).where(*_waits(force.election_id)).order_by(Request.id))
        ]
    done = [_tend_one(database, request_id, now=now) for request_id in ids]
    return Tended(done.count("reminded"), done.count(LAPSED))


def _tends(force: InForce) -> bool:
    return force.adopted and force.closed is None and _by_rule(force.rules)


def standing(request: Request, rules: Rules, replies: Sequence[Reply], *, answered: bool) -> Standing | None:
    """Where a request stands; None where it does not wait for the voter. `replies`: all about it, oldest first;
    `answered`: what `answered` says of it."""
    sent = [Sent(r.template, r.queued_at, r.sent_at, r.returned_at) for r in replies if r.state != "cancelled"]
    return _standing(request, rules, _Known(sent, answered))


def _standing(request: Request, rules: Rules, known: _Known) -> Standing | None:
    waits_for = WAITS_FOR.get(request.decision or "") if request.state == "asked" else None
    if waits_for is None or request.decided_at is None:
        return None
    wait: Wait = getattr(rules.waiting, waits_for)
    question = known.went_out(request, request.decision or "")
    asked_on = local(rules, question).date() if question else None
    if asked_on is None or known.answered:
        return Standing(waits_for, asked_on, None, None, None)
    reminder = known.went_out(request, f"remind_{waits_for}")
    reminded_on = local(rules, reminder).date() if reminder else None
    remind_on = asked_on + timedelta(days=wait.remind_after_days) if wait.remind_after_days else None
    lapses_on = asked_on + timedelta(days=wait.lapse_after_days) if wait.lapse_after_days else None
    if lapses_on and wait.remind_after_days:  # a reminder that went out late leaves as much time to answer
        since = reminded_on or remind_on or asked_on
        lapses_on = max(lapses_on, since + timedelta(days=wait.lapse_after_days - wait.remind_after_days))
    return Standing(waits_for, asked_on, reminded_on, lapses_on, remind_on)


def lapsed_lately(election_id: str, *, now: datetime) -> Select[int]:
    """How many lapsed LATELY. The decision is written out: by it the database finds the index of those alone."""
    return (
        select(func.count())
        .select_from(Request)
        .where(Request.election_id == election_id, Request.decided_at >= now - LATELY, _LAPSED)
    )


def overview(session: Session, force: InForce, *, now: datetime, lapsed: int | None = None) -> Overview:
    """Count what waits for voters. `lapsed`: what `lapsed_lately` counts, where that is at hand. Reads only."""
    if lapsed is None:
        lapsed = session.scalar(lapsed_lately(force.election_id, now=now)) or 0
    today = local(force.rules, now).date()
    waiting = _known(session, *_waits(force.election_id))
    found = [_standing(request, force.rules, known) for request, known in waiting]
    return Overview(
        sum(1 for _, known in waiting if not known.answered),
        sum(1 for one in found if one and one.reminded_on),
        sum(1 for one in found if one and one.lapses_on and one.lapses_on <= today + SOON),
        lapsed,
        _by_rule(force.rules),
    )


def _by_rule(rules: Rules) -> bool:
    kinds = (rules.waiting.statement, rules.waiting.details)
    return any(wait.remind_after_days or wait.lapse_after_days for wait in kinds)


def _waits(election_id: str) -> tuple[ColumnElement[bool], ...]:
    return Request.election_id == election_id, Request.state == "asked", Request.decision.in_(tuple(WAITS_FOR))


class Sent(NamedTuple):
    """A reply that was written about a request and not cancelled."""

    template: str
    queued_at: datetime
    sent_at: datetime | None
    returned_at: datetime | None


@dataclass(frozen=True, slots=True)
class _Known:
    """What was written about a request, and whether the voter has answered."""

    sent: Sequence[Sent]  # oldest first
    answered: bool

    def newest(self, request: Request, template: str) -> Sent | None:
        """The newest reply of this text since the request was decided."""
        since = request.decided_at
        found = [one for one in self.sent if one.template == template and since and one.queued_at >= since]
        return found[-1] if found else None

    def went_out(self, request: Request, template: str) -> datetime | None:
        """When that reply went out; None where it has not, or came back undelivered."""
        reply = self.newest(request, template)
        return reply.sent_at if reply is not None and reply.returned_at is None else None


def answered() -> ColumnElement[bool]:
    """Whether the voter has answered a request, in a statement that asks for Request and its Message.

    A voter has answered with a letter that goes on with the request; so may have any letter of the same voter, or
    from the same address, that nobody has decided yet. What was filed (a receipt, a delay) or declined is no answer."""
    other, theirs = aliased(Request), aliased(Message)
    going_on = exists().where(other.continues == Request.id, other.state.not_in(("filed", "declined")))
    # Hidden in an expression: SQLite knows no sizes, and would read all undecided requests for each that it asks about.
    election, state = func.coalesce(other.election_id, ""), func.coalesce(other.state, "")
    undecided = election == Request.election_id, state.in_(("waiting", "second"))
    heard_of = exists().where(other.voter_id == Request.voter_id, other.voter_id != "", *undecided)
    same_sender = func.lower(theirs.sender) == func.lower(Message.sender)
    heard_from = exists().where(same_sender, theirs.sender != "", other.message_id == theirs.id, *undecided)
    return or_(going_on.correlate(Request), heard_of.correlate(Request), heard_from.correlate(Request, Message))


def _known(session: Session, *which: ColumnElement[bool]) -> list[tuple[Request, _Known]]:
    """Some requests, each in brief and with what is known of it. One statement, however many they are."""
    found: dict[int, tuple[Request, list[Sent], bool]] = {}
    rows = session.execute(
        select(Request, answered(), Reply.template, Reply.queued_at, Reply.sent_at, Reply.returned_at)
        .join(Message, Message.id == Request.message_id)
        .outerjoin(Reply, (Reply.request_id == Request.id) & (Reply.state != "cancelled"))
        .where(*which)
        .options(_IN_BRIEF)
        .order_by(Request.id, Reply.id)
    )
    for request, has_answered, template, queued_at, sent_at, returned_at in rows:
        sent = found.setdefault(request.id, (request, [], bool(has_answered)))[1]
        if template is not None:
            sent.append(Sent(template, queued_at, sent_at, returned_at))
    return [(request, _Known(sent, has_answered)) for request, sent, has_answered in found.values()]


def _tend_one(database: Database, request_id: int, *, now: datetime) -> str:
    """`reminded`, `lapsed`, or empty where nothing is due."""
    with database.write() as session:
        request = session.scalars(select(Request).where(Request.id == request_id).with_for_update()).first()
        force = office.of(session, request.election_id, at=now) if request is not None else None
        if request is None or force is None or not _tends(force):
            return ""
        (_, known), *_ = _known(session, Request.id == request.id)
        found = _standing(request, force.rules, known)
        if found is None or found.asked_on is None or known.answered:
            return ""
        today = local(force.rules, now).date()
        voter = StoredRoll(session).voter(request.voter_id) if request.voter_id else None
        reminder = known.newest(request, f"remind_{found.waits_for}")
        in_post_time = open_for_post(force.rules, now, overseas=bool(voter and voter.overseas))
        if found.remind_on and reminder is None and today >= found.remind_on and in_post_time:
            return _remind(session, request, force, found, voter, now=now)
        reminder_is_due = found.remind_on is not None and in_post_time
        if found.lapses_on and today >= found.lapses_on and (found.reminded_on or not reminder_is_due):
            return _lapse(session, request, force, found, voter, in_post_time=in_post_time, now=now)
        return ""


def _remind(
    session: Session, request: Request, force: InForce, found: Standing, voter: Voter | None, *, now: datetime
) -> str:
    wait: Wait = getattr(force.rules.waiting, found.waits_for)
    after = timedelta(days=wait.lapse_after_days - wait.remind_after_days)
    lapses_on = max(found.lapses_on, local(force.rules, now).date() + after) if found.lapses_on else None
    if not _write(session, request, force, f"remind_{found.waits_for}", voter, lapses_on=lapses_on, now=now):
        return ""
    _note(session, request, "request_reminded", found, now=now)
    return "reminded"


def _lapse(
    session: Session,
    request: Request,
    force: InForce,
    found: Standing,
    voter: Voter | None,
    *,
    in_post_time: bool,
    now: datetime,
) -> str:
    asked = f"Asked for the {found.waits_for} on {_day(found.asked_on)}"
    reminded = f", reminded on {_day(found.reminded_on)}" if found.reminded_on else ""
    close_request(request, "declined", LAPSED, BY, now, f"{asked}{reminded}, and not answered: closed by rule.")
    if local(force.rules, now).date() <= force.rules.election.date:  # afterwards nothing is left to advise
        _write(session, request, force, LAPSED, voter, waited_for=found.waits_for, open_=in_post_time, now=now)
    _note(session, request, "request_lapsed", found, now=now)
    return LAPSED


def _day(day: date | None) -> str:
    return f"{day:%B} {day.day}" if day else "a day that is not on record"


def _note(session: Session, request: Request, event: str, found: Standing, *, now: datetime) -> None:
    ledger.append(
        session,
        event=event,
        election_id=request.election_id,
        by=BY,
        at=now,
        voter_id=request.voter_id,
        details={"request": request.id, "waited_for": found.waits_for},
    )


def _write(
    session: Session,
    request: Request,
    force: InForce,
    template: str,
    voter: Voter | None,
    *,
    now: datetime,
    lapses_on: date | None = None,
    waited_for: str = "",
    open_: bool = True,
) -> bool:
    """Put a text into the outbox; False where nobody can be answered."""
    message = session.get_one(Message, request.message_id)
    if not message.sender or not request.judged.get("may_answer"):
        return False
    on_file = is_on_file(message.sender, voter) and voter is not None and not voter.protected
    rendered = render(
        template,
        request.language or "en",
        ReplyFacts(
            rules=force.rules,
            adopted=force.adopted,
            voter_name=voter.full_name if on_file and voter else "",
            on_file=on_file,
            missing=tuple(request.judged.get("missing", ())),
            cause=request.cause or "",
            overseas=bool(voter and voter.overseas),
            lapses_on=lapses_on,
            waited_for=waited_for,
            open_for_post=open_,
            names_election=force.several and request.judged.get("election_by") != UNDECIDED,
        ),
        texts=wording.in_force(session),
    )
    reply = queue_reply(session, request, force, message, rendered, seed=f"{request.id}/{request.version}", at=now)
    return reply is not None
