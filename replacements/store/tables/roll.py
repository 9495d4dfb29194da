"""The roll as it was last taken in, and the index by which voters are found."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Boolean, ForeignKey, Index, Integer, LargeBinary
from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.tables.base import Base


class VoterRow(Base):
    """A line of the roll, as `replacements.roll.types.Voter`. `number`: by which the index knows them; None for who is
    not on the present roll, but was once. Numbers are never used twice."""

    __tablename__ = "voters"
    voter_id: Mapped[str] = mapped_column(primary_key=True)
    last_name: Mapped[str]
    first_name: Mapped[str]
    middle_name: Mapped[str] = mapped_column(default="")
    suffix: Mapped[str] = mapped_column(default="")
    birth_date: Mapped[str] = mapped_column(default="")
    street: Mapped[str] = mapped_column(default="")
    unit: Mapped[str] = mapped_column(default="")
    city: Mapped[str] = mapped_column(default="")
    state: Mapped[str] = mapped_column(default="")
    zip: Mapped[str] = mapped_column(default="")
    mail_street: Mapped[str] = mapped_column(default="")
    mail_unit: Mapped[str] = mapped_column(default="")
    mail_city: Mapped[str] = mapped_column(default="")
    mail_state: Mapped[str] = mapped_column(default="")
    mail_zip: Mapped[str] = mapped_column(default="")
    mail_country: Mapped[str] = mapped_column(default="")
    precinct: Mapped[str] = mapped_column(default="")
    style: Mapped[str] = mapped_column(default="")
    language: Mapped[str] = mapped_column(default="")
    email: Mapped[str] = mapped_column(default="")
    phone: Mapped[str] = mapped_column(default="")
    former_last_name: Mapped[str] = mapped_column(default="")
    status: Mapped[str] = mapped_column(default="active")
    id_required: Mapped[bool] = mapped_column(Boolean, default=False)
    overseas: Mapped[bool] = mapped_column(Boolean, default=False)
    protected: Mapped[bool] = mapped_column(Boolean, default=False)
    number: Mapped[int | None] = mapped_column(Integer)
    __table_args__ = (Index("one_number_a_voter", "number", unique=True),)


class RollBucket(Base):
    """A part of the index by which voters are found; what the bytes are is told in `replacements.roll.postings`."""

    __tablename__ = "roll_buckets"
    bucket: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    postings: Mapped[bytes] = mapped_column(LargeBinary)


class RollLines(Base):
    """The lines of the last roll file that were taken, in its order: what of a newer file is known already
    (`replacements.roll.register`)."""

    __tablename__ = "roll_lines"
    chunk: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    lines: Mapped[bytes] = mapped_column(LargeBinary)


class RollImport(Base):
    """An import of a roll file that was taken. `form`: how its lines were read (headings, columns, program)."""

    __tablename__ = "roll_imports"
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime]
    form: Mapped[str]
    lines: Mapped[int] = mapped_column(Integer)
    added: Mapped[int] = mapped_column(Integer)
    changed: Mapped[int] = mapped_column(Integer)
    removed: Mapped[int] = mapped_column(Integer)
    refused: Mapped[int] = mapped_column(Integer)
    highest: Mapped[int] = mapped_column(Integer)  # the highest number that a voter was given so far


class VoterChange(Base):
    """What an import changed about a voter that ballots depend on: style, precinct, status. Never changed."""

    __tablename__ = "voter_changes"
    id: Mapped[int] = mapped_column(primary_key=True)
    voter_id: Mapped[str] = mapped_column(index=True)
    import_id: Mapped[int] = mapped_column(ForeignKey("roll_imports.id"))
    at: Mapped[datetime]
    field: Mapped[str]
    was: Mapped[str]
    became: Mapped[str]


class NameCount(Base):
    """How many voters share a (normalised) name. `part` is `last` or `first`; `all` counts the voters on the roll, and
    `keys` names the version of the keys in the index."""

    __tablename__ = "name_counts"
    part: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(primary_key=True)
    voters: Mapped[int] = mapped_column(Integer)
