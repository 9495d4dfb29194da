"""What the mailbox brought, and the replies that go out."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, UniqueConstraint, func, literal_column, text
from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.sealing import Sealed
from replacements.store.tables.base import Base


class Message(Base):
    """A message, once, however often the mailbox shows it. `state`: stored, read, failed, filed."""

    __tablename__ = "messages"
    id: Mapped[int] = mapped_column(primary_key=True)
    fingerprint: Mapped[str] = mapped_column(unique=True)  # SHA-256; see replacements.requests.intake
    message_id: Mapped[str] = mapped_column(index=True, default="")
    sender: Mapped[str] = mapped_column(index=True, default="")
    sender_name: Mapped[str] = mapped_column(default="")
    subject: Mapped[str] = mapped_column(default="")
    arrived_at: Mapped[datetime]
    stored_at: Mapped[datetime]
    state: Mapped[str] = mapped_column(default="stored", index=True)
    judgement: Mapped[dict[str, Any] | None]  # as in formats: what `rehearse` prints for this message
    error: Mapped[str | None]
    attempts: Mapped[int] = mapped_column(default=0)  # readings that were begun
    reading_since: Mapped[datetime | None]  # when the last of them began
    __table_args__ = (
        Index("messages_of_a_week", "arrived_at"),
        Index("messages_of_an_account", text("lower(sender)")),  # however it is capitalised
    )


class RawMail(Base):
    """The bytes of a message as they came, sealed where the office has keys. Stored before the mailbox is told."""

    __tablename__ = "raw_mail"
    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id"), primary_key=True)
    raw: Mapped[bytes] = mapped_column(Sealed)


class LetterWords(Base):
    """What the writer of a message says, as it is searched: UTF-8, folded; sealed as the mail itself is."""

    __tablename__ = "letter_words"
    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id"), primary_key=True)
    words: Mapped[bytes] = mapped_column(Sealed)


class PackedWords(Base):
    """The same of many older letters in their order, sealed as one: to open each by itself takes ten times as long. A
    line is a message's id, a tab and its words, which hold neither."""

    __tablename__ = "packed_words"
    id: Mapped[int] = mapped_column(primary_key=True)
    first_message: Mapped[int]
    last_message: Mapped[int] = mapped_column(index=True)
    words: Mapped[bytes] = mapped_column(Sealed)


class FoundBy(Base):
    """What is known of a request by name, put together to be searched in one place, in small letters: the person as
    written, the sender, the subject, and the voter's name and addresses on the roll, a line each.

    Written by the database alone, by triggers on requests, messages and voters (migration 0021): whoever changes one of
    these, by whatever way, changes what is found.
    """

    __tablename__ = "found_by"
    request_id: Mapped[int] = mapped_column(ForeignKey("requests.id"), primary_key=True)
    words: Mapped[str]


class Sighting(Base):
    """Where a message was seen: a mailbox folder's (UIDVALIDITY, UID), or a Maildir's unique name."""

    __tablename__ = "sightings"
    id: Mapped[int] = mapped_column(primary_key=True)
    source: Mapped[str]
    validity: Mapped[str]
    uid: Mapped[str]
    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id"))
    __table_args__ = (UniqueConstraint("source", "validity", "uid", name="seen_once"),)


class Reply(Base):
    """A reply in the outbox. `state`: held (until its mailing goes), queued, sending, sent, failed, cancelled."""

    __tablename__ = "replies"
    id: Mapped[int] = mapped_column(primary_key=True)
    request_id: Mapped[int | None] = mapped_column(ForeignKey("requests.id"), index=True)
    election_id: Mapped[str | None]
    message_id: Mapped[str] = mapped_column(unique=True)  # the Message-ID that it goes out under, every time
    template: Mapped[str]
    language: Mapped[str]
    to: Mapped[str]
    subject: Mapped[str]
    text: Mapped[str]
    html: Mapped[str]
    in_reply_to: Mapped[str] = mapped_column(default="")
    references: Mapped[str] = mapped_column(default="")
    state: Mapped[str] = mapped_column(default="queued", index=True)
    attempts: Mapped[int] = mapped_column(default=0)
    queued_at: Mapped[datetime]
    next_try_at: Mapped[datetime]
    sent_at: Mapped[datetime | None]
    error: Mapped[str | None]
    # A sent reply that came back undelivered: when, why in plain words, what the servers said (it may name the voter).
    returned_at: Mapped[datetime | None]
    returned_because: Mapped[str | None]
    returned_told: Mapped[str | None]
    __table_args__ = (
        Index("replies_of_an_election", "election_id", "state", "sent_at", "request_id"),
        Index("replies_to_an_address", func.lower(literal_column('"to"'))),
    )
