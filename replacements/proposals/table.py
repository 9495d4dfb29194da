"""The decision table: rows in order, the first whose condition holds decides. An election lawyer can read it.

Each row names the rule it rests on: an entry of the office's rules (`reasons.lost.statement`) or a rule of the trade
(`trade.…`). Nothing here reads a clock or a database; see `situation.py` for what it is given.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from replacements.proposals.situation import (
    BACK,
    NEEDS_A_PERSON_KNOWN,
    OUT,
    SURE_ENOUGH,
    SURE_ENOUGH_TO_VOID,
    Situation,
)
from replacements.proposals.types import Action, BallotOnRecord, Because, Proposal
from replacements.reading.types import Cause, Flag, Kind, Topic
from replacements.roll.types import Standing
from replacements.rules.office import Rules


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table. `text` may use the fields of `_words`."""

    when: Callable[[Situation], bool]
    action: Action
    rule: str
    text: str


def _one_sided(s: Situation) -> bool:
    """Wants a ballot and drops the wish in one message."""
    return Flag.CONFLICT in s.flags or (s.asks(Kind.WITHDRAWAL) and s.wants_ballot)


def _unsure(s: Situation) -> bool:
    deciding = [p for kind, p in s.kinds.items() if kind in NEEDS_A_PERSON_KNOWN or kind is Kind.WITHDRAWAL]
    return bool(deciding) and max(deciding) < SURE_ENOUGH


def _unsure_to_void(s: Situation) -> bool:
    return max((p for kind, p in s.kinds.items() if kind in NEEDS_A_PERSON_KNOWN), default=0.0) < SURE_ENOUGH_TO_VOID


def _new_address(s: Situation) -> bool:
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
        Action.READ,
        "trade.threat",
        "The message may be a threat: a person reads it at once.",
    ),
    Row(
        lambda s: Flag.COMMANDS_SOFTWARE in s.flags,
        Action.READ,
        "trade.content_is_content",
        "The message speaks to the software that reads it. Nothing in it is obeyed; a person looks at it.",
    ),
    Row(
        lambda s: s.asks(Kind.AUTOMATIC),
        Action.DROP,
        "trade.machine_mail",
        "A machine sent this: it is filed and never answered.",
    ),
    Row(
        lambda s: s.sender_failed and not s.asks(Kind.OTHER),
        Action.READ,
        "identity.unverified_sender",
        "The sender failed authentication: somebody else may have written this in the voter's name.",
    ),
    Row(
        lambda s: s.hides_text and not s.asks(Kind.OTHER),
        Action.READ,
        "trade.hidden_text",
        "The message holds text that a reader is not shown: a person looks at it before anything is done.",
    ),
    Row(
        lambda s: s.too_long and not s.asks(Kind.OTHER),
        Action.READ,
        "trade.too_long",
        "The message is so long that only its beginning was judged: a person reads it.",
    ),
    Row(
        lambda s: Flag.MANY_PEOPLE in s.flags,
        Action.READ,
        "who_may_ask",
        "One sender writes about several voters: a person reads the whole message.",
    ),
    Row(
        lambda s: not s.own_request,
        Action.READ,
        "who_may_ask.helper",
        "Somebody else asks for this voter{relation}: nothing is done on another's word without the office's own rule.",
    ),
    Row(
        _one_sided,
        Action.READ,
        "trade.conflict",
        "The message both asks for a ballot and takes it back: a person reads it.",
    ),
    Row(
        lambda s: s.language not in s.rules.office.languages and bool(NEEDS_A_PERSON_KNOWN & s.kinds.keys()),
        Action.READ,
        "office.languages",
        "Written in a language ({language}) that the office has no reviewed replies in.",
    ),
    Row(_unsure, Action.READ, "trade.unsure", "What the message asks is not clear enough to propose anything."),
    # Taking a request back.
    Row(
        lambda s: (
            s.asks(Kind.WITHDRAWAL) and s.ballot is not None and bool(s.ballot.replaces) and not s.replacement_waits
        ),
        Action.READ,
        "trade.withdrawal_too_late",
        "The replacement is already mailed and the first ballot is void: a person explains which one to use.",
    ),
    Row(
        lambda s: s.asks(Kind.WITHDRAWAL) and s.known,
        Action.STOP_REISSUE,
        "trade.withdrawal",
        "The voter takes the request back before a replacement is mailed.",
    ),
    Row(
        lambda s: s.asks(Kind.WITHDRAWAL),
        Action.READ,
        "trade.withdrawal",
        "A request is taken back, but it is not clear whose: a person looks for it.",
    ),
    # A ballot is wanted.
    Row(
        lambda s: s.wants_ballot and not s.certain,
        Action.ASK_IDENTITY,
        "identity.with_name",
        "Not certain who writes ({standing}): the reply asks for what is missing, and nothing is changed.",
    ),
    Row(
        lambda s: s.wants_ballot and s.earlier_open is not None,
        Action.READ,
        "trade.one_reissue",
        "The same voter's request {earlier_open} is still open: decide both together, one ballot is replaced once.",
    ),
    Row(
        lambda s: s.wants_ballot and s.replacement_waits,
        Action.READ,
        "trade.one_reissue",
        "A replacement for this voter already waits for the next mailing.",
    ),
    Row(
        lambda s: s.wants_ballot and s.ballot is None,
        Action.NO_BALLOT_OUT,
        "trade.no_ballot_out",
        "No ballot was issued to this voter in this election.",
    ),
    Row(
        lambda s: s.wants_ballot and s.ballot is not None and s.ballot.state in BACK,
        Action.ALREADY_BACK,
        "trade.already_back",
        "The record says that this voter's ballot came back ({state}): it cannot be replaced.",
    ),
    Row(
        lambda s: s.wants_ballot and s.ballot is not None and s.ballot.state not in OUT,
        Action.READ,
        "trade.ballot_state",
        "The voter's ballot is {state} on record: a person decides.",
    ),
    Row(
        lambda s: s.wants_ballot and Flag.BALLOT_ALREADY_SENT in s.flags,
        Action.READ,
        "trade.ballot_on_its_way",
        "The writer says that the ballot is already on its way back: voiding it could take away the vote.",
    ),
    Row(
        lambda s: s.wants_ballot and s.too_late,
        Action.COME_IN,
        "dates.last_request_by_mail",
        "Asked after the last moment for post ({last_request}): the voter can still vote in person.",
    ),
    Row(
        lambda s: s.wants_ballot and _hopeless(s),
        Action.COME_IN,
        "transit",
        "A ballot mailed now cannot be back in time: the voter can still vote in person.",
    ),
    Row(
        lambda s: s.wants_ballot and _new_address(s) and s.rules.address_change.by_email == "form",
        Action.SEND_FORM,
        "address_change.by_email",
        "The replacement is wanted at another address: the office's form comes first.",
    ),
    Row(
        lambda s: s.wants_ballot and s.why_wanted is Cause.NOT_RECEIVED and not s.mailed_long_ago,
        Action.ANSWER,
        "reasons.not_received.wait_days",
        "Mailed {mailed_on}: it counts as not received only after {wait_days} days.",
    ),
    Row(
        lambda s: s.wants_ballot and Flag.ALREADY_REPLACED in s.flags and s.asks(Kind.QUESTION),
        Action.READ,
        "trade.which_ballot",
        "The writer has a replacement already and asks about it: a person sees whether yet another is wanted.",
    ),
    Row(
        lambda s: s.asks(Kind.SPOILED_BALLOT) and s.cause is None and not s.asks(Kind.NOT_RECEIVED),
        Action.READ,
        "reasons",
        "Another ballot is wanted, but not a word says what happened to the first: the rules differ by reason.",
    ),
    Row(
        lambda s: s.wants_ballot and _statement(s) and Flag.STATEMENT_ATTACHED in s.flags,
        Action.READ,
        "reasons.{cause}.statement",
        "A signed paper came with this message: a clerk looks at it before anything is reissued.",
    ),
    Row(
        lambda s: s.wants_ballot and _statement(s),
        Action.STATEMENT_FIRST,
        "reasons.{cause}.statement",
        "The rules want a signed statement before a ballot is replaced for this reason ({cause}).",
    ),
    Row(
        lambda s: s.wants_ballot and _unsure_to_void(s),
        Action.READ,
        "trade.unsure",
        "Another ballot seems to be wanted, but the message is not clear enough to void one on it.",
    ),
    Row(
        lambda s: s.wants_ballot,
        Action.REISSUE,
        "reasons.{cause}",
        "Certain who writes, the ballot is out, and another is wanted ({cause}) in time for the post.",
    ),
    # A piece is missing, the ballot is not.
    Row(
        lambda s: s.asks(Kind.MISSING_MATERIALS) and not s.known,
        Action.ASK_IDENTITY,
        "identity.with_name",
        "Not clear who writes ({standing}): the reply asks for what is missing.",
    ),
    Row(
        lambda s: s.asks(Kind.MISSING_MATERIALS) and _hopeless(s),
        Action.COME_IN,
        "transit",
        "A piece mailed now would come too late: the voter can fetch it at the office.",
    ),
    Row(
        lambda s: s.asks(Kind.MISSING_MATERIALS),
        Action.SEND_MATERIALS,
        "mailing.contents",
        "A piece of the packet is missing or unusable; the ballot itself is not, so none is voided.",
    ),
    # Another address, help, questions.
    Row(
        lambda s: _new_address(s) and not s.known,
        Action.ASK_IDENTITY,
        "identity.with_name",
        "Not clear who writes ({standing}): the reply asks for what is missing.",
    ),
    Row(
        _new_address,
        Action.SEND_FORM,
        "address_change.form",
        "Wants post at another address: the office's form is needed.",
    ),
    Row(
        lambda s: s.asks(Kind.ASSISTANCE) and bool(s.topics),
        Action.ANSWER,
        "trade.assistance",
        "Asks about help; a reviewed text answers it.",
    ),
    Row(
        lambda s: s.asks(Kind.ASSISTANCE) and s.standing is not None,
        Action.SEND_FORM,
        "trade.assistance_form",
        "Needs help to mark, read or sign: the assistance form says who may help and what they sign.",
    ),
    Row(
        lambda s: s.asks(Kind.ASSISTANCE),
        Action.ANSWER,
        "trade.assistance",
        "A general question about help; a reviewed text answers it.",
    ),
    Row(
        lambda s: s.asks(Kind.QUESTION) and bool(s.topics),
        Action.ANSWER,
        "trade.reviewed_text",
        "A question that a reviewed text answers.",
    ),
    Row(
        lambda s: s.asks(Kind.DETAILS),
        Action.READ,
        "trade.details",
        "Answers a question of the office, but the request that it belongs to was not found.",
    ),
    Row(
        lambda s: Flag.PRESS in s.flags,
        Action.READ,
        "trade.press",
        "A question from the press: for the official in charge.",
    ),
    Row(
        lambda s: Flag.JUNK in s.flags and not s.asks(Kind.QUESTION),
        Action.DROP,
        "trade.junk",
        "Advertising or a trap: filed, not answered.",
    ),
    Row(lambda s: True, Action.READ, "trade.person", "No reviewed text fits: a person reads it."),
)


def propose(situation: Situation) -> Proposal:
    """The one proposal for this situation, with the reasons it rests on."""
    row = next(row for row in ROWS if row.when(situation))
    words = _words(situation)
    reasons = [Because(row.rule.format(**words), row.text.format(**words))]
    two_people = False
    if row.action is Action.REISSUE:
        more = tuple(_two_people(situation))
        two_people = bool(more)
        reasons += more
        reasons += _advice(situation)
    topics = situation.topics
    if row.action is Action.ANSWER and not topics:
        topics = (Topic.HELPER.value,) if situation.asks(Kind.ASSISTANCE) else (Topic.STATUS.value,)
    form = ""
    if row.action is Action.SEND_FORM:
        form = situation.rules.address_change.form if _new_address(situation) else "assistance form"
    return Proposal(row.action, tuple(reasons), two_people, topics if row.action is Action.ANSWER else (), form)


def _two_people(s: Situation) -> Iterator[Because]:
    """Why a second person must agree to this reissue."""
    cause = s.why_wanted.value
    rules = s.rules
    if rules.reason(cause).two_people:
        yield Because(f"reasons.{cause}.two_people", "The rules want two people for this reason.")
    if s.ballot is not None:
        yield from too_many(rules, s.ballot)
    if s.names_voided_ballot:
        yield Because("trade.already_replaced", "The message names a ballot that was already replaced.")
    if _new_address(s):
        yield Because("address_change.by_email", "The replacement is to go to a new address.")


def too_many(rules: Rules, ballot: BallotOnRecord) -> Iterator[Because]:
    """Why one more replacement of this voter's ballot needs a second person; nothing where it does not."""
    nth = ballot.replacements_before + 1
    if nth >= rules.replacements.two_people_from:
        yield Because("replacements.two_people_from", f"This would be replacement number {nth} for this voter.")
    elif nth > rules.replacements.most_per_voter:
        yield Because("replacements.most_per_voter", f"The rules allow {nth - 1} replacements without a supervisor.")


def _advice(s: Situation) -> Iterator[Because]:
    if s.chance is not None and s.chance < s.rules.transit.threshold:
        yield Because(
            "transit.threshold",
            f"The chance to be back in time is {s.chance:.0%}, below the office's {s.rules.transit.threshold:.0%}: "
            "the reply advises to come in or use a drop box.",
        )


def _words(s: Situation) -> dict[str, object]:
    standing = s.standing or Standing.NONE
    reason = s.rules.reason(s.why_wanted.value)
    return {
        "relation": f" ({s.relation})" if s.relation else "",
        "language": s.language,
        "standing": standing.value,
        "earlier_open": s.earlier_open,
        "state": s.ballot.state if s.ballot else "not on record",
        "cause": s.why_wanted.value,
        "last_request": s.rules.last_request_text(overseas=bool(s.voter and s.voter.overseas)),
        "mailed_on": s.ballot.mailed_on if s.ballot else "",
        "wait_days": reason.wait_days,
    }
