"""The words of letters, kept to be searched.

They are sealed where the office has keys, so that no database can look through them: they are opened here. A letter's
words are kept by themselves when it is read, and packed together with those of its neighbours later (`pack`): to open
one packet of some hundred letters takes as long as to open ten letters.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Sequence

from sqlalchemy import delete, func, null, select, union_all
from sqlalchemy.orm import Session

from replacements.mail.letter import Letter
from replacements.store.database import Database
from replacements.store.tables import LetterWords, PackedWords

SHORTEST = 2  # characters that are searched for; one stands in every letter
KEPT = 8_000  # characters of a letter that are kept
A_PACKET = 128 * 1024  # bytes
MOST_OPENED = 512  # packets that are opened for one search: 64 MB, some two hundred thousand letters
_AT_ONCE = 50


def folded(text: str) -> str:
    """How words are compared: whatever their case and width, however an accent is written, one space between them."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def keep(session: Session, message_id: int, letter: Letter) -> None:
    """Keep what the writer of a message says; what they quote was kept where it was written first."""
    words = folded(letter.new_text)[:KEPT]
    if words:
        session.merge(LetterWords(message_id=message_id, words=words.encode("utf-8", "replace")))


def pack(database: Database) -> int:
    """Pack what lies by itself, oldest letters first, as far as it fills packets. Returns how many letters were packed.

    Each packet is a transaction: broken off, it goes on from there; two at once wait for each other.
    """
    done = 0
    while True:
        with database.write() as session:
            taken = _a_packet(session)
            if not taken:
                return done
            ids = [message_id for message_id, _ in taken]
            session.add(PackedWords(first_message=ids[0], last_message=ids[-1], words=_packed(taken)))
            session.execute(delete(LetterWords).where(LetterWords.message_id.in_(ids)))
        done += len(ids)


def _a_packet(session: Session) -> list[tuple[int, bytes]]:
    """As many of the oldest letters as fill one; none where they do not."""
    taken: list[tuple[int, bytes]] = []
    size = 0
    oldest = select(LetterWords.message_id, LetterWords.words).order_by(LetterWords.message_id).with_for_update()
    with session.execute(oldest, execution_options={"yield_per": _AT_ONCE}) as letters:
        for message_id, words in letters:
            taken.append((message_id, words))
            size += len(words)
            if size >= A_PACKET:
                return taken
    return []


def forget(session: Session, ids: Sequence[int]) -> None:
    """Remove the words of these messages, also from packets."""
    session.execute(delete(LetterWords).where(LetterWords.message_id.in_(ids)))
    gone = set(ids)
    for packet in _packets_with(session, ids):
        lines = list(_lines(packet.words))
        stay = [(message_id, words) for message_id, words in lines if message_id not in gone]
        if not stay:
            session.delete(packet)
        elif len(stay) < len(lines):
            packet.words = _packed(stay)
    session.flush()


def count(session: Session, ids: Sequence[int]) -> int:
    """How many of these messages' words are kept."""
    loose = session.scalar(select(func.count()).where(LetterWords.message_id.in_(ids))) or 0
    wanted = set(ids)
    packed = _packets_with(session, ids)
    return loose + sum(message_id in wanted for packet in packed for message_id, _ in _lines(packet.words))


def _packets_with(session: Session, ids: Sequence[int]) -> Sequence[PackedWords]:
    if not ids:
        return []
    near = PackedWords.first_message <= max(ids), PackedWords.last_message >= min(ids)
    return session.scalars(select(PackedWords).where(*near).order_by(PackedWords.id).with_for_update()).all()


def _packed(letters: Iterable[tuple[int, bytes]]) -> bytes:
    return b"".join(b"%d\t%s\n" % one for one in letters)


def _lines(words: bytes) -> Iterator[tuple[int, bytes]]:
    for line in words.splitlines():
        message_id, _, said = line.partition(b"\t")
        yield int(message_id), said


def search(session: Session, wanted: str) -> tuple[set[int], bool]:
    """The messages whose letters hold these words, and whether all letters were looked through: only the newest are
    where there are very many."""
    words = folded(wanted)
    if len(words) < SHORTEST:
        return set(), True
    sought = words.encode()
    newest = select(PackedWords.id, PackedWords.words).order_by(PackedWords.last_message.desc()).limit(MOST_OPENED)
    packets = newest.subquery()
    everything = union_all(
        select(LetterWords.message_id, LetterWords.words), select(null(), packets.c.words).select_from(packets)
    )
    found, opened = set[int](), 0
    for message_id, kept in session.execute(everything, execution_options={"yield_per": _AT_ONCE}):
        if message_id is None:
            opened += 1
            found.update(_in(kept, sought))
        elif sought in kept:
            found.add(message_id)
    return found, opened < MOST_OPENED


def _in(packet: bytes, sought: bytes) -> Iterator[int]:
    """The messages of a packet whose words hold it."""
    at = packet.find(sought)
    while at >= 0:
        begin = packet.rfind(b"\n", 0, at) + 1
        tab = packet.index(b"\t", begin)
        if at > tab:
            yield int(packet[begin:tab])
            tab = packet.index(b"\n", at)
        at = packet.find(sought, tab)
