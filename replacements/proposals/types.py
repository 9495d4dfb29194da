"""What the service proposes, as data."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Action(StrEnum):
    """What may be proposed. The names are an interface (`proposal` in the JSON)."""

    REISSUE = "reissue"
    STATEMENT_FIRST = "statement_first"
    COME_IN = "come_in"
    ALREADY_BACK = "already_back"
    NO_BALLOT_OUT = "no_ballot_out"
    SEND_MATERIALS = "send_materials"
    SEND_FORM = "send_form"
    ANSWER = "answer"
    ASK_IDENTITY = "ask_identity"
    STOP_REISSUE = "stop_reissue"
    READ = "read"
    DROP = "drop"


@dataclass(frozen=True, slots=True)
class BallotOnRecord:
    """A voter's present ballot, as far as a proposal needs it. `replacements_before` counts reissues to this voter."""

    number: str
    state: str
    style: str
    mailed_on: date | None
    replaces: str = ""
    replacements_before: int = 0
    replacement_waits: bool = False  # this ballot is a replacement whose mailing has not closed


@dataclass(frozen=True, slots=True)
class Because:
    """One reason, with the entry of the office's rules (or the rule of the trade) that it rests on."""

    rule: str
    text: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """What to do about one person's request, or about a message that concerns no voter."""

    action: Action
    reasons: tuple[Because, ...]
    two_people: bool = False
    topics: tuple[str, ...] = ()  # for ANSWER: the reviewed texts
    form: str = ""  # for SEND_FORM
    row: int = 0  # of the decision table, from 1
