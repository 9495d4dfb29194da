"""The tables. What must never be broken is a constraint or a trigger here (see the migrations), not a promise in code.

Times are stored in UTC and handed out aware. JSON columns hold what was shown to a person, as it was shown.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    CheckConstraint,
    Date,
    DateTime,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
    text,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

LIVE_STATES = ("issued", "undeliverable", "returned", "accepted", "challenged")
BALLOT_STATES = (*LIVE_STATES, "suspended", "voided")
OPEN_STATES = ("waiting", "second", "asked")  # of a request that is not decided yet
_LIVE = "state IN ('issued', 'undeliverable', 'returned', 'accepted', 'challenged')"


class UtcDateTime(TypeDecorator[datetime]):
    """An aware datetime, kept in UTC. A naive one is a mistake and refused."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without a zone cannot be stored")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.replace(tzinfo=UTC)


class Base(DeclarativeBase):
    type_annotation_map = {datetime: UtcDateTime, dict[str, Any]: JSON, list[Any]: JSON, str: Text}  # noqa: RUF012


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
            sqlite_where=text(_LIVE),
            postgresql_where=text(_LIVE),
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
    attempts: Mapped[int] = mapped_column(default=0)


class RawMail(Base):
    """The bytes of a message as they came. Stored before the mailbox is told anything."""

    __tablename__ = "raw_mail"
    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id"), primary_key=True)
    raw: Mapped[bytes] = mapped_column(LargeBinary)


class Sighting(Base):
    """Where a message was seen: a mailbox folder's (UIDVALIDITY, UID), or a Maildir's unique name."""

    __tablename__ = "sightings"
    id: Mapped[int] = mapped_column(primary_key=True)
    source: Mapped[str]
    validity: Mapped[str]
    uid: Mapped[str]
    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id"))
    __table_args__ = (UniqueConstraint("source", "validity", "uid", name="seen_once"),)


class Request(Base):
    """One person's request, or a message that concerns no voter.

    `state`: waiting (for a clerk), second (for a second person), asked (for the voter's answer), done, declined, filed.
    `version` rises with every change; a decision names the version it was made on.
    """

    __tablename__ = "requests"
    id: Mapped[int] = mapped_column(primary_key=True)
    election_id: Mapped[str] = mapped_column(ForeignKey("elections.id"))
    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id"), index=True)
    place: Mapped[int] = mapped_column(default=0)  # which of the message's people; one row each
    person: Mapped[str] = mapped_column(default="")  # as written
    standing: Mapped[str | None]
    voter_id: Mapped[str | None] = mapped_column(index=True)
    kinds: Mapped[list[Any]]
    cause: Mapped[str | None]
    proposal: Mapped[str]
    reasons: Mapped[list[Any]]
    two_people: Mapped[bool] = mapped_column(default=False)
    judged: Mapped[dict[str, Any]]  # candidates with evidence, in_time, topics, form: what the page shows
    reply_draft: Mapped[dict[str, Any] | None]
    state: Mapped[str] = mapped_column(default="waiting", index=True)
    version: Mapped[int] = mapped_column(default=1)
    received_at: Mapped[datetime] = mapped_column(index=True)
    decision: Mapped[str | None]  # the action taken, as in proposals.types.Action, or "declined"
    decision_note: Mapped[str | None]  # why, where it differs from the proposal
    first_by: Mapped[str | None]  # the first of two people
    decided_by: Mapped[str | None]
    decided_at: Mapped[datetime | None]
    voided_ballot: Mapped[str | None] = mapped_column(ForeignKey("ballots.number"))
    issued_ballot: Mapped[str | None] = mapped_column(ForeignKey("ballots.number"))
    continues: Mapped[int | None] = mapped_column(ForeignKey("requests.id"))  # the request that this one answers
    __table_args__ = (
        UniqueConstraint("message_id", "place", name="one_request_per_person"),
        # one decision per ballot: a second request cannot void what a first one voided
        Index(
            "one_void_per_ballot",
            "voided_ballot",
            unique=True,
            sqlite_where=text("voided_ballot IS NOT NULL AND state = 'done'"),
            postgresql_where=text("voided_ballot IS NOT NULL AND state = 'done'"),
        ),
    )


class Reply(Base):
    """A reply in the outbox. `state`: held (until its mailing goes), queued, sending, sent, failed, cancelled."""

    __tablename__ = "replies"
    id: Mapped[int] = mapped_column(primary_key=True)
    request_id: Mapped[int | None] = mapped_column(ForeignKey("requests.id"), index=True)
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

    `state`: queued, frozen, mailed, pulled. `label` holds the address lines as frozen (empty while queued)."""

    __tablename__ = "packets"
    id: Mapped[int] = mapped_column(primary_key=True)
    mailing_id: Mapped[int] = mapped_column(ForeignKey("mailings.id"), index=True)
    request_id: Mapped[int | None] = mapped_column(ForeignKey("requests.id"))
    voter_id: Mapped[str]
    ballot_number: Mapped[str | None] = mapped_column(ForeignKey("ballots.number"))
    contents: Mapped[list[Any]]
    state: Mapped[str] = mapped_column(default="queued")
    queued_at: Mapped[datetime]
    label: Mapped[list[Any] | None]
    fault: Mapped[str | None]  # why no label can be printed
    printed: Mapped[int] = mapped_column(default=0)
    __table_args__ = (
        Index(
            "one_packet_per_ballot",
            "ballot_number",
            unique=True,
            sqlite_where=text("ballot_number IS NOT NULL AND state <> 'pulled'"),
            postgresql_where=text("ballot_number IS NOT NULL AND state <> 'pulled'"),
        ),
    )


class Signature(Base):
    """One of the two people who sign a mailing off, with the count each found."""

    __tablename__ = "signatures"
    id: Mapped[int] = mapped_column(primary_key=True)
    mailing_id: Mapped[int] = mapped_column(ForeignKey("mailings.id"))
    account: Mapped[str]
    counted: Mapped[int]
    at: Mapped[datetime]
    __table_args__ = (UniqueConstraint("mailing_id", "account", name="two_different_people"),)


class Stock(Base):
    """Blank ballots on hand for replacements, per style."""

    __tablename__ = "stock"
    election_id: Mapped[str] = mapped_column(ForeignKey("elections.id"), primary_key=True)
    style: Mapped[str] = mapped_column(primary_key=True)
    on_hand: Mapped[int]


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


class Correction(Base):
    """What a message really asks, as a person said who saw it misread. It changes no request; the newest of a message
    counts, and teaches (`replacements reading export`). Insert only."""

    __tablename__ = "corrections"
    id: Mapped[int] = mapped_column(primary_key=True)
    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id"), index=True)
    kinds: Mapped[list[Any]]
    cause: Mapped[str | None]
    account: Mapped[str]
    at: Mapped[datetime]


class Condition(Base):
    """How each standing job is doing, for the health page: mailbox, outbox, schedule. One row each, overwritten."""

    __tablename__ = "conditions"
    name: Mapped[str] = mapped_column(primary_key=True)
    ok: Mapped[bool]
    text: Mapped[str]
    at: Mapped[datetime]
