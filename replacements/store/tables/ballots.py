"""Ballots, and the ledger of everything that happened to them."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, Date, ForeignKey, Index, String, text
from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.tables.base import BALLOT_STATES, LIVE, Base


class Ballot(Base):
    """A ballot. Numbers are never reused and rows never deleted; a voter has at most one live ballot an election."""

    __tablename__ = "ballots"
    number: Mapped[str] = mapped_column(primary_key=True)
    election_id: Mapped[str] = mapped_column(ForeignKey("elections.id"))
    voter_id: Mapped[str] = mapped_column(String, index=True)
    style: Mapped[str]
    state: Mapped[str]
    mailed_on: Mapped[date | None] = mapped_column(Date)
    returned_on: Mapped[date | None] = mapped_column(Date)
    replaces: Mapped[str | None] = mapped_column(ForeignKey("ballots.number"))
    void_reason: Mapped[str | None]
    imported_state: Mapped[str | None]  # what the office's own system last said, to list disagreements
    __table_args__ = (
        CheckConstraint(f"state IN {BALLOT_STATES!r}", name="ballot_state_known"),
        Index(
            "one_live_ballot",
            "election_id",
            "voter_id",
            unique=True,
            sqlite_where=text(LIVE),
            postgresql_where=text(LIVE),
        ),
        Index(
            "one_accepted_ballot",
            "election_id",
            "voter_id",
            unique=True,
            sqlite_where=text("state = 'accepted'"),
            postgresql_where=text("state = 'accepted'"),
        ),
        Index(
            "ballots_to_cure",
            "election_id",
            sqlite_where=text("state = 'challenged'"),
            postgresql_where=text("state = 'challenged'"),
        ),
        Index("ballots_by_style_and_state", "election_id", "style", "state"),
        Index(
            "replacements_of_a_voter",
            "election_id",
            "voter_id",
            sqlite_where=text("replaces IS NOT NULL"),
            postgresql_where=text("replaces IS NOT NULL"),
        ),
        Index(
            "one_replacement_standing",
            "replaces",
            unique=True,
            sqlite_where=text("replaces IS NOT NULL AND state <> 'voided'"),
            postgresql_where=text("replaces IS NOT NULL AND state <> 'voided'"),
        ),
    )


class LedgerEntry(Base):
    """One event. `hash` = SHA-256 over the hash before it and this entry's canonical JSON. Insert only."""

    __tablename__ = "ledger"
    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[str]  # ISO 8601, UTC, as hashed
    event: Mapped[str]
    election_id: Mapped[str]
    ballot_number: Mapped[str | None] = mapped_column(index=True)
    voter_id: Mapped[str | None] = mapped_column(index=True)
    by: Mapped[str]  # account name, or "import", "schedule"
    details: Mapped[str]  # canonical JSON, as hashed
    prev_hash: Mapped[str] = mapped_column(unique=True)  # unique: the chain cannot fork
    hash: Mapped[str] = mapped_column(unique=True)
    __table_args__ = (
        Index(
            "ledger_by_event",  # the many imports are counted once, and never looked for
            "election_id",
            "event",
            "at",
            sqlite_where=text("event <> 'imported'"),
            postgresql_where=text("event <> 'imported'"),
        ),
    )
