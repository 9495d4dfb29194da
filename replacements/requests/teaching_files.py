"""What an office's own mail can teach: messages that staff corrected, and those that they decided as proposed.

The form is that of `replacements.reading.teaching`. Messages whose mail is purged are left out, and counted.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.mail.letter import Letter, UnreadableMail
from replacements.mail.parsing import parse
from replacements.proposals.types import Action
from replacements.reading.types import Kind
from replacements.requests import office
from replacements.requests.correcting import WANTED
from replacements.requests.masking import masked, names_in
from replacements.requests.office import InForce
from replacements.requests.own_words import answered
from replacements.store.tables import Account, Correction, Message, RawMail, Request, VoterRow

SURE = 0.9  # how sure the reading must have been of every kind, where nobody said that it was right
# What is done whatever was asked: that somebody agreed to it says nothing about the kinds.
SAYS_NOTHING = (Action.READ.value, Action.ASK_IDENTITY.value)


@dataclass(slots=True)
class Taught:
    """Messages in the teaching form, in the order in which they came, and how many were left out and why."""

    messages: list[dict[str, Any]] = field(default_factory=list)
    corrected: int = 0
    confirmed: int = 0
    gone: int = 0  # the mail is no longer kept
    wordless: int = 0  # nothing in it that can be read
    machine: int = 0  # machine mail is told by its headers, which are not in the file

    def as_lines(self) -> str:
        """A JSON object a line."""
        return "".join(json.dumps(message, ensure_ascii=False) + "\n" for message in self.messages)


@dataclass(frozen=True, slots=True)
class _Answer:
    message_id: int
    kinds: tuple[str, ...]
    cause: str | None
    corrected: bool


def taught_by_the_office(
    session: Session, *, since: datetime | None = None, confirmed: bool = False, mask: bool = False
) -> Taught:
    """Every corrected message, as it was corrected last; with `confirmed` also those that were decided as proposed.

    `since`: only what was corrected or decided from then on. `mask`: digits and the voter's known names are taken out.
    """
    result = Taught()
    force = office.in_force(session)
    writers: dict[str, str] = {}
    answers = [*_corrected(session, since), *(_confirmed(session, since) if confirmed else ())]
    for answer in sorted(answers, key=lambda a: a.message_id):
        if answer.kinds == (Kind.AUTOMATIC.value,):
            result.machine += 1
            continue
        raw = session.get(RawMail, answer.message_id)
        if raw is None:
            result.gone += 1
            continue
        message = session.get_one(Message, answer.message_id)
        letter = _letter(session, raw, message, force)
        session.expunge(raw)  # mails may be large, and there may be many
        if letter is None or not any(c.isalnum() for c in letter.subject + letter.new_text):
            result.wordless += 1
            continue
        result.corrected += answer.corrected
        result.confirmed += not answer.corrected
        subject, text = letter.subject, letter.new_text
        if mask:
            names = names_in(_names(session, message))
            subject, text = masked(subject, names), masked(text, names)
        sender = letter.sender.address.lower() or f"message {message.id}"
        result.messages.append(
            {
                "writer": writers.setdefault(sender, f"w{len(writers) + 1}"),  # one writer's messages stay together
                **({"subject": subject} if subject else {}),
                "text": text,
                "kinds": list(answer.kinds),
                **({"cause": answer.cause} if answer.cause else {}),
            }
        )
    return result


def _corrected(session: Session, since: datetime | None) -> Iterator[_Answer]:
    rows = session.scalars(select(Correction).order_by(Correction.message_id, Correction.id)).all()
    for message_id, said in groupby(rows, key=lambda row: row.message_id):
        *_, last = said
        if since is None or last.at >= since:
            yield _Answer(message_id, tuple(last.kinds), last.cause, corrected=True)


def _confirmed(session: Session, since: datetime | None) -> Iterator[_Answer]:
    """Messages of which a person decided every request as it was proposed, and that nobody corrected."""
    people = set(session.scalars(select(Account.name)))  # what the rules let through by themselves, nobody looked at
    corrected = set(session.scalars(select(Correction.message_id)))
    rows = session.scalars(select(Request).order_by(Request.message_id, Request.place)).all()
    for message_id, group in groupby(rows, key=lambda row: row.message_id):
        requests = list(group)
        decided = [r.decided_at for r in requests if _as_proposed(r, people) and r.decided_at is not None]
        if message_id in corrected or len(decided) < len(requests):
            continue
        if since is not None and max(decided) < since:
            continue
        read = (session.get_one(Message, message_id).judgement or {}).get("kinds", [])
        kinds = tuple(kind["kind"] for kind in read)
        if not read or Kind.AUTOMATIC in kinds or any(kind["p"] < SURE for kind in read):
            continue
        causes = Counter(r.cause for r in requests if r.cause)
        cause = next(iter(causes)) if len(causes) == 1 and set(kinds) & set(WANTED) else None
        yield _Answer(message_id, kinds, cause, corrected=False)


def _as_proposed(request: Request, people: set[str]) -> bool:
    return (
        request.decided_by in people and request.decision == request.proposal and request.decision not in SAYS_NOTHING
    )


def _letter(session: Session, raw: RawMail, message: Message, force: InForce | None) -> Letter | None:
    """The message read afresh from its bytes, as it was when it came in."""
    ours = force.rules.office if force else None
    try:
        letter = parse(
            raw.raw,
            office_addresses=frozenset({ours.address.lower()}) if ours else frozenset(),
            office_server=ours.mail_server if ours else "",
            office_name=ours.name if ours else "",
            received_at=message.stored_at,
        )
    except UnreadableMail:
        return None
    return answered(session, letter)


def _names(session: Session, message: Message) -> Iterator[str]:
    """Every name that is known of the people of a message: from the roll, as written, from the sender line."""
    yield message.sender_name
    for request in session.scalars(select(Request).where(Request.message_id == message.id)):
        yield request.person
        yield from request.judged.get("person", {}).get("names", ())
        voter = session.get(VoterRow, request.voter_id) if request.voter_id else None
        if voter is not None:
            yield from (voter.first_name, voter.middle_name, voter.last_name, voter.former_last_name)
