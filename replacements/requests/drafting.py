"""The reply that would go with a proposal, drafted with the facts that may be told to this address."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from replacements.mail.composing import can_be_written_to
from replacements.proposals.types import Action
from replacements.replies.sources import FILES, Texts
from replacements.replies.texts import Rendered, ReplyFacts, render
from replacements.requests.judging import NO_REPLY, UNDECIDED, Asked, Judgement, Place
from replacements.requests.office import InForce
from replacements.roll.types import Voter
from replacements.rules.office import Rules
from replacements.rules.transit import InTime


def draft(
    judgement: Judgement,
    rules: Rules,
    *,
    adopted: bool,
    among: Mapping[str, InForce] | None = None,
    texts: Texts = FILES,
) -> tuple[Rendered, str] | None:
    """The one reply to a message: of the first of its people whom a reply goes to. None where none goes. `among`: the
    elections that are open, where there are several; then each reply rests on the rules of its own, and names it.

    `texts`: those in force; without them the project's own."""
    if not may_be_answered(judgement):
        return None
    to = judgement.letter.sender.address
    for asked in judgement.asked:
        force = among.get(asked.place.election_id) if among and asked.place else None
        reply = draft_for(
            judgement,
            asked,
            asked.proposal.action,
            force.rules if force else rules,
            adopted=force.adopted if force else adopted,
            names_election=force is not None and is_decided(asked.place),
            texts=texts,
        )
        if reply is not None:
            return reply, to
    force = among.get(judgement.place.election_id) if among and judgement.place else None
    rules, adopted = (force.rules, force.adopted) if force else (rules, adopted)
    if judgement.proposal is not None and judgement.proposal.action not in NO_REPLY:
        topics = judgement.proposal.topics
        rendered = render(
            judgement.proposal.action.value,
            judgement.reading.language,
            ReplyFacts(
                rules=rules,
                adopted=adopted,
                form=judgement.proposal.form,
                names_election=force is not None and is_decided(judgement.place),
            ),
            topics=topics,
            texts=texts,
        )
        return rendered, to
    return None


def is_decided(place: Place | None) -> bool:
    """Whether it is known which election this is about."""
    return place is None or place.by != UNDECIDED


def may_be_answered(judgement: Judgement) -> bool:
    """Never a machine, never an address that is not there or to which no mail can be made."""
    return judgement.letter.machine is None and can_be_written_to(judgement.letter.sender.address)


def draft_for(
    judgement: Judgement,
    asked: Asked,
    action: Action,
    rules: Rules,
    *,
    adopted: bool,
    names_election: bool = False,
    texts: Texts = FILES,
) -> Rendered | None:
    """The reply to one of a message's people under `action`; None where the action has no reply."""
    if action in NO_REPLY or not may_be_answered(judgement):
        return None
    topics = asked.proposal.topics if action is asked.proposal.action else ()
    if action is Action.ANSWER and not topics:
        topics = tuple(t.value for t in judgement.reading.topics)
        if not topics:
            return None
    return render(
        action.value,
        judgement.reading.language,
        facts(
            voter=asked.who.voter,
            on_file=asked.on_file,
            rules=rules,
            adopted=adopted,
            in_time=asked.in_time,
            missing=asked.who.missing,
            cause=asked.cause.value if asked.cause else "",
            form=asked.proposal.form,
            old_number=asked.ballot.number if asked.ballot else "",
            names_election=names_election,
        ),
        topics=topics,
        texts=texts,
    )


def facts(
    *,
    voter: Voter | None,
    on_file: bool,
    rules: Rules,
    adopted: bool,
    in_time: InTime | None = None,
    missing: tuple[str, ...] = (),
    cause: str = "",
    form: str = "",
    old_number: str = "",
    new_number: str = "",
    mailing_day: date | None = None,
    stopped: bool | None = None,
    names_election: bool = False,
) -> ReplyFacts:
    """What a text may say. A protected voter's record is told to nobody by mail, on file or not. `names_election`:
    several are open, and the reply says which one it is about."""
    told = on_file and voter is not None and not voter.protected
    return ReplyFacts(
        rules=rules,
        adopted=adopted,
        overseas=bool(voter and voter.overseas),
        voter_name=voter.full_name if told and voter is not None else "",
        on_file=told,
        mailing_day=mailing_day or (in_time.mailed if in_time else None),
        chance=in_time.chance if in_time else None,
        last_good_day=in_time.last_good_day if in_time else None,
        ballot_number=new_number if told else "",
        old_ballot_number=old_number if told else "",
        missing=missing,
        cause=cause,
        form=form,
        stopped=stopped,
        names_election=names_election,
    )
