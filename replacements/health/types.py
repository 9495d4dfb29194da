"""What is measured of the service, and what is found in it. Nothing in these is personal."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum


class State(StrEnum):
    """How one part is doing."""

    WORKING = "working"
    BEHIND = "behind"  # something is late, or waits for a person
    BROKEN = "broken"
    UNUSED = "not in use"


class Part(StrEnum):
    """What is looked at, each by its name in lists, answers and metrics."""

    DATABASE = "database"
    SCHEMA = "schema"
    REDIS = "redis"
    QUEUES = "queues"
    MAILBOX = "mailbox"
    READING = "reading"
    SET_ASIDE = "set_aside"
    REPLIES = "replies"
    MAILING = "mailing"
    LEDGER = "ledger"
    BACKUP = "backup"
    DISK = "disk"
    CLOCK = "clock"
    KEYS = "keys"
    JOBS = "jobs"

    @property
    def called(self) -> str:
        """What people call it."""
        return _TITLES[self]


_TITLES = {
    Part.DATABASE: "Database",
    Part.SCHEMA: "Schema",
    Part.REDIS: "Redis",
    Part.QUEUES: "Work for the workers",
    Part.MAILBOX: "Mailbox",
    Part.READING: "Reading of mail",
    Part.SET_ASIDE: "Messages set aside",
    Part.REPLIES: "Replies",
    Part.MAILING: "Next mailing",
    Part.LEDGER: "Ledger and books",
    Part.BACKUP: "Backup",
    Part.DISK: "Disk",
    Part.CLOCK: "Clock",
    Part.KEYS: "Keys of stored mail",
    Part.JOBS: "Other jobs",
}

QUEUES = ("intake", "reading", "replies", "nightly")  # as the worker's programs call them
HANDED_OUT = "handed_out_at"  # a task's header: when it was put into its queue, in seconds since 1970

WITHOUT_WHICH_NOTHING = frozenset({Part.DATABASE, Part.SCHEMA, Part.KEYS})


@dataclass(frozen=True, slots=True)
class Finding:
    """How one part is doing, in words. `since`: the moment that the words speak of, if any."""

    part: Part
    state: State
    words: str
    since: datetime | None = None

    @property
    def in_order(self) -> bool:
        return self.state in (State.WORKING, State.UNUSED)


@dataclass(frozen=True, slots=True)
class Health:
    """Every part, in the order in which they stand on the page."""

    at: datetime
    findings: tuple[Finding, ...]

    def with_(self, finding: Finding) -> Health:
        """The same with this in place of what was found about that part."""
        return Health(self.at, (*(one for one in self.findings if one.part is not finding.part), finding))

    @property
    def in_order(self) -> bool:
        """Whether nothing at all is behind or broken."""
        return all(one.in_order for one in self.findings)

    @property
    def serves(self) -> bool:
        """Whether the service can do its work, however much of it waits."""
        return not any(one.state is State.BROKEN and one.part in WITHOUT_WHICH_NOTHING for one in self.findings)


@dataclass(frozen=True, slots=True)
class Said:
    """What a standing job said last, and when."""

    name: str
    ok: bool
    text: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Counted:
    """How many there are, and since when the oldest is there."""

    number: int = 0
    oldest: datetime | None = None


@dataclass(frozen=True, slots=True)
class NextMailing:
    """The mailing of an election that is filled at the moment: the packets in it, the requests that may still join."""

    election_id: str
    goes_on: date
    closes_at: datetime
    packets: int
    undecided: int


@dataclass(frozen=True, slots=True)
class Disk:
    """A folder's disk. `free` and `size` in bytes."""

    folder: str
    free: int
    size: int


@dataclass(frozen=True, slots=True)
class Stored:
    """What the database says. Counts are of the whole office; `unsigned` and `not_closed` hold the days of mailings."""

    rules_loaded: bool
    mailboxes: tuple[Said, ...]
    outbox: Said | None
    sending: Said | None
    books: Said | None
    backup: Said | None
    others: tuple[Said, ...]
    messages: dict[str, int]
    arrived_last_day: int
    to_read: Counted
    set_aside_open: int
    requests: dict[str, int]
    oldest_request: datetime | None
    replies: dict[str, int]
    due: Counted
    mailings: tuple[NextMailing, ...]
    not_closed: tuple[date, ...]
    unsigned: tuple[date, ...]
    ledger_entries: int
    newest_at: datetime | None
    zone_trouble: str
    keys_trouble: str
    sealed: bool
    said: tuple[Said, ...] = ()  # by all standing jobs, in the order of their names


@dataclass(frozen=True, slots=True)
class Figures:
    """Everything that is measured, at one moment. Of a database that cannot be used, `stored` is None.

    `schema`: the one that is there, `head`: the one that this program is written for. `redis`: None where the jobs run
    in process, else what is wrong with it, empty for nothing. `apart`: how far the database's clock is from this one.
    `queues`: the tasks that no worker has taken up yet, by queue; empty where Redis does not say.
    """

    at: datetime
    kind: str
    database_trouble: str
    schema: str | None
    head: str
    schema_known: bool
    redis: str | None
    disks: tuple[Disk, ...]
    backups_set: bool
    apart: timedelta | None
    stored: Stored | None
    queues: dict[str, Counted] = field(default_factory=dict)
