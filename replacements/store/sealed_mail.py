"""The stored mail of a database and the keys it is sealed with: are they all here, and seal everything anew."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

from sqlalchemy import LargeBinary, Select, delete, func, insert, select, type_coerce, update
from sqlalchemy.orm import Session

from replacements.store.database import Database
from replacements.store.sealing import HEAD, Keys, SealTrouble, head_of, keys_of, sealed_by
from replacements.store.tables import LetterWords, PackedWords, RawMail

_AT_A_TIME = 50
_HEAD = func.substr(type_coerce(RawMail.raw, LargeBinary), 1, HEAD)


def by_key(session: Session) -> Counter[str]:
    """How many messages are sealed with each key; under "" those that are not sealed."""
    found: Counter[str] = Counter()
    for head, messages in session.execute(select(_HEAD, func.count()).group_by(_HEAD)):
        found[sealed_by(bytes(head))] += messages
    return found


def check(database: Database) -> None:
    """Whether the oldest and the newest message can be opened: that is how a key file that is missing, or of another
    installation, is found before anything is done. Raises SealTrouble."""
    keys = keys_of(database.engine.dialect)
    ends = (RawMail.message_id.asc(), RawMail.message_id.desc())
    with database.read() as session:
        heads = session.execute(select(*(select(_HEAD).order_by(end).limit(1).scalar_subquery() for end in ends))).one()
        for head in heads:
            name = sealed_by(bytes(head)) if head is not None else ""
            if name and name not in keys.boxes:
                raise SealTrouble(
                    f"Stored mail is sealed with the key {name}, which is not among the keys of this installation. "
                    "Nothing is lost and nothing was done: set REPLACEMENTS_MAIL_KEYS to the file that holds it."
                )


def seal_anew(database: Database, *, progress: Callable[[int], None] | None = None) -> int:
    """Seal with the newest key whatever is not sealed with it. May be broken off and run again, and beside the work of
    an office. Returns how many messages were sealed anew. Raises SealTrouble for what cannot be opened.

    A row is taken out and put in again in one transaction: the database lets nobody change raw mail in its place.
    """
    keys = keys_of(database.engine.dialect)
    if not keys.boxes:
        raise SealTrouble("There is no key to seal with. Set REPLACEMENTS_MAIL_KEYS, and: replacements keys make")
    done, after = 0, 0
    while True:
        with database.write() as session:
            ids = list(session.scalars(_others(keys, after).limit(_AT_A_TIME)))
            if not ids:
                break
            for message_id in ids:
                done += _one(session, message_id)
        after = ids[-1]
        if progress is not None:
            progress(done)
    _packets_anew(database, keys)
    return done


def _packets_anew(database: Database, keys: Keys) -> None:
    """The words of letters that are sealed together."""
    head = func.substr(type_coerce(PackedWords.words, LargeBinary), 1, HEAD)
    others = select(PackedWords).where(head.is_distinct_from(head_of(keys.newest))).limit(1).with_for_update()
    while True:
        with database.write() as session:
            packet = session.scalars(others).first()
            if packet is None:
                return
            session.execute(update(PackedWords).where(PackedWords.id == packet.id).values(words=packet.words))


def _others(keys: Keys, after: int) -> Select[int]:
    return (
        select(RawMail.message_id)
        .where(RawMail.message_id > after, _HEAD.is_distinct_from(head_of(keys.newest)))
        .order_by(RawMail.message_id)
    )


def _one(session: Session, message_id: int) -> int:
    row = session.scalars(select(RawMail.raw).where(RawMail.message_id == message_id).with_for_update()).first()
    if row is None:  # purged in this moment
        return 0
    session.execute(delete(RawMail).where(RawMail.message_id == message_id))
    session.execute(insert(RawMail).values(message_id=message_id, raw=row))
    words = session.scalars(select(LetterWords.words).where(LetterWords.message_id == message_id)).first()
    if words is not None:  # sealed with the mail, and so anew with it
        session.execute(update(LetterWords).where(LetterWords.message_id == message_id).values(words=words))
    return 1
