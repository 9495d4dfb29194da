"""The trade's words for what the program calls by a code: in reasons, in the printed table, in lists of changes."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from types import MappingProxyType
from typing import TypedDict

from replacements.proposals.situation import Situation
from replacements.proposals.types import Action
from replacements.reading.types import Cause
from replacements.roll.types import Standing

ACTION: Mapping[Action, str] = MappingProxyType(
    {
        Action.REISSUE: "void the ballot and send a replacement",
        Action.STATEMENT_FIRST: "ask for a signed statement first",
        Action.COME_IN: "invite the voter to come in",
        Action.ALREADY_BACK: "say that the ballot is back already",
        Action.NO_BALLOT_OUT: "say that no ballot was issued",
        Action.SEND_MATERIALS: "send the missing piece",
        Action.SEND_FORM: "send the form that is needed",
        Action.ANSWER: "answer the question",
        Action.ASK_IDENTITY: "ask who is writing",
        Action.STOP_REISSUE: "stop the replacement",
        Action.READ: "a person reads it",
        Action.DROP: "file it, without an answer",
    }
)
# Each goes on after "the ballot", "a ballot that".
CAUSE: Mapping[Cause, str] = MappingProxyType(
    {
        Cause.SPOILED: "was mismarked",
        Cause.DAMAGED: "was damaged",
        Cause.NOT_RECEIVED: "never came",
        Cause.LOST: "was lost",
        Cause.STOLEN: "was stolen",
        Cause.UNDELIVERABLE: "was brought back by the post",
    }
)
STANDING: Mapping[Standing, str] = MappingProxyType(
    {
        Standing.CERTAIN: "one voter fits, far better than any other",
        Standing.LIKELY: "one voter fits best, but on thin evidence",
        Standing.UNCLEAR: "two or more voters fit",
        Standing.NONE: "nobody on the roll fits",
    }
)
STATE: Mapping[str, str] = MappingProxyType(
    {
        "issued": "is out",
        "undeliverable": "was brought back by the post",
        "returned": "came back",
        "accepted": "came back and was accepted",
        "challenged": "came back and its statement is incomplete",
        "suspended": "was replaced and counts only if it is back first",
        "voided": "is void",
    }
)
_LANGUAGES: Mapping[str, str] = MappingProxyType(
    {
        "ar": "Arabic", "de": "German", "en": "English", "es": "Spanish", "fr": "French", "hi": "Hindi",
        "ja": "Japanese", "ko": "Korean", "pt": "Portuguese", "ru": "Russian", "so": "Somali", "tl": "Tagalog",
        "und": "a language that was not recognised", "vi": "Vietnamese", "zh": "Chinese",
    }
)  # fmt: skip


class Told(TypedDict):
    """What a row's rule and text can name. `standing` is a sentence without its stop, `cause` and `state` go on after
    "the ballot"; `reason` is the name in `[reasons]` of the office's rules."""

    relation: str
    language: str
    standing: str
    earlier_open: str
    state: str
    cause: str
    reason: str
    last_request: str
    mailed_on: str
    wait_days: str


def told_of(s: Situation) -> Told:
    """The facts of a situation in words."""
    cause = s.why_wanted
    return {
        "relation": f" ({s.relation.replace('_', ' ')})" if s.relation else "",
        "language": _LANGUAGES.get(s.language, "another language"),
        "standing": STANDING[s.standing or Standing.NONE],
        "earlier_open": str(s.earlier_open or ""),
        "state": STATE[s.ballot.state] if s.ballot else "is not on record",
        "cause": CAUSE[cause],
        "reason": cause.value,
        "last_request": s.rules.last_request_text(overseas=bool(s.voter and s.voter.overseas)),
        "mailed_on": day(s.ballot.mailed_on) if s.ballot and s.ballot.mailed_on else "a day that is not on record",
        "wait_days": str(s.rules.reason(cause.value).wait_days),
    }


def day(at: date) -> str:
    """`October 5, 2026`"""
    return f"{at:%B} {at.day}, {at.year}"
