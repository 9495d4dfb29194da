"""The roll in the database, as matching needs it: few queries, each bounded."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from replacements.roll.index import COLUMNS, FIELDS, in_pieces, listed, numbers_with_keys
from replacements.roll.keys import name_of, worth_weighing
from replacements.roll.memory import share
from replacements.roll.names import joined
from replacements.roll.roll_file import YES_NO
from replacements.roll.types import Voter
from replacements.store.bulk import is_sqlite
from replacements.store.tables import VoterRow

KEYS_PER_QUERY = 1000  # far below what SQLite and PostgreSQL take in one statement
_YES_NO_FROM = FIELDS.index(YES_NO[0])  # as the driver of SQLite gives them: 0 and 1
_ONE = select(*COLUMNS).where(VoterRow.voter_id == bindparam("voter"))
_VOTERS = f"SELECT {', '.join(FIELDS)} FROM voters WHERE number"  # noqa: S608


class StoredRoll:
    """A `Roll` over the tables `voters`, `roll_buckets` and `name_counts`. Reads only; lives as long as its session."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._size: int | None = None
        self._counts: dict[tuple[str, str], int] = {}

    def with_keys(self, keys: Iterable[str]) -> Sequence[Voter]:
        """Two queries per thousand keys; a key that more than `MOST_PER_KEY` voters have is passed over."""
        found: dict[str, Voter] = {}
        connection = self._session.connection()
        for some in in_pieces(worth_weighing(numbers_with_keys(self._session, keys))):
            for row in connection.exec_driver_sql(f"{_VOTERS} IN ({listed(some)})"):
                found[row[0]] = Voter(*row[:_YES_NO_FROM], *map(bool, row[_YES_NO_FROM:]))
        self._remember_counts(found.values())
        return [found[voter_id] for voter_id in sorted(found)]

    def _remember_counts(self, voters: Iterable[Voter]) -> None:
        """How common the names of these voters are, in one query per thousand names instead of two per voter."""
        names: set[str] = set()
        for voter in voters:
            name = name_of(voter)
            names.update(whole for whole, _, _ in name.lasts)
            names.update(name.first[:1])
        wanted = sorted(name for name in names if ("last", name) not in self._counts)
        for start in range(0, len(wanted), KEYS_PER_QUERY):
            some = wanted[start : start + KEYS_PER_QUERY]
            self._counts.update({(part, name): 0 for part in ("last", "first") for name in some})
            self._counts.update(self._counted(some))

    def _counted(self, names: Sequence[str]) -> dict[tuple[str, str], int]:
        """As the driver takes it: putting a statement of many names together would take longer than running it."""
        mark = "?" if is_sqlite(self._session) else "%s"
        statement = (
            "SELECT part, name, voters FROM name_counts WHERE part IN ('last', 'first', 'all') "  # noqa: S608
            f"AND name IN ({', '.join([mark] * len(names))})"
        )
        rows = self._session.connection().exec_driver_sql(statement, tuple(names))
        return {(part, name): voters for part, name, voters in rows}

    def voter(self, voter_id: str) -> Voter | None:
        row = self._session.execute(_ONE, {"voter": voter_id}).first()
        return Voter(*row) if row else None

    def share_of_last_name(self, last_name: str) -> float:
        return share(self._count("last", joined(last_name)), self.size)

    def share_of_first_name(self, first_name: str) -> float:
        return share(self._count("first", joined(first_name)), self.size)

    @property
    def size(self) -> int:
        """How many voters are on the roll, active or not; not those who were on it once."""
        if self._size is None:
            self._size = self._count("all", "") or self._session.scalar(select(func.count()).select_from(VoterRow)) or 0
        return self._size

    def _count(self, part: str, name: str) -> int:
        if not name and part != "all":
            return 0
        if (part, name) in self._counts:
            return self._counts[(part, name)]
        return self._counted([name]).get((part, name), 0)
