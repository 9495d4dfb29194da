"""What a week's summary holds. Everything is a count, a time, an id or a number: nothing that names a person."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from replacements.summary.control import Point


@dataclass(frozen=True, slots=True)
class Day:
    """One day of the week, in the office's zone. `rate` is reissues per thousand ballots out; None with none out."""

    day: date
    requests: int
    reissues: int
    out: int
    rate: Point | None


@dataclass(frozen=True, slots=True)
class Speed:
    """From a request's arrival to the mailing, for packets mailed in the week. Hours; None where nothing was mailed.

    `kept` of `mailed` went out by the next business day after the request; `share` is between 0 and 1, with its
    95 percent interval. `overdue`: asked for, not mailed at the week's end, and the promised day is past.
    """

    mailed: int
    kept: int
    share: float | None
    interval: tuple[float, float] | None
    median: float | None
    ninetieth: float | None
    overdue: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Waiting:
    """A request that nobody has decided at the end of the week. `hours` since it came in."""

    request: int
    proposal: str
    state: str
    hours: float
    two_people: bool


@dataclass(frozen=True, slots=True)
class Declined:
    """A request declined or withdrawn. `note` is what the clerk wrote: for the page, never for a file or a mail."""

    request: int
    proposal: str
    decision: str
    note: str


@dataclass(frozen=True, slots=True)
class Columns:
    """Replacement ballots in the five columns of a reconciliation report (RCW 29A.60.235, items u to y).

    `rejected`: voided after it had come back. Received = counted + rejected + pending.
    """

    requested: int
    issued: int
    received: int
    counted: int
    rejected: int

    @property
    def pending(self) -> int:
        return self.received - self.counted - self.rejected


@dataclass(frozen=True, slots=True)
class SharedAddress:
    """One sender's address used for several voters: how many, and in which requests. The address itself is not here."""

    voters: int
    requests: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Repeated:
    """A voter with two or more replacements in this election."""

    voter_id: str
    replacements: int


@dataclass(frozen=True, slots=True)
class Unusual:
    """What a supervisor should look at."""

    shared_addresses: tuple[SharedAddress, ...]
    repeated: tuple[Repeated, ...]
    voided_returned: tuple[str, ...]

    @property
    def anything(self) -> bool:
        return bool(self.shared_addresses or self.repeated or self.voided_returned)


@dataclass(frozen=True, slots=True)
class Week:
    """One week, Monday to Sunday, as seen at `as_of` (its end, or the present moment if that is earlier)."""

    election_id: str
    monday: date
    sunday: date
    zone: str
    as_of: datetime
    messages: int
    requests: int
    by_kind: Mapping[str, int]
    reissues: int
    reissues_by_cause: Mapping[str, int]
    reissues_by_style: Mapping[str, int]
    taken_back: int
    speed: Speed
    waiting: tuple[Waiting, ...]
    asked: int  # decided by asking the voter; the answer is not there
    declined: tuple[Declined, ...]
    voided: int
    suspended: int
    voided_by_reason: Mapping[str, int]
    this_week: Columns
    to_date: Columns
    mean_rate: float | None  # reissues per thousand ballots out and day, over the days that the limits rest on
    days: tuple[Day, ...]
    unusual: Unusual
    decisions: int
    overrides: Mapping[tuple[str, str], int]  # (proposal, decision) that differ
    replies_sent: int
    replies_failed: int

    @property
    def oldest_hours(self) -> float | None:
        return max((entry.hours for entry in self.waiting), default=None)
