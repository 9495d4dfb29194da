"""The rows of the decision table, in order: the first whose condition holds decides. An election lawyer can read them,
and `replacements rules table` prints them.

Each row names the rule it rests on: an entry of the office's rules (`reasons.lost.statement`) or a rule of the trade
(`trade.…`). Nothing here reads a clock or a database; see `situation.py` for what it is given.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from replacements.proposals.situation import (
    BACK,
    NEEDS_A_PERSON_KNOWN,
    OUT,
    SURE_ENOUGH,
    SURE_ENOUGH_TO_VOID,
    Situation,
)
from replacements.proposals.types import Action
from replacements.reading.types import Cause, Flag, Kind


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table. `condition` says `when` in words, on condition that no row above it holds. `rule` and
    `text` may use the fields of `words.Told`."""

    when: Callable[[Situation], bool]
    condition: str
    action: Action
    rule: str
    text: str


def _concerns_voting(s: Situation) -> bool:
    """Asks for something that can be proposed, whatever else it says."""
    return s.kinds.keys() != {Kind.OTHER}


def _one_sided(s: Situation) -> bool:
    """Wants a ballot and drops the wish in one message."""
    return Flag.CONFLICT in s.flags or (s.asks(Kind.WITHDRAWAL) and s.wants_ballot)


def _unsure(s: Situation) -> bool:
    deciding = [p for kind, p in s.kinds.items() if kind in NEEDS_A_PERSON_KNOWN or kind is Kind.WITHDRAWAL]
    return bool(deciding) and max(deciding) < SURE_ENOUGH


def _unsure_to_void(s: Situation) -> bool:
    return max((p for kind, p in s.kinds.items() if kind in NEEDS_A_PERSON_KNOWN), default=0.0) < SURE_ENOUGH_TO_VOID


def new_address(s: Situation) -> bool:
    return s.asks(Kind.ADDRESS_CHANGE) or (s.another_place and s.wants_ballot)


def _hopeless(s: Situation) -> bool:
    """Asked in time by law, but no post is quick enough."""
    return s.chance is not None and s.chance < 0.01


def _statement(s: Situation) -> bool:
    return s.rules.reason(s.why_wanted.value).statement


ROWS: tuple[Row, ...] = (
    # What must never be handled by rote comes first.
    Row(
        lambda s: Flag.THREAT in s.flags,
        "The message may be a threat",
        Action.READ,
        "trade.threat",
        "The message may be a threat: a person reads it at once.",
    ),
    Row(
        lambda s: Flag.COMMANDS_SOFTWARE in s.flags,
        "The message speaks to the software that reads it",
        Action.READ,
        "trade.content_is_content",
        "The message speaks to the software that reads it. Nothing in it is obeyed; a person looks at it.",
    ),
    Row(
        lambda s: s.asks(Kind.AUTOMATIC),
        "A machine sent the message",
        Action.DROP,
        "trade.machine_mail",
        "A machine sent this: it is filed and never answered.",
    ),
    Row(
        lambda s: s.sender_failed and _concerns_voting(s),
        "The sender fails authentication, and the message concerns voting",
        Action.READ,
        "identity.unverified_sender",
        "The sender failed authentication: somebody else may have written this in the voter's name.",
    ),
    Row(
        lambda s: s.hides_text and _concerns_voting(s),
        "The message holds text that its reader is not shown, and concerns voting",
        Action.READ,
        "trade.hidden_text",
        "The message holds text that a reader is not shown: a person looks at it before anything is done.",
    ),
    Row(
        lambda s: s.too_long and _concerns_voting(s),
        "The message is longer than what is judged, and concerns voting",
        Action.READ,
        "trade.too_long",
        "The message is so long that only its beginning was judged: a person reads it.",
    ),
    Row(
        lambda s: s.undated and _concerns_voting(s),
        "Nothing says when the message arrived, and it concerns voting",
        Action.READ,
        "trade.undated",
        "Nothing says when this message arrived, and every deadline is counted from that: a person looks at it.",
    ),
    Row(
        lambda s: s.nobody_to_answer and _concerns_voting(s),
        "The message names no sender, and concerns voting",
        Action.READ,
        "trade.no_sender",
        "The message names nobody to answer to: a person sees whether the voter can be reached another way.",
    ),
    Row(
        lambda s: Flag.MANY_PEOPLE in s.flags,
        "One sender writes about several voters",
        Action.READ,
        "who_may_ask",
        "One sender writes about several voters: a person reads the whole message.",
    ),
    Row(
        lambda s: not s.own_request,
        "Somebody else asks for the voter",
        Action.READ,
        "who_may_ask.helper",
        "Somebody else asks for this voter{relation}: nothing is done on another's word without the office's own rule.",
    ),
    Row(
        _one_sided,
        "The message asks for a ballot and takes that back",
        Action.READ,
        "trade.conflict",
        "The message both asks for a ballot and takes it back: a person reads it.",
    ),
    Row(
        lambda s: s.language not in s.rules.office.languages and bool(NEEDS_A_PERSON_KNOWN & s.kinds.keys()),
        "The wish concerns one voter, in a language that the office has no reviewed replies in",
        Action.READ,
        "office.languages",
        "Written in {language}, which the office has no reviewed replies in.",
    ),
    Row(
        _unsure,
        f"The wish concerns one voter, and is read with less certainty than {SURE_ENOUGH:.0%}",
        Action.READ,
        "trade.unsure",
        "What the message asks is not clear enough to propose anything.",
    ),
    # Taking a request back.
    Row(
        lambda s: (
            s.asks(Kind.WITHDRAWAL) and s.ballot is not None and bool(s.ballot.replaces) and not s.replacement_waits
        ),
        "A request is taken back, and its replacement is mailed already",
        Action.READ,
        "trade.withdrawal_too_late",
        "The replacement is already mailed and the first ballot is void: a person explains which one to use.",
    ),
    Row(
        lambda s: (
            s.asks(Kind.WITHDRAWAL)
            and s.asks(Kind.QUESTION)
            and bool(s.topics)
            and s.earlier_open is None
            and not s.replacement_waits
        ),
        "Another ballot is not wanted, none was asked for, and a question is asked that a reviewed text answers",
        Action.ANSWER,
        "trade.nothing_to_take_back",
        "No request of this voter waits to be taken back; the question is one that a reviewed text answers.",
    ),
    Row(
        lambda s: s.asks(Kind.WITHDRAWAL) and s.known,
        "A request is taken back, and the voter is known",
        Action.STOP_REISSUE,
        "trade.withdrawal",
        "The voter takes the request back before a replacement is mailed.",
    ),
    Row(
        lambda s: s.asks(Kind.WITHDRAWAL),
        "A request is taken back, by nobody who is known",
        Action.READ,
        "trade.withdrawal",
        "A request is taken back, but it is not clear whose: a person looks for it.",
    ),
    # A ballot is wanted.
    Row(
        lambda s: s.wants_ballot and not s.certain,
        "A ballot is wanted, and it is not certain who asks",
        Action.ASK_IDENTITY,
        "identity.with_name",
        "Not certain who writes: {standing}. The reply asks for what is missing, and nothing is changed.",
    ),
    Row(
        lambda s: s.wants_ballot and s.earlier_open is not None,
        "A ballot is wanted, and an earlier request of the same voter is not decided",
        Action.READ,
        "trade.one_reissue",
        "The same voter's request {earlier_open} is still open: decide both together, one ballot is replaced once.",
    ),
    Row(
        lambda s: s.wants_ballot and s.replacement_waits,
        "A ballot is wanted, and a replacement for the voter waits for its mailing",
        Action.READ,
        "trade.one_reissue",
        "A replacement for this voter already waits for the next mailing.",
    ),
    Row(
        lambda s: s.wants_ballot and s.ballot is None,
        "A ballot is wanted, and none was issued to the voter",
        Action.NO_BALLOT_OUT,
        "trade.no_ballot_out",
        "No ballot was issued to this voter in this election.",
    ),
    Row(
        lambda s: s.wants_ballot and s.ballot is not None and s.ballot.state in BACK,
        "A ballot is wanted, and the voter's ballot is returned, accepted or challenged",
        Action.ALREADY_BACK,
        "trade.already_back",
        "The record says that this voter's ballot {state}: it cannot be replaced.",
    ),
    Row(
        lambda s: s.wants_ballot and s.ballot is not None and s.ballot.state not in OUT,
        "A ballot is wanted, and the voter's ballot is neither out nor brought back by the post",
        Action.READ,
        "trade.ballot_state",
        "The record says that this voter's ballot {state}: a person decides.",
    ),
    Row(
        lambda s: s.wants_ballot and Flag.BALLOT_ALREADY_SENT in s.flags,
        "A ballot is wanted, and the writer says that the first is on its way back",
        Action.READ,
        "trade.ballot_on_its_way",
        "The writer says that the ballot is already on its way back: voiding it could take away the vote.",
    ),
    Row(
        lambda s: s.wants_ballot and Flag.SWAPPED in s.flags,
        "A ballot is wanted, and two voters' ballots seem to have changed places",
        Action.READ,
        "trade.swapped",
        "Two voters' ballots or envelopes seem to have changed places: a person sorts out whose is whose first.",
    ),
    Row(
        lambda s: s.wants_ballot and s.too_late,
        "A ballot is wanted after the last moment to ask by mail",
        Action.COME_IN,
        "dates.last_request_by_mail",
        "Asked after the last moment for post, {last_request}: the voter can still vote in person.",
    ),
    Row(
        lambda s: s.wants_ballot and _hopeless(s),
        "A ballot is wanted, and one mailed now has less than one chance in a hundred to be back in time",
        Action.COME_IN,
        "transit",
        "A ballot mailed now cannot be back in time: the voter can still vote in person.",
    ),
    Row(
        lambda s: s.wants_ballot and new_address(s) and s.rules.address_change.by_email == "form",
        "A ballot is wanted at a new address, and the office takes such changes by its form alone",
        Action.SEND_FORM,
        "address_change.by_email",
        "The replacement is wanted at another address: the office's form comes first.",
    ),
    Row(
        lambda s: s.wants_ballot and s.why_wanted is Cause.NOT_RECEIVED and not s.mailed_long_ago,
        "A ballot is wanted as never received, and the first has not been out for as many days as the office waits",
        Action.ANSWER,
        "reasons.not_received.wait_days",
        "Mailed on {mailed_on}: it counts as not received only after {wait_days} days.",
    ),
    Row(
        lambda s: s.wants_ballot and Flag.ALREADY_REPLACED in s.flags and s.asks(Kind.QUESTION),
        "A ballot seems to be wanted by a writer who has a replacement already and asks about it",
        Action.READ,
        "trade.which_ballot",
        "The writer has a replacement already and asks about it: a person sees whether yet another is wanted.",
    ),
    Row(
        lambda s: s.asks(Kind.SPOILED_BALLOT) and s.cause is None and not s.asks(Kind.NOT_RECEIVED),
        "A ballot is wanted, and not a word says what happened to the first",
        Action.READ,
        "reasons",
        "Another ballot is wanted, but not a word says what happened to the first: the rules differ by reason.",
    ),
    Row(
        lambda s: s.wants_ballot and _statement(s) and Flag.STATEMENT_ATTACHED in s.flags,
        "A ballot is wanted for a reason that needs a signed statement, and a signed paper came along",
        Action.READ,
        "reasons.{reason}.statement",
        "A signed paper came with this message: a clerk looks at it before anything is reissued.",
    ),
    Row(
        lambda s: s.wants_ballot and _statement(s),
        "A ballot is wanted for a reason that needs a signed statement",
        Action.STATEMENT_FIRST,
        "reasons.{reason}.statement",
        "The rules want a signed statement before a ballot is replaced that {cause}.",
    ),
    Row(
        lambda s: s.wants_ballot and _unsure_to_void(s),
        f"A ballot is wanted, and that is read with less certainty than {SURE_ENOUGH_TO_VOID:.0%}",
        Action.READ,
        "trade.unsure",
        "Another ballot seems to be wanted, but the message is not clear enough to void one on it.",
    ),
    Row(
        lambda s: s.wants_ballot,
        "A ballot is wanted, and nothing above stands against it",
        Action.REISSUE,
        "reasons.{reason}",
        "Certain who writes, the first ballot {cause}, and another is wanted in time for the post.",
    ),
    # A piece is missing, the ballot is not.
    Row(
        lambda s: s.asks(Kind.MISSING_MATERIALS) and not s.known,
        "A piece of the packet is missing, and it is not clear who asks",
        Action.ASK_IDENTITY,
        "identity.with_name",
        "Not clear who writes: {standing}. The reply asks for what is missing.",
    ),
    Row(
        lambda s: s.asks(Kind.MISSING_MATERIALS) and _hopeless(s),
        "A piece of the packet is missing, and one mailed now would come too late",
        Action.COME_IN,
        "transit",
        "A piece mailed now would come too late: the voter can fetch it at the office.",
    ),
    Row(
        lambda s: s.asks(Kind.MISSING_MATERIALS),
        "A piece of the packet is missing",
        Action.SEND_MATERIALS,
        "mailing.contents",
        "A piece of the packet is missing or unusable; the ballot itself is not, so none is voided.",
    ),
    # Another address, help, questions.
    Row(
        lambda s: new_address(s) and not s.known,
        "Post is wanted at another address, and it is not clear who asks",
        Action.ASK_IDENTITY,
        "identity.with_name",
        "Not clear who writes: {standing}. The reply asks for what is missing.",
    ),
    Row(
        new_address,
        "Post is wanted at another address",
        Action.SEND_FORM,
        "address_change.form",
        "Wants post at another address: the office's form is needed.",
    ),
    Row(
        lambda s: s.asks(Kind.ASSISTANCE) and bool(s.topics),
        "Help is asked about, and a reviewed text answers that",
        Action.ANSWER,
        "trade.assistance",
        "Asks about help; a reviewed text answers it.",
    ),
    Row(
        lambda s: s.asks(Kind.ASSISTANCE) and s.standing is not None,
        "Help is needed by a voter",
        Action.SEND_FORM,
        "trade.assistance_form",
        "Needs help to mark, read or sign: the assistance form says who may help and what they sign.",
    ),
    Row(
        lambda s: s.asks(Kind.ASSISTANCE),
        "Help is asked about in general",
        Action.ANSWER,
        "trade.assistance",
        "A general question about help; a reviewed text answers it.",
    ),
    Row(
        lambda s: s.asks(Kind.QUESTION) and bool(s.topics),
        "A question is asked, and a reviewed text answers it",
        Action.ANSWER,
        "trade.reviewed_text",
        "A question that a reviewed text answers.",
    ),
    Row(
        lambda s: s.asks(Kind.DETAILS),
        "Details are given, and no request that they belong to was found",
        Action.READ,
        "trade.details",
        "Answers a question of the office, but the request that it belongs to was not found.",
    ),
    Row(
        lambda s: Flag.PRESS in s.flags,
        "The press asks",
        Action.READ,
        "trade.press",
        "A question from the press: for the official in charge.",
    ),
    Row(
        lambda s: Flag.JUNK in s.flags and not s.asks(Kind.QUESTION),
        "The message is advertising or a trap, and asks nothing",
        Action.DROP,
        "trade.junk",
        "Advertising or a trap: filed, not answered.",
    ),
    Row(lambda s: True, "None of the above", Action.READ, "trade.person", "No reviewed text fits: a person reads it."),
)
