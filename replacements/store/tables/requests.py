"""Requests, and what people say of how a message was read."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from replacements.store.tables.base import Base

# A request for a replacement, as a reconciliation report counts them: one that goes on with an earlier one is not new.
ASKS_FOR_A_BALLOT = (
    "continues IS NULL AND (issued_ballot IS NOT NULL"
    " OR CAST(kinds AS TEXT) LIKE '%\"spoiled_ballot\"%'"
    " OR CAST(kinds AS TEXT) LIKE '%\"not_received\"%')"
)


class Request(Base):
    """One person's request, or a message that concerns no voter.

    `state`: waiting (for a clerk), second (for a second person), asked (for the voter's answer), done, declined, filed.
    `version` rises with every change; a decision names the version it was made on.
    """

    __tablename__ = "requests"
    id: Mapped[int] = mapped_column(primary_key=True)
    election_id: Mapped[str] = mapped_column(ForeignKey("elections.id"))
    message_id: Mapped[int] = mapped_column(ForeignKey("messages.id"), index=True)
    mail_account: Mapped[int | None] = mapped_column(BigInteger)  # that it came from; see `store.senders`
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
    # What is counted of it, in columns of its own: a week takes up thousands of requests, and no object of any.
    language: Mapped[str | None]  # of the message, None where it could not be read
    who_claimed: Mapped[str | None]  # the voter who was named first, whatever was made of it
    who_p: Mapped[float | None]  # how sure that is, 0 to 1
    kind_claimed: Mapped[str | None]  # what the message surely asks most of all
    kind_p: Mapped[float | None]
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
    # Who works on it and when, which no decision depends on; each change is a RequestStep.
    assigned_to: Mapped[str | None]  # an account's name
    held_until: Mapped[datetime | None]  # on hold until then, and back by itself
    held_because: Mapped[str | None]
    __table_args__ = (
        UniqueConstraint("message_id", "place", name="one_request_per_person"),
        Index("requests_of_an_election", "election_id", "state"),
        # one decision per ballot: a second request cannot void what a first one voided
        Index(
            "one_void_per_ballot",
            "voided_ballot",
            unique=True,
            sqlite_where=text("voided_ballot IS NOT NULL AND state = 'done'"),
            postgresql_where=text("voided_ballot IS NOT NULL AND state = 'done'"),
        ),
        # the weekly summary looks for what came in, what was decided and what waited in one week of many
        Index(
            "requests_for_a_ballot",
            "election_id",
            "received_at",
            sqlite_where=text(ASKS_FOR_A_BALLOT),
            postgresql_where=text(ASKS_FOR_A_BALLOT),
        ),
        Index("requests_of_a_week", "election_id", "received_at", "decided_at"),
        Index(
            "requests_counted",  # and takes up only this of thousands, which SQLite finds here without their rows
            "election_id",
            "received_at",
            "decided_at",
            *("message_id", "place", "voter_id", "language", "kinds", "standing", "proposal", "decision", "state"),
            *("decided_by", "who_claimed", "who_p", "kind_claimed", "kind_p"),
            info={"only": "sqlite"},
        ).ddl_if(dialect="sqlite"),
        Index(
            "requests_that_came",  # the same of PostgreSQL, for what is counted of all
            *("election_id", "received_at"),
            postgresql_include=["kinds", "language"],
            info={"only": "postgresql"},
        ).ddl_if(dialect="postgresql"),
        Index("requests_of_a_mail_account", "election_id", "mail_account"),
        Index(
            "requests_as_decided",
            "election_id",
            "decided_at",
            *("state", "proposal", "decision", "received_at", "two_people"),  # found here without their rows
        ),
        Index(
            "requests_that_issued",
            "issued_ballot",
            sqlite_where=text("issued_ballot IS NOT NULL"),
            postgresql_where=text("issued_ballot IS NOT NULL"),
        ),
        Index(
            "requests_that_go_on",  # with another
            "continues",
            sqlite_where=text("continues IS NOT NULL"),
            postgresql_where=text("continues IS NOT NULL"),
        ),
        Index(
            "requests_that_lapsed",
            "election_id",
            "decided_at",
            sqlite_where=text("decision = 'lapsed'"),
            postgresql_where=text("decision = 'lapsed'"),
        ),
        # and for the voters that one mail account has written about so far
        Index("requests_of_a_sender", "message_id", "election_id", "received_at", "voter_id"),
    )


class RequestStep(Base):
    """One step in the work on a request: who took it, gave it to whom, put it on hold until when, and with which note.

    `what`: taken, given, released, held, back. A record of work, beside the ledger, which has what was decided.
    """

    __tablename__ = "request_steps"
    id: Mapped[int] = mapped_column(primary_key=True)
    request_id: Mapped[int] = mapped_column(ForeignKey("requests.id"), index=True)
    at: Mapped[datetime]
    account: Mapped[str]
    what: Mapped[str]
    to_account: Mapped[str] = mapped_column(default="")
    until: Mapped[datetime | None]
    note: Mapped[str] = mapped_column(default="")


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
