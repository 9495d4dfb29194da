"""What a week's summary holds. Everything is a count, a time, an id or a number: nothing that names a person."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import astuple, dataclass, field, fields
from datetime import date, datetime

from replacements.summary.control import Point

FEW = 5  # below which a count says little, and is shown as such


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
    95 percent interval. `business`: median, 90th and 95th percentile of the hours that fell on business days.
    `overdue`: asked for, not mailed at the week's end, and the promised day is past.
    """

    mailed: int
    kept: int
    share: float | None
    interval: tuple[float, float] | None
    median: float | None
    ninetieth: float | None
    overdue: tuple[int, ...]
    business: tuple[float, float, float] | None = None


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
    """Ballots in the five columns of a reconciliation report (RCW 29A.60.235, items u to y).

    `requested`: None for ballots that nobody had to ask for. `rejected`: voided after it had come back.
    Received = counted + rejected + pending.
    """

    requested: int | None
    issued: int
    received: int
    counted: int
    rejected: int

    @property
    def pending(self) -> int:
        return self.received - self.counted - self.rejected


@dataclass(frozen=True, slots=True)
class Where:
    """Where the ballots of a style are at the end of the last day, as the ledger says. One that came back after it was
    voided is a voided one."""

    issued: int
    out: int
    undeliverable: int
    returned: int
    accepted: int
    challenged: int
    suspended: int
    voided: int

    @classmethod
    def together(cls, every: Iterable[Where]) -> Where:
        """Their sum; nothing where there is none."""
        return cls(*map(sum, zip(*([0] * len(fields(cls)), *map(astuple, every)), strict=True)))

    @property
    def adds_up(self) -> bool:
        """Whether every ballot that was issued is somewhere, and none is anywhere that was not issued."""
        places = self.out + self.undeliverable + self.returned + self.accepted + self.challenged
        return self.issued == places + self.suspended + self.voided


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
class Burst:
    """An hour with more requests than chance alone would bring: `expected` is the mean of the same hour of the day in
    the four weeks before, `limit` the most that is still within chance."""

    hour: datetime
    requests: int
    expected: float
    limit: int


@dataclass(frozen=True, slots=True)
class Overriding:
    """Somebody who decided otherwise than proposed more often than chance explains, beside all who decide. `share` is
    theirs, with the limits for so many decisions around the share of all."""

    account: str
    decided: int
    otherwise: int
    share: Point


@dataclass(frozen=True, slots=True)
class Rate:
    """A ballot style or a precinct: `events` among `out` ballots, per thousand, with the limits for so many ballots.

    `point`: None with no ballot out. `few`: the count is too small to say much.
    """

    name: str
    out: int
    events: int
    point: Point | None

    @property
    def few(self) -> bool:
        return self.events < FEW

    @property
    def outside(self) -> bool:
        return self.point is not None and self.point.outside


@dataclass(frozen=True, slots=True)
class Share:
    """`count` of `size`, with Wilson's 95 percent interval for the share."""

    name: str
    count: int
    size: int
    low: float
    high: float

    @property
    def few(self) -> bool:
        return self.count < FEW


@dataclass(frozen=True, slots=True)
class Unusual:
    """What a supervisor should look at. `overriding` is about members of staff: for supervisors alone."""

    shared_addresses: tuple[SharedAddress, ...]
    repeated: tuple[Repeated, ...]
    voided_returned: tuple[str, ...]
    bursts: tuple[Burst, ...] = ()
    undeliverable: tuple[Rate, ...] = ()  # precincts outside the limits
    overriding: tuple[Overriding, ...] = ()

    @property
    def anything(self) -> bool:
        return bool(self.shared_addresses or self.repeated or self.voided_returned or self.bursts or self.undeliverable)


@dataclass(frozen=True, slots=True)
class Followed:
    """What people made of proposals about one kind of request at one standing. Counts of decided requests."""

    kind: str
    standing: str
    accepted: int
    changed: int
    refused: int

    @property
    def decided(self) -> int:
        return self.accepted + self.changed + self.refused


@dataclass(frozen=True, slots=True)
class Bin:
    """Claims of one size: their mean, and the share that people bore out, with its 95 percent interval."""

    what: str  # "who" (the voter) or "kind" (what is asked)
    lower: float
    upper: float
    claims: int
    right: int
    claimed: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Machine:
    """How good the proposals were, as far as people have decided. `off`: the mean distance between what was claimed and
    what came true (expected calibration error, 0 to 1), for each of "who" and "kind" that has claims."""

    followed: tuple[Followed, ...]
    bins: tuple[Bin, ...]
    off: Mapping[str, float]
    corrected: int  # messages whose reading a person put right


@dataclass(frozen=True, slots=True)
class Proposals:
    """What people made of the proposals of some days: how many requests were decided, how often what was decided
    instead of what ((proposal, decision), the most frequent first), and who did so more often than chance explains."""

    decisions: int
    overrides: Mapping[tuple[str, str], int]
    machine: Machine
    overriding: tuple[Overriding, ...]


@dataclass(frozen=True, slots=True)
class Compared:
    """The same figures of another stretch of days: the one before, or the same one of an earlier election.

    `kept` of `mailed` by the next business day; None where it is not known. `by_cause`, `by_style`, `by_precinct`:
    reissues; `by_language`: requests; None where a loaded election says it of none.
    """

    what: str
    first: date
    last: date
    requests: int
    reissues: int
    by_kind: Mapping[str, int]
    mailed: int
    kept: int | None
    by_cause: Mapping[str, int] | None = field(default_factory=dict)
    by_style: Mapping[str, int] | None = field(default_factory=dict)
    by_precinct: Mapping[str, int] | None = field(default_factory=dict)
    by_language: Mapping[str, int] | None = field(default_factory=dict)

    @property
    def counted_by(self) -> dict[str, Mapping[str, int] | None]:
        """The parts that a week is compared by."""
        return {
            "kind": self.by_kind,
            "language": self.by_language,
            "cause": self.by_cause,
            "style": self.by_style,
            "precinct": self.by_precinct,
        }


@dataclass(frozen=True, slots=True)
class Week:
    """One week, Monday to Sunday (or another stretch of days), as seen at `as_of`: its end, or the present moment if
    that is earlier."""

    election_id: str
    first: date
    last: date
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
    waiting_in_all: int
    waiting: tuple[Waiting, ...]  # the oldest first
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
    books: Mapping[str, tuple[Columns, Columns]] = field(default_factory=dict)  # all, overseas: this week, to date
    styles: tuple[Rate, ...] = ()  # spoiled ballots replaced
    precincts: tuple[Rate, ...] = ()  # ballots replaced
    kinds: tuple[Share, ...] = ()  # of all requests
    causes: tuple[Share, ...] = ()  # of all replacements
    languages: tuple[Share, ...] = ()  # of all requests
    machine: Machine = field(default_factory=lambda: Machine((), (), {}, 0))
    before: Compared | None = None
    earlier: Compared | None = None
    where: Mapping[str, Where] = field(default_factory=dict)  # by ballot style, in the order of their names

    @property
    def public(self) -> Published:
        """What may be told of it outside."""
        return Published(
            self.first,
            self.last,
            self.requests,
            self.by_kind,
            self.reissues_by_cause,
            self.reissues_by_style,
            self.voided_by_reason,
            self.speed.mailed,
            self.speed.kept,
            {"replacements": (self.this_week, self.to_date), **self.books},
        )

    @property
    def counted_by(self) -> dict[str, Mapping[str, int]]:
        """The parts that it is compared by, as those of `Compared`."""
        return {
            "kind": self.by_kind,
            "language": {share.name: share.count for share in self.languages},
            "cause": self.reissues_by_cause,
            "style": self.reissues_by_style,
            "precinct": {rate.name: rate.events for rate in self.precincts if rate.events},
        }

    @property
    def oldest_hours(self) -> float | None:
        return max((entry.hours for entry in self.waiting), default=None)

    @property
    def others(self) -> tuple[Compared, ...]:
        """The other days that these are compared with, as far as there are any."""
        return tuple(one for one in (self.before, self.earlier) if one is not None)

    @property
    def where_in_all(self) -> Where:
        """All styles together."""
        return Where.together(self.where.values())

    @property
    def do_not_add_up(self) -> tuple[str, ...]:
        """The styles whose books do not balance."""
        return tuple(style for style, where in self.where.items() if not where.adds_up)

    @property
    def styles_outside(self) -> tuple[Rate, ...]:
        """The ballot styles whose spoil rate chance alone does not explain."""
        return tuple(rate for rate in self.styles if rate.outside)


@dataclass(frozen=True, slots=True)
class Published:
    """Of a stretch of days what may be told of it outside, before small numbers are held back. `columns`: of
    replacements, all ballots and those of voters overseas, in these days and to date."""

    first: date
    last: date
    requests: int
    by_kind: Mapping[str, int]
    reissues_by_cause: Mapping[str, int]
    reissues_by_style: Mapping[str, int]
    voided_by_reason: Mapping[str, int]
    mailed: int
    kept: int
    columns: Mapping[str, tuple[Columns, Columns]]
