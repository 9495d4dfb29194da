"""The same figures of other days: the week before, and the same week of an earlier election.

An earlier election is one that this service ran, or one whose requests the office has loaded (`summary.history`). The
same week is the one as far from its election day.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from itertools import chain
from typing import Any, NamedTuple, TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Select, func, literal_column, select
from sqlalchemy.orm import Session

from replacements.store.tables import Election, LedgerDaysUpTo, PastRequest
from replacements.summary.asked import NO_LANGUAGE, came_in, that_came_in
from replacements.summary.figures import Compared, Week
from replacements.summary.ledger_days import UNKNOWN, read_days
from replacements.summary.questions import Answer, Answers, question
from replacements.summary.speed import mailed_and_kept, mailed_by_hour, promised_after
from replacements.summary.sums import PRECINCT, REASON, STYLE, Days
from replacements.words import with_capital, word

BEFORE = "the days before"
REISSUED = "reissued"  # the outcome of a past request that was answered with a ballot
_THIS, _OWN, _LOADED = "this election", "an earlier one", "an earlier one, loaded"
_CAME, _MAILED = "loaded: came in", "loaded: mailed"
_LANGUAGES, _PRECINCTS = "loaded: languages", "loaded: precincts"
# What is compared name by name: what it is called, and the group of the names' words; the office's own names need none.
_PARTS = {
    "kind": ("Requests by kind", "kind"),
    "language": ("Requests by language", "language"),
    "cause": ("Reissued by reason", "cause"),
    "style": ("Reissued by style", ""),
    "precinct": ("Reissued by precinct", ""),
}
_Question = Select[*tuple[Any, ...]]
T = TypeVar("T")


class Part(NamedTuple):
    """One part of a week beside other days; see `beside`. `words`: the group of what the names are called."""

    title: str
    words: str
    rows: list[tuple[str, int, tuple[int | None, ...]]]

    def called(self, name: str) -> str:
        """What people call one of the names."""
        return with_capital(word(name, self.words)) if self.words else name

    def at_most(self, many: int | None) -> list[tuple[str, int, tuple[int | None, ...]]]:
        """The rows; where there are more than so many, only those with the largest numbers now, the largest first."""
        if many is None or len(self.rows) <= many:
            return self.rows
        return sorted(self.rows, key=lambda row: -row[1])[:many]


class _Earlier(NamedTuple):
    name: str
    held_on: date
    election_id: str | None = None  # None: its requests were loaded from a file
    summed_in: str | None = None  # the time zone in which its ledger is added up
    summed_up_to: int = 0


class Then:
    """Other days of an election that this service ran, to be compared with these. `name` tells its questions apart."""

    def __init__(self, name: str, what: str, election_id: str, first: date, last: date, office: ZoneInfo) -> None:
        self._name, self._what, self._election = name, what, election_id
        self._first, self._last, self._office = first, last, office
        self.start = datetime.combine(first, time(), office)
        self.end = datetime.combine(last + timedelta(days=1), time(), office)

    def questions(self) -> list[_Question]:
        """What is to be asked of these days."""
        return [
            that_came_in(f"{self._name}: came", self._election, self.start, self.end),
            mailed_by_hour(f"{self._name}: mailed", self._election, self.start, self.end),
        ]

    def counted(self, answers: Answers, books: Days, is_business_day: Callable[[date], bool]) -> Compared:
        """`books`: the ledger's sums of its election, with these days by themselves; of a part that was not read there
        is nothing."""
        came, days = came_in(answers[f"{self._name}: came"]), (self._first, self._last)
        mailed, kept = mailed_and_kept(answers[f"{self._name}: mailed"], is_business_day, self._office)
        return Compared(
            self._what,
            *days,
            came.requests,
            books.tally(*days).reissued,
            came.by_kind,
            mailed,
            kept,
            by_cause=books.by_name(REASON, *days, "reissued"),
            by_style=books.by_name(STYLE, *days, "reissued"),
            by_precinct=books.by_name(PRECINCT, *days, "reissued"),
            by_language=came.by_language,
        )


def days_before(election_id: str, first: date, last: date, office: ZoneInfo) -> Then:
    """As many days, just before."""
    length = last - first + timedelta(days=1)
    return Then("before", BEFORE, election_id, first - length, last - length, office)


class SameWeek:
    """The days as far from election day in the last election before this one that is on record or loaded."""

    def __init__(self, answers: Answers, first: date, last: date, office: ZoneInfo) -> None:
        """`answers`: to `elections`."""
        this = next((date.fromisoformat(row.first) for row in answers[_THIS] if row.first), None)
        self._office = office
        self._earlier = earlier = None if this is None else _last_before(answers)
        self._then: Then | None = None
        if this is None or earlier is None:
            return
        away = _monday(earlier.held_on) - _monday(this)
        self._first, self._last = first + away, last + away
        if earlier.election_id is not None:
            self._then = Then("earlier", earlier.name, earlier.election_id, self._first, self._last, office)

    def questions(self) -> list[_Question]:
        """What is to be asked, if there is such an election."""
        if self._then is not None:
            return self._then.questions()
        return [] if self._earlier is None else _of_a_file(self._earlier, self._first, self._last)

    def read(self, session: Session, parts: Sequence[str]) -> Days:
        """These parts of the sums of its ledger, where this service ran it."""
        if self._earlier is None or self._earlier.election_id is None:
            return Days()
        zone = self._office.key
        return read_days(
            session,
            self._earlier.election_id,
            zone,
            since=self._first,
            until=self._last,
            parts=parts,
            up_to=self._earlier.summed_up_to if self._earlier.summed_in == zone else 0,
        )

    def counted(self, answers: Answers, books: Days, is_business_day: Callable[[date], bool]) -> Compared | None:
        """`books`: as read."""
        if self._then is not None:
            return self._then.counted(answers, books, is_business_day)
        if self._earlier is None:
            return None
        return _loaded(answers, self._earlier, self._first, self._last, is_business_day)


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def elections(election_id: str) -> tuple[_Question, ...]:
    """Asks for the election's day, and for the last ones before it: on record, and loaded. See `SameWeek`."""
    held_on = select(Election.held_on).where(Election.id == election_id).scalar_subquery()
    own = (
        select(Election.name, Election.held_on, Election.id, LedgerDaysUpTo.zone, LedgerDaysUpTo.seq)
        .outerjoin(LedgerDaysUpTo, LedgerDaysUpTo.election_id == Election.id)
        .where(Election.held_on < held_on)
        .order_by(Election.held_on.desc(), Election.id)
        .limit(1)
        .subquery()
    )
    loaded = (
        select(PastRequest.election, PastRequest.held_on)
        .where(PastRequest.held_on < held_on)
        .order_by(PastRequest.held_on.desc(), PastRequest.election)
        .limit(1)
        .subquery()
    )
    one: ColumnElement[int] = literal_column("1")
    return (
        question(_THIS, Election.held_on, number=one).where(Election.id == election_id),
        question(_OWN, own.c.name, own.c.held_on, own.c.id, own.c.zone, number=func.coalesce(own.c.seq, 0)),
        question(_LOADED, loaded.c.election, loaded.c.held_on, number=one),
    )


def _last_before(answers: Answers) -> _Earlier | None:
    # Of two of the same day the service's own record goes before a file.
    found = [
        _Earlier(row.first or "", date.fromisoformat(row.second or ""), row.third, row.fourth, row.number)
        for row in (*answers[_OWN], *answers[_LOADED])
    ]
    return max(found, key=lambda one: (one.held_on, one.election_id is not None), default=None)


def _of_a_file(earlier: _Earlier, first: date, last: date) -> list[_Question]:
    of_it = (PastRequest.election == earlier.name, PastRequest.held_on == earlier.held_on)
    came = (PastRequest.kind, PastRequest.outcome, PastRequest.cause, PastRequest.style)
    mailed = (PastRequest.received_on, PastRequest.mailed_on)
    received = (*of_it, PastRequest.received_on >= first, PastRequest.received_on <= last)
    reissued = (*received, PastRequest.outcome == REISSUED)
    return [
        question(_CAME, *came).where(*received).group_by(*came),
        question(_LANGUAGES, PastRequest.language).where(*received).group_by(PastRequest.language),
        question(_PRECINCTS, PastRequest.precinct).where(*reissued).group_by(PastRequest.precinct),
        question(_MAILED, *mailed)
        .where(*of_it, PastRequest.mailed_on >= first, PastRequest.mailed_on <= last)
        .group_by(*mailed),
    ]


def _loaded(
    answers: Answers, earlier: _Earlier, first: date, last: date, is_business_day: Callable[[date], bool]
) -> Compared:
    came, mailed = answers[_CAME], answers[_MAILED]
    reissued = [row for row in came if row.second == REISSUED]
    promised = [(promised_after(date.fromisoformat(row.first or ""), is_business_day), row) for row in mailed]
    return Compared(
        earlier.name,
        first,
        last,
        _sum(came),
        _sum(reissued),
        _times((row.first or "", row.number) for row in came),
        _sum(mailed),
        sum(row.number for day, row in promised if date.fromisoformat(row.second or "") <= day),
        _said((row.third, row.number) for row in reissued),
        _said((row.fourth, row.number) for row in reissued),
        _said((row.first, row.number) for row in answers[_PRECINCTS]),
        _said(((row.first, row.number) for row in answers[_LANGUAGES]), NO_LANGUAGE),
    )


def _sum(rows: Iterable[Answer]) -> int:
    return sum(row.number for row in rows)


def _times(pairs: Iterable[tuple[str, int]]) -> dict[str, int]:
    """How often each comes, the most frequent first."""
    found = Counter[str]()
    for name, count in pairs:
        found[name] += count
    return dict(sorted(found.items(), key=lambda pair: (-pair[1], pair[0])))


def _said(pairs: Iterable[tuple[str | None, int]], unknown: str = UNKNOWN) -> dict[str, int] | None:
    """How often each stands in a file; None where it says nothing of any of its lines."""
    found = _times((name or "", count) for name, count in pairs)
    return None if found.keys() == {""} else _times((name or unknown, count) for name, count in found.items())


def beside(week: Week, what: str, others: Sequence[Compared] | None = None) -> Part:
    """One part of the week beside the `others` (all that it has, unless told otherwise). `what`: kind, language, cause,
    style or precinct."""
    those = week.others if others is None else others
    return part_of(what, week.counted_by[what], [one.counted_by[what] for one in those])


def part_of(what: str, these: Mapping[str, int], those: Sequence[Mapping[str, int] | None]) -> Part:
    """Each name that any of the days has, with its number now and those of the other days, None where nothing is known
    of them; in the alphabetical order of what people call them."""
    part = Part(*_PARTS[what], [])
    for name in sorted({*these, *chain.from_iterable(then or () for then in those)}, key=part.called):
        thens = tuple(None if then is None else then.get(name, 0) for then in those)
        part.rows.append((name, these.get(name, 0), thens))
    return part


def parts(week: Week) -> dict[str, Part]:
    """All parts of the week, each beside all other days."""
    return {what: beside(week, what) for what in _PARTS}
