"""A judgement as the JSON object that other programs read (one per message; see `replacements rehearse --help`)."""

from __future__ import annotations

from typing import Any

from replacements.mail.letter import Notice
from replacements.proposals.types import Proposal
from replacements.replies.texts import Rendered
from replacements.requests.drafting import is_decided
from replacements.requests.judging import Asked, Judgement
from replacements.roll.explaining import Waterfall, waterfall
from replacements.roll.types import Candidate
from replacements.rules.calendar import local
from replacements.rules.office import Rules
from replacements.rules.transit import InTime

Json = dict[str, Any]


def as_json(judgement: Judgement, *, mail: str, rules: Rules, reply: tuple[Rendered, str] | None) -> Json:
    """`reply` is the drafted reply and the address it would go to."""
    letter, reading = judgement.letter, judgement.reading
    return {
        "mail": mail,
        "message_id": letter.message_id or None,
        "in_reply_to": list(letter.in_reply_to),
        "references": list(letter.references),
        "at": local(rules, letter.arrived).isoformat(),
        "language": reading.language,
        "kinds": [{"kind": k.kind.value, "p": round(k.p, 3), "because": list(k.because)} for k in reading.kinds],
        "requests": [_asked(a) for a in judgement.asked],
        "proposal": judgement.proposal.action.value if judgement.proposal else None,
        "reasons": reasons_json(judgement.proposal) if judgement.proposal else [],
        "topics": [t.value for t in reading.topics],
        "reply": reply_json(*reply) if reply else None,
        "withheld": list(letter.pictures),
        "notices": [notice_json(n) for n in judgement.notices],
    }


def unreadable(*, mail: str, at: str | None, why: str) -> Json:
    """The answer for bytes that cannot be read as a message at all."""
    return {
        "mail": mail,
        "message_id": None,
        "in_reply_to": [],
        "references": [],
        "at": at,
        "language": "und",
        "kinds": [],
        "requests": [],
        "proposal": "read",
        "reasons": [{"rule": "trade.unreadable", "text": "The message cannot be read; the raw message is kept."}],
        "topics": [],
        "reply": None,
        "withheld": [],
        "notices": [{"code": "unreadable", "text": why}],
    }


def reply_json(reply: Rendered, to: str) -> Json:
    return {
        "template": reply.template,
        "language": reply.language,
        "to": to,
        "subject": reply.subject,
        "text": reply.text,
    }


def notice_json(notice: Notice) -> Json:
    return {"code": notice.code, "text": notice.text}


def reasons_json(proposal: Proposal) -> list[Json]:
    return [{"rule": r.rule, "text": r.text} for r in proposal.reasons]


def candidate_json(candidate: Candidate) -> Json:
    return {
        "voter_id": candidate.voter.voter_id,
        "weight": round(candidate.weight, 1),
        "evidence": candidate.evidence,
        "weights": {name: round(weight, 1) for name, weight in candidate.weights.items()},
        "waterfall": waterfall_json(waterfall(candidate)),
    }


def waterfall_json(found: Waterfall) -> Json:
    """From the odds before anything was read to those after: bits that add up."""
    return {
        "prior": found.prior,
        "steps": [
            {"fact": s.field, "level": s.level, "words": s.words, "weight": s.weight, "after": s.after}
            for s in found.steps
        ],
        "result": found.result,
        "p": round(found.p, 4),
    }


def in_time_json(found: InTime | None) -> Json | None:
    if found is None:
        return None
    return {
        "mailed": found.mailed.isoformat(),
        "chance": round(found.chance, 3),
        "last_good_day": found.last_good_day.isoformat() if found.last_good_day else None,
        "destination": found.to.value,
    }


def _asked(asked: Asked) -> Json:
    voter = asked.who.voter
    return {
        "person": asked.person.name,
        "standing": asked.who.standing.value,
        "voter_id": voter.voter_id if voter else None,
        "p": round(asked.who.p, 4),
        "candidates": [candidate_json(c) for c in asked.who.candidates],
        "because": asked.who.because,
        "missing": list(asked.who.missing),
        "kinds": [k.value for k in asked.kinds],
        "cause": asked.cause.value if asked.cause else None,
        "proposal": asked.proposal.action.value,
        "two_people": asked.proposal.two_people,
        "reasons": reasons_json(asked.proposal),
        "in_time": in_time_json(asked.in_time),
        # where more than one is open; null: nobody can tell, and a person chooses
        **({"election": asked.place.election_id if is_decided(asked.place) else None} if asked.place else {}),
    }
