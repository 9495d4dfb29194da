"""From a situation to its one proposal: the first row of the decision table that holds, and what it brings with it."""

from __future__ import annotations

from collections.abc import Iterator

from replacements.proposals.rows import ROWS, Row, new_address
from replacements.proposals.situation import Situation
from replacements.proposals.types import Action, BallotOnRecord, Because, Proposal
from replacements.proposals.words import told_of
from replacements.reading.types import Kind, Topic
from replacements.rules.office import Rules

__all__ = ["ROWS", "deciding_row", "propose", "too_many"]


def deciding_row(situation: Situation) -> Row:
    """The first row whose condition holds; the last one always does."""
    return next(row for row in ROWS if row.when(situation))


def propose(situation: Situation) -> Proposal:
    """The one proposal for this situation, with the reasons it rests on."""
    row = deciding_row(situation)
    told = told_of(situation)
    reasons = [Because(row.rule.format(**told), row.text.format(**told))]
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
        form = situation.rules.address_change.form if new_address(situation) else "assistance form"
    return Proposal(
        row.action,
        tuple(reasons),
        two_people,
        topics if row.action is Action.ANSWER else (),
        form,
        row=ROWS.index(row) + 1,
    )


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
    if new_address(s):
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
