"""How each standing job is doing."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.tables.base import Base


class Condition(Base):
    """How each standing job is doing, for the health page: mailbox, outbox, schedule. One row each, overwritten."""

    __tablename__ = "conditions"
    name: Mapped[str] = mapped_column(primary_key=True)
    ok: Mapped[bool]
    text: Mapped[str]
    at: Mapped[datetime]
