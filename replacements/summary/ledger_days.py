"""The ledger added up by days, so that a week of a long election is found without reading the ledger again.

An entry never changes, so a day's sums only ever grow: `roll_forward` adds what came since to the table `ledger_days`,
and `read_days` adds what is newer still while it reads. Each entry moves a ballot from one state to another; what is
counted of it follows from the two alone. What a ballot's voter is (precinct, overseas) is as on the roll at that time.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import Select, delete, func, insert, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from replacements.store.database import Database
from replacements.store.tables import Ballot, LedgerDay, LedgerDaysUpTo, LedgerEntry, VoterRow

BACK = frozenset({"returned", "accepted", "challenged"})
SPOILED = frozenset({"spoiled", "damaged"})  # causes of a reissue that say the ballot in hand was spoiled
UNKNOWN = "unknown"
STYLE, PRECINCT, REASON = PARTS = ("style", "precinct", "reason")
_STATE_IS_EVENT = ("voided", "suspended", "returned", "accepted", "challenged", "undeliverable")
_EVENTS = (*_STATE_IS_EVENT, "imported", "import_changed", "reissued", "reinstated", "cured", "return_undone")
_AT_ONCE = 20_000


class Key(NamedTuple):
    """What a sum is of; see `LedgerDay`."""

    part: str
    day: date
    name: str
    loaded: bool
    replacement: bool
    overseas: bool


Sums = dict[Key, list[int]]


class Tally(NamedTuple):
    """Counts of ballots, as `LedgerDay` has them, added up over days and names."""

    issued: int = 0
    out: int = 0
    undeliverable: int = 0
    returned: int = 0
    accepted: int = 0
    challenged: int = 0
    suspended: int = 0
    voided: int = 0
    rejected: int = 0
    brought_back: int = 0
    reissued: int = 0
    spoiled: int = 0
    taken_back: int = 0
    voids: int = 0
    suspensions: int = 0

    @property
    def received(self) -> int:
        """Ballots that came back and were taken in, whatever became of them."""
        return self.returned + self.accepted + self.challenged + self.rejected


COUNTS = Tally._fields
_PLACE = {name: n for n, name in enumerate(COUNTS)}
_BEFORE = {STYLE: COUNTS, PRECINCT: ("out", "undeliverable")}
STATE_COLUMNS = {"issued": "out"} | {
    state: state for state in ("undeliverable", "returned", "accepted", "challenged", "suspended", "voided")
}


@dataclass(frozen=True)
class Days:
    """The sums of an election up to a day. Parts are `STYLE`, `PRECINCT`, `REASON`; each holds every entry once."""

    sums: Sums = field(default_factory=dict)

    def tally(
        self,
        first: date | None = None,
        last: date | None = None,
        *,
        replacement: bool | None = None,
        overseas: bool | None = None,
        loaded: bool | None = None,
    ) -> Tally:
        """All styles together, from `first` to `last`, both included."""
        whole = [0] * len(COUNTS)
        for key, counts in self.sums.items():
            if (
                key.part == STYLE
                and (first is None or key.day >= first)
                and (last is None or key.day <= last)
                and (replacement is None or key.replacement == replacement)
                and (overseas is None or key.overseas == overseas)
                and (loaded is None or key.loaded == loaded)
            ):
                for n, count in enumerate(counts):
                    whole[n] += count
        return Tally(*whole)

    def by_name(self, part: str, first: date, last: date, count: str) -> dict[str, int]:
        """One count for each name of a part, the largest first; names with nothing are left out."""
        place, found = COUNTS.index(count), defaultdict[str, int](int)
        for key, counts in self.sums.items():
            if key.part == part and first <= key.day <= last:
                found[key.name] += counts[place]
        return dict(sorted(((n, c) for n, c in found.items() if c), key=lambda pair: (-pair[1], pair[0])))

    def out_by_day(self, days: Sequence[date], part: str = STYLE) -> dict[str, list[int]]:
        """For each name, how many ballots were out on each of these days (ascending, without a gap): at its beginning
        or its end, whichever is more, since on the day when they are sent there were none before."""
        before, change = defaultdict[str, int](int), defaultdict[tuple[str, date], int](int)
        for key, counts in self.sums.items():
            out = _out(counts)
            if key.part == part and out:
                if key.day < days[0]:
                    before[key.name] += out
                elif key.day <= days[-1]:
                    change[key.name, key.day] += out
        found = {}
        for name in before.keys() | {name for name, _ in change}:
            out, row = before[name], []
            for day in days:
                start = out
                out += change.get((name, day), 0)
                row.append(max(start, out))
            found[name] = row
        return found

    def whole_out_by_day(self, days: Sequence[date]) -> list[int]:
        """The same for all ballots together."""
        together = Days(dict(_under_one_name(self.sums)))
        return together.out_by_day(days).get("", [0] * len(days))

    def places(self) -> dict[str, Tally]:
        """Where the ballots of each style are, from all entries so far."""
        found: dict[str, list[int]] = {}
        for key, counts in self.sums.items():
            if key.part == STYLE:
                row = found.setdefault(key.name, [0] * len(COUNTS))
                for n, count in enumerate(counts):
                    row[n] += count
        return {name: Tally(*row) for name, row in sorted(found.items())}

    def by_day(self, days: Sequence[date], count: str) -> list[int]:
        """One count of all styles together for each day."""
        place, found = COUNTS.index(count), dict.fromkeys(days, 0)
        for key, counts in self.sums.items():
            if key.part == STYLE and key.day in found:
                found[key.day] += counts[place]
        return [found[day] for day in days]


def _out(counts: Sequence[int]) -> int:
    """How many more ballots could still come back: with voters, or brought back by the post."""
    return counts[_PLACE["out"]] + counts[_PLACE["undeliverable"]]


def _under_one_name(sums: Sums) -> Iterator[tuple[Key, list[int]]]:
    whole = defaultdict[date, int](int)
    for key, counts in sums.items():
        if key.part == STYLE:
            whole[key.day] += _out(counts)
    for day, out in whole.items():
        yield Key(STYLE, day, "", False, False, False), list(Tally(out=out))


def read_days(
    session: Session, election_id: str, zone: str, *, since: date, until: date, parts: Sequence[str] = PARTS
) -> Days:
    """The sums of an election up to a day, that day included; days before `since` come as one, the day before it: of
    styles everything, of precincts what is out, of reasons nothing (nobody asks more). `parts`: what is wanted."""
    sums: Sums = {}
    start = since - timedelta(days=1)
    seq = _up_to(session, election_id, zone)
    if seq:
        flags = (LedgerDay.loaded, LedgerDay.replacement, LedgerDay.overseas)
        here = LedgerDay.election_id == election_id
        for part in (one for one in parts if one in _BEFORE):
            summed = [func.sum(getattr(LedgerDay, name)) for name in _BEFORE[part]]
            before = (
                select(LedgerDay.name, *flags, *summed)
                .where(here, LedgerDay.part == part, LedgerDay.day < since)
                .group_by(LedgerDay.name, *flags)
            )
            for name, loaded, replacement, overseas, *counts in session.execute(before):
                row = [0] * len(COUNTS)
                for column, count in zip(_BEFORE[part], counts, strict=True):
                    row[_PLACE[column]] = int(count)
                sums[Key(part, start, name, loaded, replacement, overseas)] = row
        values = [getattr(LedgerDay, name) for name in COUNTS]
        within = select(LedgerDay.part, LedgerDay.day, LedgerDay.name, *flags, *values).where(
            here, LedgerDay.part.in_(parts), LedgerDay.day >= since, LedgerDay.day <= until
        )
        for part, day, name, loaded, replacement, overseas, *counts in session.execute(within):
            sums[Key(part, day, name, loaded, replacement, overseas)] = counts
    newer: Sums = {}
    _count_all(newer, session.execute(_entries(election_id, seq)), ZoneInfo(zone))
    for key, counts in newer.items():
        if key.day <= until and key.part in parts:
            _add(sums, Key(key.part, max(key.day, start), key.name, key.loaded, key.replacement, key.overseas), counts)
    return Days(sums)


def entries_behind(session: Session, election_id: str, zone: str) -> int:
    """How many entries of the whole ledger are newer than the sums: what a reader would have to read, at the most."""
    last = session.scalar(select(func.max(LedgerEntry.seq))) or 0
    return last - _up_to(session, election_id, zone)


def roll_forward(database: Database, election_id: str, zone: str) -> int:
    """Add what came since to the sums. Returns how many entries were added. Where the office has changed its time zone,
    all is added up anew."""
    try:
        with database.write() as session:
            return _roll(session, election_id, zone)
    except IntegrityError:  # somebody else began with this election in this moment, and is at it
        return 0


def _roll(session: Session, election_id: str, zone: str) -> int:
    mark = session.scalars(
        select(LedgerDaysUpTo).where(LedgerDaysUpTo.election_id == election_id).with_for_update()
    ).first()
    if mark is None:
        mark = LedgerDaysUpTo(election_id=election_id, seq=0, zone=zone)
        session.add(mark)
        session.flush()  # somebody else who is at it waits here
    if mark.zone != zone:
        session.execute(delete(LedgerDay).where(LedgerDay.election_id == election_id))
        mark.seq, mark.zone = 0, zone
    last = session.scalar(select(func.max(LedgerEntry.seq))) or 0
    if last == mark.seq:
        return 0
    sums: Sums = {}
    added = _count_all(sums, session.execute(_entries(election_id, mark.seq, last)), ZoneInfo(zone))
    _store(session, election_id, sums)
    mark.seq = last
    return added


def _store(session: Session, election_id: str, sums: Sums) -> None:
    if not sums:
        return
    first, last = min(key.day for key in sums), max(key.day for key in sums)
    there = select(LedgerDay).where(LedgerDay.election_id == election_id, LedgerDay.day >= first, LedgerDay.day <= last)
    for row in session.scalars(there):
        key = Key(row.part, row.day, row.name, row.loaded, row.replacement, row.overseas)
        for name, more in zip(COUNTS, sums.pop(key, ()), strict=False):
            setattr(row, name, getattr(row, name) + more)
    rows = [
        {
            "election_id": election_id,
            "part": key.part,
            "day": key.day,
            "name": key.name,
            "loaded": key.loaded,
            "replacement": key.replacement,
            "overseas": key.overseas,
            **dict(zip(COUNTS, counts, strict=True)),
        }
        for key, counts in sums.items()
    ]
    if rows:
        session.execute(insert(LedgerDay), rows)


def _up_to(session: Session, election_id: str, zone: str) -> int:
    """The last entry that is in the sums; 0 where they are of another time zone, and so of no use."""
    mark = session.get(LedgerDaysUpTo, election_id)
    return mark.seq if mark is not None and mark.zone == zone else 0


def _entries(election_id: str, after: int, last: int | None = None) -> Select[*tuple[Any, ...]]:
    found = (
        select(
            LedgerEntry.at,
            LedgerEntry.event,
            LedgerEntry.details,
            Ballot.replaces,
            Ballot.style,
            VoterRow.precinct,
            VoterRow.overseas,
        )
        .outerjoin(Ballot, Ballot.number == LedgerEntry.ballot_number)
        .outerjoin(VoterRow, VoterRow.voter_id == func.coalesce(LedgerEntry.voter_id, Ballot.voter_id))
        .where(LedgerEntry.seq > after, LedgerEntry.election_id == election_id, LedgerEntry.event.in_(_EVENTS))
        .order_by(LedgerEntry.seq)
        .execution_options(yield_per=_AT_ONCE)
    )
    return found if last is None else found.where(LedgerEntry.seq <= last)


def _count_all(sums: Sums, rows: Iterable[Sequence[Any]], office: ZoneInfo) -> int:
    day_of = lru_cache(maxsize=100_000)(lambda hour: datetime.fromisoformat(hour).astimezone(office).date())
    number = 0
    for at, event, text, replaces, style, precinct, overseas in rows:
        number += 1
        details = json.loads(text)
        counts = _counts(event, details)
        if counts is None:
            continue
        day = day_of(f"{at[:16]}+00:00")
        loaded = event == "imported"
        replacement = replaces is not None or event == "reissued" or bool(details.get("replaces"))
        for part, name in (
            (STYLE, details.get("style") or style or UNKNOWN),
            (PRECINCT, precinct or UNKNOWN),
            (REASON, details.get("reason") or UNKNOWN),
        ):
            _add(sums, Key(part, day, name, loaded, replacement, bool(overseas)), counts)
    return number


def _add(sums: Sums, key: Key, counts: Sequence[int]) -> None:
    row = sums.get(key)
    if row is None:
        sums[key] = list(counts)
    else:
        for n, count in enumerate(counts):
            row[n] += count


def _counts(event: str, details: dict[str, Any]) -> tuple[int, ...] | None:
    """What one entry adds to each count; None where it changes no ballot's state."""
    before, after = details.get("from", ""), _state_after(event, details)
    if event == "imported":
        before = ""
    if not after:
        return None
    counts = [0] * len(COUNTS)
    if before in STATE_COLUMNS:
        counts[_PLACE[STATE_COLUMNS[before]]] -= 1
    if after in STATE_COLUMNS:
        counts[_PLACE[STATE_COLUMNS[after]]] += 1
    happened = {
        "issued": event in ("imported", "reissued"),
        "rejected": after == "voided" and before in BACK,
        "brought_back": event == "undeliverable",
        "reissued": event == "reissued",
        "spoiled": event == "reissued" and details.get("reason") in SPOILED,
        "taken_back": event == "reinstated",
        "voids": event == "voided",
        "suspensions": event == "suspended",
    }
    for name, is_so in happened.items():
        counts[_PLACE[name]] += is_so
    if event == "return_undone" and before == "undeliverable":
        counts[_PLACE["brought_back"]] -= 1
    return tuple(counts)


def _state_after(event: str, details: dict[str, Any]) -> str:
    if event in _STATE_IS_EVENT:
        return event
    if event == "reissued":
        return "issued"
    if event == "cured":
        return "returned"
    return str(details.get("to" if event in ("reinstated", "return_undone") else "state", ""))


def utc_text(moment: datetime) -> str:
    """A moment as the ledger writes it, to compare with."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")
