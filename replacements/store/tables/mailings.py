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

    `state`: queued, frozen, mailed, pulled. Frozen when the mailing closes: `channel` (post; or electronic, sent by
    the office's own system), and by post `label` (the address lines), `tracking` and `routing` (the numbers of the
    postal barcode, where one is printed)."""

    __tablename__ = "packets"
    id: Mapped[int] = mapped_column(primary_key=True)
    mailing_id: Mapped[int] = mapped_column(ForeignKey("mailings.id"))
    request_id: Mapped[int | None] = mapped_column(ForeignKey("requests.id"))
    voter_id: Mapped[str]
    ballot_number: Mapped[str | None] = mapped_column(ForeignKey("ballots.number"))
    # Of the ballot, and of the request: counted by thousands, and so found without looking these up.
    style: Mapped[str | None]
    received_at: Mapped[datetime | None]
    contents: Mapped[list[Any]]
    state: Mapped[str] = mapped_column(default="queued")
    queued_at: Mapped[datetime]
    label: Mapped[list[Any] | None]
    fault: Mapped[str | None]  # why no label can be printed
    printed: Mapped[int] = mapped_column(default=0)
    channel: Mapped[str] = mapped_column(default="post", server_default="post")
    tracking: Mapped[str | None]
    routing: Mapped[str | None]
    __table_args__ = (
        Index(
            "one_packet_per_ballot",
            "ballot_number",
            unique=True,
            sqlite_where=text("ballot_number IS NOT NULL AND state <> 'pulled'"),
            postgresql_where=text("ballot_number IS NOT NULL AND state <> 'pulled'"),
        ),
        Index("packets_of_a_request", "request_id"),
        Index("packets_of_a_mailing", "mailing_id", "state", "received_at", "request_id"),
    )


class Signature(Base):
    """One of the two people who sign a mailing off, with what each counted: ballots picked, packets labelled, packets
    sealed, ballots sent electronically (None where there was nothing of that to count).

    `sha256` is the manifest that was signed. A signature counts while the mailing's manifest is still that one."""

    __tablename__ = "signatures"
    id: Mapped[int] = mapped_column(primary_key=True)
    mailing_id: Mapped[int] = mapped_column(ForeignKey("mailings.id"))
    account: Mapped[str]
    picked: Mapped[int | None]  # None: signed when packets alone were counted
    labelled: Mapped[int | None]
    sealed: Mapped[int]
    electronic: Mapped[int | None]
    sha256: Mapped[str] = mapped_column(default="", server_default="")
    at: Mapped[datetime]
    __table_args__ = (UniqueConstraint("mailing_id", "account", "sha256", name="two_different_people"),)


class StockEntry(Base):
    """One entry of the books of blank ballots, per style.

    `kind`: opening (the first count), received, spoiled, destroyed, counted (a count later on), used (by a mailing).
    `state`: waiting (one person has counted), agreed (two people have, or a mailing went), differs, withdrawn. `change`
    is what an agreed entry adds to the stock. The database refuses a change of an entry that waits no longer."""

    __tablename__ = "stock_entries"
    id: Mapped[int] = mapped_column(primary_key=True)
    election_id: Mapped[str] = mapped_column(ForeignKey("elections.id"))
    style: Mapped[str]
    kind: Mapped[str]
    state: Mapped[str]
    number: Mapped[int]
    change: Mapped[int | None]
    first_by: Mapped[str]
    first_at: Mapped[datetime]
    second_by: Mapped[str | None]
    second_at: Mapped[datetime | None]
    second_number: Mapped[int | None]
    note: Mapped[str] = mapped_column(default="")
    mailing_id: Mapped[int | None] = mapped_column(ForeignKey("mailings.id"))
    __table_args__ = (
        Index("stock_entries_of_a_style", "election_id", "style"),
        Index(
            "one_stock_entry_waits",
            "election_id",
            "style",
            "kind",
            unique=True,
            sqlite_where=text("state = 'waiting'"),
            postgresql_where=text("state = 'waiting'"),
        ),
    )
