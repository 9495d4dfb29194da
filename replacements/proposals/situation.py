"""Everything that a proposal rests on, in one value: what was asked, who asks, which ballot, which rules, when."""

from __future__ import annotations

from dataclasses import dataclass

from replacements.proposals.types import BallotOnRecord
from replacements.reading.types import Cause, Flag, Kind
from replacements.roll.types import Standing, Voter
from replacements.rules.office import Rules

WANTS_A_BALLOT = frozenset({Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED})
NEEDS_A_PERSON_KNOWN = WANTS_A_BALLOT | {Kind.ADDRESS_CHANGE, Kind.MISSING_MATERIALS}
BACK = ("returned", "accepted", "challenged")
OUT = ("issued", "undeliverable")
_ITS_STATE = (Cause.SPOILED, Cause.DAMAGED)  # causes that speak of a ballot in hand
SURE_ENOUGH = 0.6  # below this probability of the kind that decides, a person reads the message
# Asking once too often delays a voter, voiding a ballot on a misreading takes a vote away. Two in a hundred wishes for
# another ballot that are read with this probability are none; a person sees each. Where none does, more is asked.
SURE_ENOUGH_TO_VOID = 0.8
SURE_ENOUGH_ALONE = 0.95


@dataclass(frozen=True, slots=True)
class Situation:
    """One person's request (or a message about nobody, then `standing` is None), at one moment.

    `kinds` are the person's own; for a reply to the office's question they include what was asked before.
    `chance` is the chance (0 to 1) that a ballot in the next mailing is back in time, None where it was not computed.
    """

    rules: Rules
    kinds: dict[Kind, float]
    standing: Standing | None = None
    voter: Voter | None = None
    ballot: BallotOnRecord | None = None
    cause: Cause | None = None
    flags: frozenset[Flag] = frozenset()
    topics: tuple[str, ...] = ()
    own_request: bool = True
    relation: str = ""
    language: str = "en"
    sender_failed: bool = False
    hides_text: bool = False  # the message holds text that its reader is not shown
    too_long: bool = False  # only the beginning of the message was judged
    undated: bool = False  # nothing says when the message arrived
    nobody_to_answer: bool = False  # the message names no address to answer to
    another_place: bool = False  # besides the voter's own address it names one that is not on the record
    too_late: bool = False  # past the last moment to ask by mail
    chance: float | None = None
    mailed_long_ago: bool = True  # the packet has been out for as many days as the rules want before "not received"
    names_voided_ballot: bool = False  # quotes the number of a ballot that was replaced before
    earlier_open: int | None = None  # an earlier request of the same voter that is not decided yet
    replacement_waits: bool = False  # a replacement for this voter waits for a mailing that has not closed

    def asks(self, *kinds: Kind) -> bool:
        return any(k in self.kinds for k in kinds)

    @property
    def wants_ballot(self) -> bool:
        """A ballot is wanted: spoiled, never came, or a packet without one."""
        return bool(WANTS_A_BALLOT & self.kinds.keys()) or (
            Kind.MISSING_MATERIALS in self.kinds and Flag.BALLOT_MISSING in self.flags
        )

    @property
    def why_wanted(self) -> Cause:
        """The cause that the rules are asked for. Where several are named, one that wants a signed statement goes
        before the others: asking once too often delays a voter, asking too seldom voids a ballot on a mistake."""
        named: list[Cause] = [] if self.cause is None or self.cause is Cause.NOT_RECEIVED else [self.cause]
        if Kind.SPOILED_BALLOT in self.kinds and self.cause not in (Cause.SPOILED, Cause.DAMAGED):
            named.append(Cause.SPOILED)
        if not named or (Kind.NOT_RECEIVED in self.kinds and self.cause in (None, Cause.NOT_RECEIVED, *_ITS_STATE)):
            brought_back = self.ballot is not None and self.ballot.state == "undeliverable"
            named.append(Cause.UNDELIVERABLE if brought_back else Cause.NOT_RECEIVED)
        return next((cause for cause in named if self.rules.reason(cause.value).statement), named[0])

    @property
    def certain(self) -> bool:
        return self.standing is Standing.CERTAIN

    @property
    def known(self) -> bool:
        return self.standing in (Standing.CERTAIN, Standing.LIKELY)
