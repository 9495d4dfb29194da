"""What the weekly summary keeps: the ledger counted by days, and requests of elections from before this service."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Date, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.tables.base import Base


class LedgerDay(Base):
    """What the ledger says of one day, added up by ballot style, by precinct and by reason (`part`; `name` is which).

    Made from the ledger and nothing else (`summary.ledger_days`); it may be thrown away and made anew. `loaded`: by an
    import. `replacement`, `overseas`: of which ballots and which voters. `out` to `voided`: how many ballots more (or
    less) are in that state at the day's end (out: `issued`); the others count what happened.
    """

    __tablename__ = "ledger_days"
    __table_args__ = ({"sqlite_with_rowid": False},)  # thousands are added up in the order of their key
    election_id: Mapped[str] = mapped_column(ForeignKey("elections.id"), primary_key=True)
    part: Mapped[str] = mapped_column(primary_key=True)
    day: Mapped[date] = mapped_column(Date, primary_key=True)  # at the office
    name: Mapped[str] = mapped_column(primary_key=True)
    loaded: Mapped[bool] = mapped_column(primary_key=True)
    replacement: Mapped[bool] = mapped_column(primary_key=True)
    overseas: Mapped[bool] = mapped_column(primary_key=True)
    issued: Mapped[int]
    out: Mapped[int]
    undeliverable: Mapped[int]
    returned: Mapped[int]
    accepted: Mapped[int]
    challenged: Mapped[int]
    suspended: Mapped[int]
    voided: Mapped[int]
    rejected: Mapped[int]
    brought_back: Mapped[int]
    reissued: Mapped[int]
    spoiled: Mapped[int]
    taken_back: Mapped[int]
    voids: Mapped[int]
    suspensions: Mapped[int]


class LedgerDaysUpTo(Base):
    """Up to which entry of the ledger `ledger_days` holds an election, and in which time zone its days are."""

    __tablename__ = "ledger_days_up_to"
    election_id: Mapped[str] = mapped_column(ForeignKey("elections.id"), primary_key=True)
    seq: Mapped[int]
    zone: Mapped[str]


class PastRequest(Base):
    """A request of an election before this service, from the office's own records, without names.

    `election` is the office's name for it, `reference` the office's own number of the request: a line that is loaded
    again is the same one. `outcome`: reissued, declined or other. `mailed_on`: None where nothing was mailed.
    """

    __tablename__ = "past_requests"
    id: Mapped[int] = mapped_column(primary_key=True)
    election: Mapped[str]
    held_on: Mapped[date] = mapped_column(Date)
    reference: Mapped[str]
    received_on: Mapped[date] = mapped_column(Date)
    kind: Mapped[str]
    cause: Mapped[str]
    outcome: Mapped[str]
    mailed_on: Mapped[date | None] = mapped_column(Date)
    style: Mapped[str]
    precinct: Mapped[str]
    language: Mapped[str]
    loaded_at: Mapped[datetime]
    __table_args__ = (
        UniqueConstraint("election", "reference", name="one_past_request_a_reference"),
        Index("past_requests_by_day", "held_on", "received_on"),
    )


class ReplyAttachment(Base):
    """A file that goes with a mail of the outbox."""

    __tablename__ = "reply_attachments"
    id: Mapped[int] = mapped_column(primary_key=True)
    reply_id: Mapped[int] = mapped_column(ForeignKey("replies.id"), index=True)
    name: Mapped[str]
    content_type: Mapped[str]
    content: Mapped[bytes]
