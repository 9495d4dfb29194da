"""The words of the replies where an office has put its own in place of the project's: every version, and who agreed."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.tables.base import Base


class ReplyText(Base):
    """One version of a text, as somebody wrote it; never changed. In force once somebody else has approved it.

    `version`: counted for each text and language from 1; the project's own is version 0 and stands in no row.
    `body` is None where the version is the project's own text again; the subject is then empty.
    """

    __tablename__ = "reply_texts"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    language: Mapped[str]
    version: Mapped[int]
    subject: Mapped[str]
    body: Mapped[str | None]
    reason: Mapped[str]
    written_by: Mapped[str]
    written_at: Mapped[datetime]
    __table_args__ = (UniqueConstraint("name", "language", "version", name="one_text_a_version"),)


class ReplyTextDecision(Base):
    """What became of a version: approved by somebody other than its writer (a trigger refuses the writer), or not
    wanted. Never changed; one for each version."""

    __tablename__ = "reply_text_decisions"
    id: Mapped[int] = mapped_column(primary_key=True)
    text_id: Mapped[int] = mapped_column(ForeignKey("reply_texts.id"), unique=True)
    approved: Mapped[bool]
    by: Mapped[str]
    at: Mapped[datetime]
    note: Mapped[str] = mapped_column(default="")
