"""The reply that would go with a proposal, drafted with the facts that may be told to this address."""

from __future__ import annotations

from datetime import date

from replacements.proposals.types import Action
from replacements.replies.sources import FILES, Texts
from replacements.replies.texts import Rendered, ReplyFacts, render
from replacements.requests.judging import NO_REPLY, Asked, Judgement
from replacements.roll.types import Voter
from replacements.rules.office import Rules
from replacements.rules.transit import InTime


def draft(judgement: Judgement, rules: Rules, *, adopted: bool, texts: Texts = FILES) -> tuple[Rendered, str] | None:
    """The one reply to a message: of the first of its people whom a reply goes to. None where none goes.

    `texts`: those in force; without them the project's own."""
    if not may_be_answered(judgement):
        return None
    to = judgement.letter.sender.address
    for asked in judgement.asked:
        reply = draft_for(judgement, asked, asked.proposal.action, rules, adopted=adopted, texts=texts)
        if reply is not None:
            return reply, to
    if judgement.proposal is not None and judgement.proposal.action not in NO_REPLY:
        topics = judgement.proposal.topics
        rendered = render(
            judgement.proposal.action.value,
            judgement.reading.language,
            ReplyFacts(rules=rules, adopted=adopted, form=judgement.proposal.form),
            topics=topics,
            texts=texts,
        )
        return rendered, to
    return None


def may_be_answered(judgement: Judgement) -> bool:
    """Never a machine, never an address that is not there."""
    return judgement.letter.machine is None and bool(judgement.letter.sender.address)


def draft_for(
    judgement: Judgement,
    asked: Asked,
    action: Action,
    rules: Rules,
    *,
    adopted: bool,
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
) -> ReplyFacts:
    """What a text may say. A protected voter's record is told to nobody by mail, on file or not."""
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
    )
