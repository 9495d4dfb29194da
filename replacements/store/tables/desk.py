"""What the return desk scanned, as it was answered: a working list beside the ledger, which is the record."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.tables.base import Base


class DeskScan(Base):
    """One number that was taken in. `key` is made by the page: the same scan that is sent twice is one scan.

    `answer` is what the desk was told. `ledger_seq` is the entry that records it, `undone_seq` the one that undoes it.
    """

    __tablename__ = "desk_scans"
    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(unique=True)
    account: Mapped[str]
    at: Mapped[datetime]
    election_id: Mapped[str] = mapped_column(ForeignKey("elections.id"))
    ballot_number: Mapped[str | None] = mapped_column(ForeignKey("ballots.number"))
    answer: Mapped[dict[str, Any]]
    list_key: Mapped[str | None]  # of the list that it came in with
    place: Mapped[int] = mapped_column(default=0)  # in that list, from 1
    ledger_seq: Mapped[int]
    undone_seq: Mapped[int | None]
    __table_args__ = (
        Index("scans_of_an_account", "account", "id"),
        Index("scans_of_a_list", "list_key", "place"),
    )
