"""A judgement as rows: one request per person, or one for a message that concerns no voter."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from replacements.proposals.types import Action
from replacements.replies import wording
from replacements.replies.sources import Texts
from replacements.requests import answer, drafting
from replacements.requests.history import earlier_request, person_json
from replacements.requests.judging import Asked, Judgement, Place
from replacements.requests.office import InForce
from replacements.store.senders import account_of
from replacements.store.tables import Message, Request


def unreadable_request(message: Message, election_id: str, why: str, at: datetime) -> Request:
    """A request for a person, for a message that could not be read or judged."""
    return Request(
        election_id=election_id,
        message_id=message.id,
        mail_account=account_of(message.sender),
        place=0,
        kinds=[],
        proposal=Action.READ.value,
        reasons=[
            {"rule": "trade.unreadable", "text": f"The message could not be read: {why} The raw message is kept."}
        ],
        judged={},
        state="waiting",
        received_at=at,
    )


def request_rows(
    session: Session,
    judgement: Judgement,
    message: Message,
    elections: Mapping[str, InForce],
    default: InForce,
    texts: Texts | None = None,
) -> list[Request]:
    """The rows of a judged message, each with the election it is about. `elections`: those that are open, by id; where
    there is one only, it is the `default`. Machine mail is filed at once; everything else waits for a person. `texts`:
    those in force, where they are at hand."""
    if texts is None:
        texts = wording.in_force(session)
    if judgement.proposal is not None:
        force = _of(judgement.place, elections, default)
        reply = drafting.draft(judgement, force.rules, adopted=force.adopted, among=elections, texts=texts)
        filed = judgement.letter.machine is not None and judgement.proposal.action is Action.DROP
        return [
            Request(
                election_id=force.election_id,
                message_id=message.id,
                mail_account=account_of(message.sender),
                place=0,
                kinds=[k.kind.value for k in judgement.reading.kinds],
                proposal=judgement.proposal.action.value,
                reasons=answer.reasons_json(judgement.proposal),
                judged={
                    "topics": list(judgement.proposal.topics) or [t.value for t in judgement.reading.topics],
                    "form": judgement.proposal.form,
                    "may_answer": drafting.may_be_answered(judgement),
                    **_placed(judgement.place, force),
                },
                **_claimed(judgement),
                reply_draft=answer.reply_json(*reply) if reply else None,
                state="filed" if filed else "waiting",
                received_at=judgement.letter.arrived,
                # "I will bring it tomorrow" names nobody, and is an answer to what was asked all the same
                continues=None if judgement.letter.machine else earlier_request(session, judgement.letter, None),
            )
        ]
    return [
        _row(session, judgement, asked, place, message, _of(asked.place, elections, default), texts)
        for place, asked in enumerate(judgement.asked)
    ]


def _of(place: Place | None, elections: Mapping[str, InForce], default: InForce) -> InForce:
    return elections.get(place.election_id, default) if place is not None else default


def _placed(place: Place | None, force: InForce) -> dict[str, Any]:
    """By which rules it was judged, and, among several elections, what says that it is about this one."""
    found: dict[str, Any] = {"rules": force.sha256}
    if place is not None:
        found["election_by"] = place.by
    if place is not None and place.fits:
        found["elections"] = list(place.fits)
    return found


def _claimed(judgement: Judgement, asked: Asked | None = None) -> dict[str, Any]:
    """What is counted of a judgement, by column."""
    kinds = judgement.reading.kinds
    found: dict[str, Any] = {"language": judgement.reading.language}
    if kinds:
        found |= {"kind_claimed": kinds[0].kind.value, "kind_p": round(kinds[0].p, 3)}
    if asked is not None:
        candidates = asked.who.candidates
        found |= {"who_claimed": candidates[0].voter.voter_id if candidates else None, "who_p": round(asked.who.p, 4)}
    return found


def _row(
    session: Session,
    judgement: Judgement,
    asked: Asked,
    place: int,
    message: Message,
    force: InForce,
    texts: Texts,
) -> Request:
    voter = asked.who.voter
    reply = drafting.draft_for(
        judgement,
        asked,
        asked.proposal.action,
        force.rules,
        adopted=force.adopted,
        names_election=asked.place is not None and drafting.is_decided(asked.place),
        texts=texts,
    )
    return Request(
        election_id=force.election_id,
        message_id=message.id,
        mail_account=account_of(message.sender),
        place=place,
        person=asked.person.name,
        standing=asked.who.standing.value,
        voter_id=voter.voter_id if voter else None,
        kinds=[k.value for k in asked.kinds],
        cause=asked.cause.value if asked.cause else None,
        proposal=asked.proposal.action.value,
        reasons=answer.reasons_json(asked.proposal),
        two_people=asked.proposal.two_people,
        judged={
            "topics": list(asked.proposal.topics) or [t.value for t in judgement.reading.topics],
            "form": asked.proposal.form,
            "missing": list(asked.who.missing),
            "because": asked.who.because,
            "candidates": [answer.candidate_json(c) for c in asked.who.candidates],
            "in_time": answer.in_time_json(asked.in_time),
            **({"ballot": asked.ballot.number} if asked.ballot else {}),
            "person": person_json(asked.person),
            "may_answer": drafting.may_be_answered(judgement),
            **_placed(asked.place, force),
        },
        **_claimed(judgement, asked),
        reply_draft=answer.reply_json(reply, judgement.letter.sender.address) if reply else None,
        state="waiting",
        received_at=judgement.letter.arrived,
        continues=earlier_request(session, judgement.letter, voter.voter_id if voter else None),
    )
