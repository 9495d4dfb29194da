"""The ledger added up by days, so that a week of a long election is found without reading the ledger again.

An entry never changes, so a day's sums only ever grow: `roll_forward` adds what came since to the table `ledger_days`,
and `read_days` adds what is newer still while it reads. Each entry moves a ballot from one state to another; what is
counted of it follows from the two alone. What a ballot's voter is (precinct, overseas) is as on the roll at that time.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from functools import cache, lru_cache
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy import (
    CompoundSelect,
    Date,
    Integer,
    Select,
    Text,
    bindparam,
    case,
    cast,
    delete,
    false,
    func,
    insert,
    literal,
    literal_column,
    select,
    union_all,
)
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from replacements.store.database import Database
from replacements.store.tables import Ballot, LedgerDay, LedgerDaysUpTo, LedgerEntry, VoterRow
from replacements.summary.questions import AT_ONCE, Answers, ask, number, question
from replacements.summary.sums import (
    COUNTS,
    PARTS,
    PLACE,
    PRECINCT,
    REASON,
    STYLE,
    WHOLE,
    Key,
    Sums,
)
from replacements.summary.sums import STATE_COLUMNS as STATE_COLUMNS
from replacements.summary.sums import Days as Days
from replacements.summary.sums import Tally as Tally

BACK = frozenset({"returned", "accepted", "challenged"})
SPOILED = frozenset({"spoiled", "damaged"})  # causes of a reissue that say the ballot in hand was spoiled
UNKNOWN = "unknown"
_STATE_IS_EVENT = ("voided", "suspended", "returned", "accepted", "challenged", "undeliverable")
_EVENTS = (*_STATE_IS_EVENT, "imported", "import_changed", "reissued", "reinstated", "cured", "return_undone")
_AT_ONCE = 20_000
# What is asked of each part. Precincts are hundreds: what nobody asks of them is not added up.
_ASKED: Mapping[str, Sequence[str]] = {
    WHOLE: COUNTS,
    STYLE: COUNTS,
    PRECINCT: ("out", "undeliverable", "brought_back", "reissued"),
    REASON: ("reissued", "voids", "suspensions"),
}
_NOT_TOLD = (false(), false(), false())
_MARK, _LAST = "summed up to", "last entry"
DAY = timedelta(days=1)
_Rows = TypeVar("_Rows", bound=Select[*tuple[Any, ...]])


def read_days(
    session: Session,
    election_id: str,
    zone: str,
    *,
    since: date,
    until: date,
    parts: Sequence[str] = (WHOLE, *PARTS),
    names_since: tuple[date, date] | None = None,
    up_to: int | None = None,
    beyond: bool = False,
) -> Days:
    """The sums of an election up to a day, that day included; days before `since` come as one, the day before it, and
    those of a precinct of which no day put more ballots out may come as one, the first. Of the whole and of styles that
    is everything; of precincts what is out, came back undelivered and was reissued; of reasons what was reissued,
    voided and suspended.

    `parts`: what is wanted. `names_since`: the sums of names are the most, and come day by day only from the second of
    these on; in what comes as one, the day before it, is only what was reissued from the first on. `up_to`: the last
    entry in the sums, where it is known. `beyond`: what came after `until` is wanted too, of styles alone, as one, the
    day after it.
    """
    from_days = {part: (since,) if part == WHOLE else names_since or (since,) for part in parts}
    after = until + DAY if beyond else None
    if up_to is None:
        up_to = summed_up_to(ask(session, *how_far(election_id)), zone)
    sums: Sums = {}
    if up_to:
        for part, day, name, loaded, replacement, overseas, *counts in session.execute(
            _stored(tuple(from_days), beyond), _which_days(election_id, from_days, until)
        ).yield_per(AT_ONCE):
            sums[Key(part, day, name, bool(loaded), bool(replacement), bool(overseas))] = counts
    newer: Sums = {}
    _count_all(newer, session.execute(_entries(election_id, up_to)), ZoneInfo(zone))
    for key, counts in newer.items():
        for part in (key.part, *([WHOLE] if key.part == STYLE else [])):
            if part not in from_days or (key.day > until and (after is None or part != STYLE)):
                continue
            day = _as_of(key.day, from_days[part]) if key.day <= until else after or key.day
            told = (key.loaded, key.replacement, key.overseas)
            asked = [count if name in _ASKED[part] else 0 for name, count in zip(COUNTS, counts, strict=True)]
            _add(sums, Key(WHOLE, day, "", *told) if part == WHOLE else Key(part, day, key.name), asked)
    return Days({key: counts for key, counts in sums.items() if any(counts)})


@cache  # a hundred sums, put together once
def _stored(parts: tuple[str, ...], beyond: bool) -> CompoundSelect[*tuple[Any, ...]]:
    """The sums in the table: each part's days as they are, what was before them added up, and what came after. For the
    parameters of `_which_days`."""
    arms = []
    for part in parts:
        first = bindparam(f"{part}_first", type_=Date)
        days = (LedgerDay.day >= first, LedgerDay.day <= bindparam("until", type_=Date))
        day: Any = LedgerDay.day
        if part == PRECINCT:
            # Where no day put more ballots out, the most were out before the first: its days may come as one.
            rising = _of(select(LedgerDay.name), part).where(*days, LedgerDay.out + LedgerDay.undeliverable > 0)
            day = case((LedgerDay.name.in_(rising), LedgerDay.day), else_=first)
        day = day.label("as_of")
        arms.append(_summed(part, day).where(*days).group_by("as_of"))
        reissued_since = bindparam(f"{part}_reissued_since", type_=Date)
        before = _summed(part, bindparam(f"{part}_before", type_=Date), reissued_since)
        arms.append(before.where(LedgerDay.day < first))
    if beyond:
        after = bindparam("after", type_=Date)
        arms.append(_summed(STYLE, after).where(LedgerDay.day >= after))
    return union_all(*arms)


def _which_days(election_id: str, from_days: Mapping[str, Sequence[date]], until: date) -> dict[str, Any]:
    found: dict[str, Any] = {"election": election_id, "until": until, "after": min(until, date.max - DAY) + DAY}
    for part, (*starts, since) in from_days.items():
        found[f"{part}_first"], found[f"{part}_before"] = since, since - DAY
        found[f"{part}_reissued_since"] = starts[0] if starts else date.min
    return found


def _as_of(day: date, starts: Sequence[date]) -> date:
    """The day that stands for it; see `read_days`."""
    return next((start - DAY for start in starts if day < start), day)


def _summed(part: str, day: Any, reissued_since: Any = None) -> Select[*tuple[Any, ...]]:
    """Sums of one part, by name; of the whole, by what is told apart in it."""
    flags = (LedgerDay.loaded, LedgerDay.replacement, LedgerDay.overseas)
    columns = {name: getattr(LedgerDay, name) for name in _ASKED[part]}
    if reissued_since is not None:
        columns["reissued"] = case((LedgerDay.day >= reissued_since, LedgerDay.reissued), else_=0)
    summed = (cast(func.sum(columns[name]), Integer) if name in columns else literal_column("0") for name in COUNTS)
    name, told = (literal_column("''"), flags) if part == WHOLE else (LedgerDay.name, _NOT_TOLD)
    one = _of(select(literal(part, Text), day, name, *told, *summed), part)
    return one.group_by(*(flags if part == WHOLE else (LedgerDay.name,)))


def _of(rows: _Rows, part: str) -> _Rows:
    """Those of these rows that belong to the part."""
    kept_as = STYLE if part == WHOLE else part
    return rows.where(LedgerDay.election_id == bindparam("election"), LedgerDay.part == kept_as)


def how_far(election_id: str) -> tuple[Select[*tuple[Any, ...]], ...]:
    """Asks up to which entry the sums go, and which entry is the last; see `summed_up_to` and `entries_after`."""
    mark = question(_MARK, LedgerDaysUpTo.zone, number=LedgerDaysUpTo.seq)
    last = question(_LAST, number=func.max(LedgerEntry.seq)).select_from(LedgerEntry)
    return mark.where(LedgerDaysUpTo.election_id == election_id), last


def summed_up_to(answers: Answers, zone: str) -> int:
    """The last entry that is in the sums; 0 where they are of another time zone, and so of no use."""
    return next((row.number for row in answers[_MARK] if row.first == zone), 0)


def entries_after(answers: Answers, zone: str) -> int:
    """How many entries of the whole ledger are newer than the sums: what a reader would have to read, at the most."""
    return number(answers, _LAST) - summed_up_to(answers, zone)


def entries_behind(session: Session, election_id: str, zone: str) -> int:
    """The same, asked alone."""
    return entries_after(ask(session, *how_far(election_id)), zone)


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
        # Told apart among styles alone, whose sum is the whole.
        named = details.get("style") or style or UNKNOWN
        _add(sums, Key(STYLE, day, named, loaded, replacement, bool(overseas)), counts)
        _add(sums, Key(PRECINCT, day, precinct or UNKNOWN), counts)
        _add(sums, Key(REASON, day, details.get("reason") or UNKNOWN), counts)
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
        counts[PLACE[STATE_COLUMNS[before]]] -= 1
    if after in STATE_COLUMNS:
        counts[PLACE[STATE_COLUMNS[after]]] += 1
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
        counts[PLACE[name]] += is_so
    if event == "return_undone" and before == "undeliverable":
        counts[PLACE["brought_back"]] -= 1
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
