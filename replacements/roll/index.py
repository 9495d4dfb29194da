"""The index of the roll in the database: looked up by keys, changed by an import, made anew where the program's keys
are others than those on record."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Mapping

from sqlalchemy import delete, insert, select
from sqlalchemy.orm import Session

from replacements.roll import checksums, register
from replacements.roll import keys as roll_keys
from replacements.roll.postings import (
    Gathered,
    by_bucket,
    by_buckets,
    changed,
    closed,
    grouped,
    look_up,
    packed,
    unpacked,
)
from replacements.roll.types import Voter
from replacements.store.bulk import insert_rows, more_cache, run_many
from replacements.store.database import Database
from replacements.store.tables import NameCount, RollBucket, VoterRow

FIELDS = tuple(Voter.__dataclass_fields__)
COLUMNS = tuple(getattr(VoterRow, field) for field in FIELDS)


def as_voter(row: VoterRow | None) -> Voter | None:
    """A line of the roll that was read whole, as the weighing and the texts know it."""
    return None if row is None else Voter(**{field: getattr(row, field) for field in FIELDS})


IDS_PER_QUERY = 1000  # far below what SQLite and PostgreSQL take in one statement
_SPILL_EVERY = 1000


def in_pieces(ids: Iterable[int]) -> Iterator[list[int]]:
    """Sorted numbers, as many at a time as one statement takes."""
    wanted = sorted(ids)
    for start in range(0, len(wanted), IDS_PER_QUERY):
        yield wanted[start : start + IDS_PER_QUERY]


def listed(some: Iterable[int]) -> str:
    """Numbers as they stand in a statement: a list of a hundred is bound in a millisecond, written in a hundredth."""
    return ",".join([str(int(number)) for number in some])


def numbers_with_keys(session: Session, keys: Iterable[str]) -> dict[int, int]:
    """The numbers of voters with at least one of these keys, with the kinds of the keys (`keys.kind_bit`); a closed key
    finds nobody."""
    wanted = by_bucket(keys)
    found: dict[int, int] = {}
    connection = session.connection()
    for some in in_pieces(wanted):
        statement = f"SELECT bucket, postings FROM roll_buckets WHERE bucket IN ({listed(some)})"  # noqa: S608
        for bucket, postings in connection.exec_driver_sql(statement):
            look_up(postings, wanted[bucket], found)
    return found


def change(session: Session, gathered: Gathered) -> None:
    """Bring the index up to date with what was gathered."""
    empty = session.execute(select(RollBucket.bucket).limit(1)).first() is None
    for added, removed in gathered.parts():
        if empty:
            insert_rows(session, "roll_buckets", ("bucket", "postings"), list(by_buckets(closed(added))))
        else:
            _change(session, grouped(added), grouped(removed))


def _change(session: Session, added: Mapping[int, list[int]], removed: Mapping[int, list[int]]) -> None:
    for some in in_pieces(added.keys() | removed.keys()):
        query = select(RollBucket.bucket, RollBucket.postings).where(RollBucket.bucket.in_(some))
        old = {bucket: unpacked(postings) for bucket, postings in session.execute(query)}
        known = frozenset(old)
        new = {
            bucket: changed(old.get(bucket, array("Q")), added.get(bucket, ()), removed.get(bucket, ()))
            for bucket in some
        }
        fresh = [(bucket, packed(entries)) for bucket, entries in new.items() if entries and bucket not in known]
        insert_rows(session, "roll_buckets", ("bucket", "postings"), fresh)
        run_many(
            session,
            "UPDATE roll_buckets SET postings = :postings WHERE bucket = :bucket",
            ({"bucket": b, "postings": packed(entries)} for b, entries in new.items() if entries and b in known),
        )
        run_many(
            session,
            "DELETE FROM roll_buckets WHERE bucket = :bucket",
            ({"bucket": bucket} for bucket, entries in new.items() if not entries and bucket in known),
        )


def is_old(session: Session) -> bool:
    """Whether there are voters on the roll whose index was made by another version of the keys, or never."""
    kept = session.scalar(select(NameCount.name).where(NameCount.part == "keys"))
    return kept != roll_keys.VERSION


def renew(session: Session) -> None:
    """Make the index of all voters on the roll anew, and forget what lines of the last file are known."""
    session.execute(delete(RollBucket))
    gathered = Gathered()
    known = []
    more_cache(session, more=True)
    query = select(VoterRow.number, *COLUMNS).where(VoterRow.number.is_not(None)).order_by(VoterRow.number)
    for place, (number, *values) in enumerate(session.execute(query.execution_options(yield_per=1000))):
        gathered.add(checksums.of_values(tuple(values)), number)
        known.append(number)
        if place % _SPILL_EVERY == 0:
            gathered.spill()
    change(session, gathered)
    kept = register.Register(session)
    if sorted(kept.numbers) != known:
        register.keep(session, [register.UNKNOWN] * len(known), known)
    session.execute(delete(NameCount).where(NameCount.part == "keys"))
    session.execute(insert(NameCount), [{"part": "keys", "name": roll_keys.VERSION, "voters": 0}])
    more_cache(session, more=False)


def make_ready(database: Database) -> bool:
    """Make the index anew where another version of the program made it. Returns whether it was."""
    with database.read() as session:
        if not is_old(session) or session.execute(select(VoterRow.number).limit(1)).first() is None:
            return False
    with database.write() as session:
        if is_old(session):
            renew(session)
    return True
