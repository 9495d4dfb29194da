"""Accounts, sessions, and who looked at what."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.tables.base import Base


class Account(Base):
    """A member of staff. `roles`: of clerk, supervisor, mail_room, return_desk, observer."""

    __tablename__ = "accounts"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    full_name: Mapped[str] = mapped_column(default="")
    email: Mapped[str] = mapped_column(default="")
    password_hash: Mapped[str]
    roles: Mapped[list[Any]]
    active: Mapped[bool] = mapped_column(default=True)
    failures: Mapped[int] = mapped_column(default=0)  # wrong passwords in a row
    locked_until: Mapped[datetime | None]
    created_at: Mapped[datetime]


class SignIn(Base):
    """A session on the server: signing out, or switching an account off, ends it at once. `token` is hashed."""

    __tablename__ = "sign_ins"
    token: Mapped[str] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    started_at: Mapped[datetime]
    seen_at: Mapped[datetime]


class Look(Base):
    """Who looked at what that is personal, when and why: pictures opened, records searched. Insert only."""

    __tablename__ = "looks"
    id: Mapped[int] = mapped_column(primary_key=True)
    account: Mapped[str]
    what: Mapped[str]  # "picture", "voter", "raw message"
    about: Mapped[str]  # an id, never a name
    why: Mapped[str]
    at: Mapped[datetime]
