"""What the office wrote before, for reading an answer: what a writer typed into the quoted reply is theirs."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.mail.answers import with_answers
from replacements.mail.letter import Letter, PartLabel
from replacements.store.tables import Reply


def answered(session: Session, letter: Letter) -> Letter:
    """The letter, with answers among the lines of the office's own reply that it quotes labelled as new."""
    ids = may_quote(letter)
    if not ids:
        return letter
    texts = dict(session.execute(select(Reply.message_id, Reply.text).where(Reply.message_id.in_(ids))).all())
    return told_apart(letter, texts)


def may_quote(letter: Letter) -> list[str]:
    """Message-IDs of what the letter answers, the nearest first; none where it quotes nothing."""
    if letter.machine is not None or not any(part.label is PartLabel.QUOTED for part in letter.parts):
        return []
    return list(dict.fromkeys([*letter.in_reply_to, *reversed(letter.references)]))[:20]


def told_apart(letter: Letter, texts: Mapping[str, str]) -> Letter:
    """As `answered`; `texts`: those of the office's replies among what the letter `may_quote`, by Message-ID."""
    quoted = next((one for one in may_quote(letter) if one in texts), None)
    return letter if quoted is None else with_answers(letter, texts[quoted])
