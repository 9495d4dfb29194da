"""Messages whose kinds are known, so that tests can ask whom they are about."""

from __future__ import annotations

from datetime import UTC, datetime

from replacements.mail.letter import Letter, PartLabel, Sender, TextPart
from replacements.reading.kinds import Evidence, KindsFound
from replacements.reading.people import find_people
from replacements.reading.sentences import sentences
from replacements.reading.types import Flag, Kind, KindFound, Person, Topic

SPOILED = (Kind.SPOILED_BALLOT,)
QUESTION = (Kind.QUESTION,)


def letter(
    text: str, sender: str = "", address: str = "someone@post.example", quoted: str = "", signature: str = ""
) -> Letter:
    parts = [TextPart(PartLabel.NEW, text)]
    if signature:
        parts.append(TextPart(PartLabel.SIGNATURE, signature))
    if quoted:
        parts.append(TextPart(PartLabel.QUOTED, quoted))
    return Letter(
        "<1@post.example>", Sender(address, sender), "ballot", datetime(2026, 10, 20, 9, tzinfo=UTC), tuple(parts)
    )


def people(
    text: str,
    sender: str = "",
    *,
    kinds: tuple[Kind, ...] = SPOILED,
    says: tuple[tuple[str, Kind], ...] = (),
    language: str = "en",
    address: str = "someone@post.example",
    quoted: str = "",
    signature: str = "",
    topics: tuple[Topic, ...] = (),
    flags: frozenset[Flag] = frozenset(),
) -> tuple[Person, ...]:
    """The people of a message whose kinds are known; `says` are the words in it that made them."""
    mail = letter(text, sender, address, quoted, signature)
    evidence = tuple(Evidence(k, w, text.index(w), text.index(w) + len(w), 2.0, 0, None) for w, k in says)
    found = KindsFound(
        tuple(KindFound(k, 0.9, ()) for k in kinds), evidence, topics, flags, (), None, language, sentences(text)
    )
    return find_people(mail, found)
