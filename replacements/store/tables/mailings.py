"""Mailings, their packets and signatures, and the stock they are made from."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import Date, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.tables.base import Base


class Mailing(Base):
    """The mailing of one business day. `state`: open, closed (frozen, being signed), mailed."""

    __tablename__ = "mailings"
    id: Mapped[int] = mapped_column(primary_key=True)
    election_id: Mapped[str] = mapped_column(ForeignKey("elections.id"))
    goes_on: Mapped[date] = mapped_column(Date)
    state: Mapped[str] = mapped_column(default="open")
    closed_at: Mapped[datetime | None]
    closed_by: Mapped[str | None]
    mailed_at: Mapped[datetime | None]
    manifest: Mapped[dict[str, Any] | None]  # counts, numbers, SHA-256
    __table_args__ = (UniqueConstraint("election_id", "goes_on", name="one_mailing_a_day"),)


class Packet(Base):
    """What goes to one voter in one mailing: a replacement ballot, or materials alone.

    `state`: queued, frozen, mailed, pulled. `label` holds the address lines as frozen (empty while queued)."""

    __tablename__ = "packets"
    id: Mapped[int] = mapped_column(primary_key=True)
    mailing_id: Mapped[int] = mapped_column(ForeignKey("mailings.id"), index=True)
    request_id: Mapped[int | None] = mapped_column(ForeignKey("requests.id"))
    voter_id: Mapped[str]
    ballot_number: Mapped[str | None] = mapped_column(ForeignKey("ballots.number"))
    contents: Mapped[list[Any]]
    state: Mapped[str] = mapped_column(default="queued")
    queued_at: Mapped[datetime]
    label: Mapped[list[Any] | None]
    fault: Mapped[str | None]  # why no label can be printed
    printed: Mapped[int] = mapped_column(default=0)
    __table_args__ = (
        Index(
            "one_packet_per_ballot",
            "ballot_number",
            unique=True,
            sqlite_where=text("ballot_number IS NOT NULL AND state <> 'pulled'"),
            postgresql_where=text("ballot_number IS NOT NULL AND state <> 'pulled'"),
        ),
    )


class Signature(Base):
    """One of the two people who sign a mailing off, with the count each found."""

    __tablename__ = "signatures"
    id: Mapped[int] = mapped_column(primary_key=True)
    mailing_id: Mapped[int] = mapped_column(ForeignKey("mailings.id"))
    account: Mapped[str]
    counted: Mapped[int]
    at: Mapped[datetime]
    __table_args__ = (UniqueConstraint("mailing_id", "account", name="two_different_people"),)


class Stock(Base):
    """Blank ballots on hand for replacements, per style."""

    __tablename__ = "stock"
    election_id: Mapped[str] = mapped_column(ForeignKey("elections.id"), primary_key=True)
    style: Mapped[str] = mapped_column(primary_key=True)
    on_hand: Mapped[int]
