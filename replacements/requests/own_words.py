"""What the office wrote before, for reading an answer: what a writer typed into the quoted reply is theirs."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.mail.answers import with_answers
from replacements.mail.letter import Letter, PartLabel
from replacements.store.tables import Reply


def answered(session: Session, letter: Letter) -> Letter:
    """The letter, with answers among the lines of the office's own reply that it quotes labelled as new."""
    ids = list(dict.fromkeys([*letter.in_reply_to, *reversed(letter.references)]))[:20]
    if letter.machine is not None or not ids or not any(part.label is PartLabel.QUOTED for part in letter.parts):
        return letter
    texts = dict(session.execute(select(Reply.message_id, Reply.text).where(Reply.message_id.in_(ids))).all())
    for one in ids:
        if one in texts:
            return with_answers(letter, texts[one])
    return letter
