"""Accounts, sessions, and who looked at what."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.tables.base import Base


class Account(Base):
    """A member of staff. `roles`: of clerk, supervisor, mail_room, return_desk, observer."""

    __tablename__ = "accounts"
    __table_args__ = (Index("one_account_of_a_provider_name", "provider_name", unique=True),)
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
    provider_name: Mapped[str | None]  # what the office's own sign-in service calls this person


class SignIn(Base):
    """A session on the server: signing out, or switching an account off, ends it at once. `token` is hashed.

    `outstanding`: "" once everything was given; "code" while a second factor is to be given, "set_up" while one is to
    be set up. `second`: the kind of second factor that was given, "" for none. `browser`: in plain words.
    `challenge`: what a security key was last asked to sign.
    """

    __tablename__ = "sign_ins"
    __table_args__ = (Index("sign_ins_of_an_account", "account_id"), {"sqlite_autoincrement": True})
    id: Mapped[int] = mapped_column(primary_key=True)
    token: Mapped[str] = mapped_column(unique=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    started_at: Mapped[datetime]
    seen_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    idle_minutes: Mapped[int]
    browser: Mapped[str] = mapped_column(default="")
    outstanding: Mapped[str] = mapped_column(default="")
    second: Mapped[str] = mapped_column(default="")
    challenge: Mapped[str] = mapped_column(default="")


class Factor(Base):
    """A second factor. `kind`: "totp" (`data` is the sealed key, `counter` the last time step that was taken) or
    "key" (`data` is the public key, `counter` the key's own count). It counts once `proved_at` is set."""

    __tablename__ = "factors"
    __table_args__ = (Index("factors_of_an_account", "account_id"), {"sqlite_autoincrement": True})
    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    kind: Mapped[str]
    label: Mapped[str] = mapped_column(default="")
    data: Mapped[bytes]
    credential_id: Mapped[str | None] = mapped_column(unique=True)
    counter: Mapped[int] = mapped_column(BigInteger, default=0)
    made_at: Mapped[datetime]
    proved_at: Mapped[datetime | None]
    used_at: Mapped[datetime | None]


class RecoveryCode(Base):
    """A code that stands in for a second factor once. Only its SHA-256 is kept."""

    __tablename__ = "recovery_codes"
    __table_args__ = (Index("recovery_codes_of_an_account", "account_id"),)
    hash: Mapped[str] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id"))
    made_at: Mapped[datetime]
    used_at: Mapped[datetime | None]


class Look(Base):
    """Who looked at what that is personal, when and why. Insert only.

    `voter_id`: whom it is about, where that is one voter.
    """

    __tablename__ = "looks"
    __table_args__ = (
        Index("looks_of_an_account", "account", "about", "at"),
        Index("looks_at_a_voter", "voter_id"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    account: Mapped[str]
    what: Mapped[str]  # "request", "mailing", "search", "picture", "raw message"
    about: Mapped[str]  # a number, never a name
    why: Mapped[str]
    at: Mapped[datetime]
    voter_id: Mapped[str | None]
