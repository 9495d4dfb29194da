"""The elections, and the rules that hold for each."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Date, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.tables.base import Base


class Election(Base):
    """One election. `id` is the election's date and name in short, e.g. `2026-11-03-general`."""

    __tablename__ = "elections"
    id: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str]
    held_on: Mapped[date] = mapped_column(Date)
    created_at: Mapped[datetime]


class AdoptedRules(Base):
    """The office's rules as an official adopted them; the newest row of an election is in force. Never changed."""

    __tablename__ = "adopted_rules"
    id: Mapped[int] = mapped_column(primary_key=True)
    election_id: Mapped[str] = mapped_column(ForeignKey("elections.id"))
    sha256: Mapped[str]
    source: Mapped[str]  # the file's text, whole
    adopted_by: Mapped[str | None]  # None: loaded, not adopted; nothing is voided under it
    adopted_at: Mapped[datetime | None]
    loaded_at: Mapped[datetime]
