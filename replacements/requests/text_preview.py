"""How a reply reads with one text: filled for the newest request that it would go to, or for an invented voter.

Reads only; nothing of a request is changed, and whoever may not see voters' data gets the invented voter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlalchemy import ColumnElement, and_, select
from sqlalchemy.orm import Session

from replacements.proposals.types import Action
from replacements.replies.html_part import blocks_of
from replacements.replies.samples import example, using
from replacements.replies.sources import Texts
from replacements.replies.texts import ReplyFacts, context_of, fill_whole
from replacements.requests import drafting
from replacements.requests.judging import is_on_file
from replacements.requests.office import InForce
from replacements.roll.stored import StoredRoll
from replacements.rules.calendar import next_mailing
from replacements.rules.transit import for_voter
from replacements.store.tables import OPEN_STATES, Mailing, Message, Packet, Request

LATEST = 200  # requests that are looked through
_ASKED = {"remind_statement": Action.STATEMENT_FIRST, "remind_details": Action.ASK_IDENTITY}


@dataclass(frozen=True, slots=True)
class Shown:
    """A reply as it would go. `blocks`: its HTML without a page around it. `request_id`: None for an invented voter."""

    template: str
    subject: str
    text: str
    blocks: str
    request_id: int | None


def shown(session: Session, force: InForce, language: str, name: str, texts: Texts, *, personal: bool) -> Shown | None:
    """Fill a reply that this text is part of; None where no reply uses it. Raises what a broken text raises."""
    replies = using(language, name, texts)
    if not replies:
        return None
    for template in replies if personal else ():
        request = _newest(session, force.election_id, template, language)
        if request is not None:
            return _filled(template, language, _facts(session, force, request, template), texts, request.id)
    return _filled(replies[0], language, replace(example(force.rules), adopted=force.adopted), texts, None)


def _filled(template: str, language: str, facts: ReplyFacts, texts: Texts, request_id: int | None) -> Shown:
    rendered = fill_whole([template], language, context_of(facts, language), texts)
    return Shown(template, rendered.subject, rendered.text, blocks_of(rendered.text), request_id)


def _newest(session: Session, election_id: str, template: str, language: str) -> Request | None:
    """The newest request that this reply would go to, or went to; rather one in its language, rather an open one."""
    found: Sequence[Request] = session.scalars(
        select(Request)
        .where(Request.election_id == election_id, _concerns(template))
        .order_by(Request.id.desc())
        .limit(LATEST)
    ).all()
    if template.startswith("answer/"):
        topic = template.removeprefix("answer/")
        found = [request for request in found if topic in request.judged.get("topics", ())]
    return min(
        found,
        key=lambda r: (r.language != language, r.state not in OPEN_STATES, -r.id),
        default=None,
    )


def _concerns(template: str) -> ColumnElement[bool]:
    if template == "mailed":
        return and_(Request.state == "done", Request.issued_ballot.is_not(None))
    if template in _ASKED:
        return Request.decision == _ASKED[template].value
    if template == "lapsed":
        return Request.decision.in_(("lapsed", *(action.value for action in _ASKED.values())))
    action = template.partition("/")[0]
    return (Request.proposal == action) | (Request.decision == action)


def _facts(session: Session, force: InForce, request: Request, template: str) -> ReplyFacts:
    voter = StoredRoll(session).voter(request.voter_id) if request.voter_id else None
    message = session.get_one(Message, request.message_id)
    goes_on = session.scalar(
        select(Mailing.goes_on)
        .join(Packet, Packet.mailing_id == Mailing.id)
        .where(Packet.request_id == request.id)
        .order_by(Packet.id.desc())
    ) or next_mailing(force.rules, request.received_at)
    facts = drafting.facts(
        voter=voter,
        on_file=is_on_file(message.sender, voter),
        rules=force.rules,
        adopted=force.adopted,
        in_time=for_voter(force.rules, goes_on, voter),
        missing=tuple(request.judged.get("missing", ())),
        cause=request.cause or "",
        form=request.judged.get("form") or force.rules.address_change.form,
        old_number=request.voided_ballot or str(request.judged.get("ballot", "")),
        new_number=request.issued_ballot or "",
        mailing_day=goes_on,
    )
    waited = "statement" if request.decision == Action.STATEMENT_FIRST.value else "details"
    return replace(facts, waited_for=waited) if template == "lapsed" else facts
