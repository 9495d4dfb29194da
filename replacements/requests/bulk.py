"""Clear cases, decided together on one page: who they are, what is shown of each, and one decision for each.

A case is clear where nothing at all speaks against it (`doubts`), and only then. Everything that is unsure stays with a
person who opens the request itself. Each is decided as it would be singly, in a transaction and with a version of its
own, and only while all that was shown of it still holds.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from typing import Any

from sqlalchemy import Select, exists, or_, select
from sqlalchemy.orm import Session, aliased

from replacements.mailings.addressing import Address
from replacements.proposals.situation import SURE_ENOUGH_ALONE
from replacements.proposals.types import Action
from replacements.reading.types import Kind
from replacements.requests import deciding, office
from replacements.requests.came_back import RULE as UNDELIVERED
from replacements.requests.carrying_out import Refused
from replacements.requests.deciding import since_judged
from replacements.requests.gathering import Facts, gather, gather_many, tied
from replacements.requests.holding import is_held
from replacements.requests.judging import UNDECIDED
from replacements.requests.office import InForce
from replacements.roll.types import Standing
from replacements.rules.calendar import open_for_post
from replacements.rules.transit import for_voter
from replacements.store.database import Database
from replacements.store.tables import Message, Request

AT_MOST = 25  # a page that one can still read with care
LOOKED_AT = 100  # requests that are looked at to fill it
TOGETHER = (Action.REISSUE, Action.ANSWER)
# A notice that says nothing about the request itself; whatever else is noticed, a person opens the request for.
HARMLESS = frozenset({"sender_unverified"})
MAILED = "issued"  # the state of a ballot that is out with its voter
LONGEST_SENTENCE = 240  # characters


@dataclass(frozen=True, slots=True)
class Case:
    """One clear case as it is shown. `agreed`: fact and how it agrees. `wrote`: one sentence of theirs. `address`: the
    lines that the packet goes to, none where nothing is mailed. `seen`: a digest of all this, to be decided on."""

    request_id: int
    version: int
    name: str
    voter_id: str
    agreed: tuple[tuple[str, str], ...]
    wrote: str
    language: str
    action: Action
    old_ballot: str
    mailed: date | None
    address: tuple[str, ...]
    reply_subject: str
    reply_text: str
    reply_language: str
    received_at: datetime
    seen: str = ""


@dataclass(frozen=True, slots=True)
class Ticked:
    """A case that a person left in: as it was shown to them."""

    request_id: int
    version: int
    seen: str


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one. `what`: done, changed (somebody or something was faster), refused. `text` says it."""

    request_id: int
    what: str
    text: str


def doubts(facts: Facts, *, by: str, at: datetime) -> list[str]:
    """Why this is no clear case for the account `by`, in words; nothing where it is one. Pure: reads no database."""
    request, judged, rules = facts.request, facts.request.judged, facts.force.rules
    kinds = {found["kind"]: found["p"] for found in (facts.message.judgement or {}).get("kinds", [])}
    reissue = request.proposal == Action.REISSUE
    overseas = bool(facts.voter and facts.voter.overseas)
    found = [
        (request.state != "waiting", "It does not wait for a clerk."),
        (is_held(request, at), "It is on hold."),
        (request.assigned_to not in (None, by), "It is with somebody else."),
        (bool(request.decision_note or request.first_by), "Somebody decided about it before."),
        (request.proposal not in TOGETHER, "What is proposed is not done together with others."),
        (request.standing != Standing.CERTAIN, "It is not certain whom it is about."),
        (facts.voter is None or facts.row is None or facts.row.number is None, "The voter is not on the present roll."),
        (facts.voter is not None and facts.voter.status != "active", "The voter is not active on the roll."),
        (facts.voter is not None and facts.voter.protected, "The voter's address is confidential."),
        (facts.voter is not None and facts.voter.id_required, "A copy of an identification is required."),
        (facts.roll_changed, "The roll changed about this voter since."),
        (request.two_people, "Two people must agree to it."),
        (facts.others > 0, "There is another open request of this voter, or of this message."),
        (judged.get("election_by") == UNDECIDED, "It is not decided which election it is about."),
        (judged.get("rules") != facts.force.sha256, "It was judged by other rules than those in force."),
        (not facts.force.adopted or facts.force.closed is not None, "The election's rules are not adopted, or closed."),
        (len(request.kinds) != 1, "The message asks for more than one thing, or nobody knows for what."),
        (set(request.kinds) != set(kinds), "The message asks for more than this request does."),
        (any(p < SURE_ENOUGH_ALONE for p in kinds.values()), "It is not sure what the message asks."),
        (facts.corrected, "Somebody said that the reading was wrong."),
        (bool(_notices(facts) - HARMLESS), "Something was noticed about the message."),
        (any(reason.get("rule") == UNDELIVERED for reason in request.reasons), "A reply came back undelivered."),
        (facts.letter is None, "The message cannot be shown."),
        (facts.letter is not None and bool(facts.letter.attachments), "Something is attached, and withheld."),
        (facts.letter is not None and not facts.letter.new_text.strip(), "The message has no text of its own."),
        (facts.reply is None, "No reply would go."),
        (at > rules.dates_for(overseas=overseas).return_by, "The election is over."),
        (not open_for_post(rules, at, overseas=overseas), "The last moment to ask by mail has passed."),
    ]
    if reissue:
        found += _doubts_of_reissue(facts)
    elif request.kinds and request.kinds != [Kind.QUESTION.value]:
        found.append((True, "It is no plain question."))
    return [text for doubtful, text in found if doubtful]


def _doubts_of_reissue(facts: Facts) -> list[tuple[bool, str]]:
    ballot, rules = facts.ballot, facts.force.rules
    chance = for_voter(rules, facts.mailed, facts.voter).chance
    return [
        (ballot is None or ballot.state != MAILED, "The voter's ballot is not out."),
        (ballot is not None and ballot.number != facts.request.judged.get("ballot"), "The voter's ballot is another."),
        (ballot is not None and ballot.replacements_before > 0, "The voter's ballot was replaced before."),
        (
            ballot is not None and bool(since_judged(facts.request, facts.force, ballot)),
            "Two people must agree by now.",
        ),
        (facts.request.cause is None, "The message does not say what happened."),
        (chance < rules.transit.threshold, "A new ballot would hardly be back in time."),
    ]


def _notices(facts: Facts) -> frozenset[str]:
    read = {notice["code"] for notice in (facts.message.judgement or {}).get("notices", [])}
    return frozenset(read | {notice.code for notice in (facts.letter.notices if facts.letter else ())})


def clear_cases(
    session: Session,
    force: InForce,
    *,
    by: str,
    at: datetime,
    mailed: date,
    elections: Sequence[InForce] | None = None,
) -> list[Case]:
    """The clear cases of an election, oldest first, AT_MOST of them. `mailed`: the day of the mailing that is open.
    `elections`: those that are offered at that moment, where they are at hand."""
    elections = office.offered(session, at=at) if elections is None else elections
    found: list[Case] = []
    likely = session.execute(_likely(force.election_id, by, at)).all()
    # `_likely` has left out whatever is tied to another request.
    for facts in gather_many(session, likely, force, others={}, elections=elections, mailed=mailed):
        if not doubts(facts, by=by, at=at):
            found.append(shown(facts))
        if len(found) == AT_MOST:
            break
    return found


def _likely(election_id: str, by: str, at: datetime) -> Select[Request, Message]:
    """What may be clear, as far as the tables can tell quickly; `doubts` decides."""
    other = aliased(Request)
    others = exists().where(other.id != Request.id, tied(other, Request))
    return (
        select(Request, Message)
        .join(Message, Request.message_id == Message.id)
        .where(
            Request.election_id == election_id,
            Request.state == "waiting",
            Request.standing == Standing.CERTAIN.value,
            Request.proposal.in_([action.value for action in TOGETHER]),
            Request.two_people.is_(False),
            Request.decision_note.is_(None),
            or_(Request.assigned_to.is_(None), Request.assigned_to == by),
            or_(Request.held_until.is_(None), Request.held_until <= at),
            ~others,
        )
        .order_by(Request.received_at, Request.id)
        .limit(LOOKED_AT)
    )


def shown(facts: Facts) -> Case:
    """The case as a page shows it."""
    request, judged = facts.request, facts.request.judged
    reissue = request.proposal == Action.REISSUE
    phrases = [
        phrase for found in (facts.message.judgement or {}).get("kinds", []) for phrase in found.get("because", [])
    ]
    candidate: dict[str, Any] = next((c for c in judged.get("candidates", []) if c["voter_id"] == request.voter_id), {})
    address = Address.of(facts.row) if facts.row is not None and reissue else None
    case = Case(
        request_id=request.id,
        version=request.version,
        name=facts.voter.full_name if facts.voter else "",
        voter_id=request.voter_id or "",
        agreed=tuple(candidate.get("evidence", {}).items()),
        wrote=sentence(facts.letter.new_text if facts.letter else "", phrases),
        language=request.language or "",
        action=Action(request.proposal),
        old_ballot=facts.ballot.number if facts.ballot and reissue else "",
        mailed=facts.mailed if reissue else None,
        address=_lines(address) if address else (),
        reply_subject=facts.reply.subject if facts.reply else "",
        reply_text=facts.reply.text if facts.reply else "",
        reply_language=facts.reply.language if facts.reply else "",
        received_at=request.received_at,
    )
    told = json.dumps(asdict(case), sort_keys=True, default=str)
    return replace(case, seen=hashlib.sha256(told.encode()).hexdigest())


def _lines(address: Address) -> tuple[str, ...]:
    place = " ".join(part for part in (address.city, address.state, address.zip) if part)
    return tuple(line for line in (address.name, address.street, address.unit, place, address.country) if line)


def sentence(text: str, phrases: Sequence[str]) -> str:
    """The sentence of a text that holds the first of these phrases, else its first one; white space as one space."""
    flat = " ".join(text.split())
    places = [flat.casefold().find(" ".join(phrase.split()).casefold()) for phrase in phrases if phrase.strip()]
    at = min((place for place in places if place >= 0), default=0)
    ends = [found.end() for found in _END.finditer(flat)]
    start = max((end for end in ends if end <= at), default=0)
    end = min((end for end in ends if end > at), default=len(flat))
    found = flat[start:end].strip()
    return found if len(found) <= LONGEST_SENTENCE else f"{found[:LONGEST_SENTENCE].rstrip()}…"


_END = re.compile(r"[.!?…]+[\"”’')]*\s+|[。！？]+")


def decide(
    database: Database,
    ticked: Sequence[Ticked],
    *,
    by: str,
    roles: Collection[str],
    at: datetime,
    mailing_day: Callable[[Session, InForce], date],
) -> list[Result]:
    """Approve each as if it were the only one: in its own transaction, with its own version, by `deciding.approve`.

    Each is looked at once more before: what is no clear case by now, or is not as it was shown, is left as it is.
    Raises Refused for more than AT_MOST; then nothing was decided. `mailing_day`: of the mailing that is open.
    """
    if len(ticked) > AT_MOST:
        raise Refused(f"At most {AT_MOST} requests are decided together.")
    return [
        _decide(database, one, by=by, roles=roles, at=at, mailing_day=mailing_day)
        for one in {one.request_id: one for one in ticked}.values()
    ]


def meanwhile(request: Request, by: str) -> str:
    """What became of a request that is not as it was shown to `by`, and through whom; no word of its voter."""
    if request.state == "second":
        return f"{_whoever(request.first_by, by)} agreed to it meanwhile, and a second person is awaited."
    if request.state == "waiting":
        return "It was changed meanwhile, and nobody has decided it. Look at it once more."
    who = _whoever(request.decided_by, by)
    if request.state == "declined":
        return f"{who} declined it meanwhile."
    if request.state == "asked":
        return f"{who} asked the voter for more meanwhile."
    if request.state == "done" and request.issued_ballot:
        return (
            f"{who} approved it meanwhile: ballot {request.voided_ballot} is replaced by ballot "
            f"{request.issued_ballot}. It was done once."
        )
    return f"{who} dealt with it meanwhile. It was done once."


def _whoever(account: str | None, by: str) -> str:
    return "You" if account == by else account or "Somebody"


def _decide(
    database: Database,
    one: Ticked,
    *,
    by: str,
    roles: Collection[str],
    at: datetime,
    mailing_day: Callable[[Session, InForce], date],
) -> Result:
    with database.read() as session:
        request = session.get(Request, one.request_id)
        force = office.of(session, request.election_id, at=at) if request is not None else None
        if request is None or force is None:
            return Result(one.request_id, "refused", "There is no such request, or no rules are loaded.")
        if request.version != one.version or request.state != "waiting":
            return Result(one.request_id, "changed", meanwhile(request, by))
        message = session.get_one(Message, request.message_id)
        facts = gather(session, request, message, force, at=at, mailed=mailing_day(session, force))
        against = doubts(facts, by=by, at=at)
        if against:
            return Result(one.request_id, "refused", " ".join(against))
        if shown(facts).seen != one.seen:
            return Result(one.request_id, "changed", "What was shown of it is no longer so. Look at it once more.")
    try:
        outcome = deciding.approve(database, one.request_id, version=one.version, by=by, roles=roles, at=at)
    except deciding.Stale:  # in this very moment
        with database.read() as session:
            return Result(one.request_id, "changed", meanwhile(session.get_one(Request, one.request_id), by))
    except Refused as refused:
        return Result(one.request_id, "refused", str(refused))
    if outcome.state == "second":
        return Result(one.request_id, "refused", "A second person must agree by now: your approval is noted.")
    return Result(one.request_id, "done", outcome.text)
