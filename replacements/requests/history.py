"""What earlier messages of a conversation asked: for a running service from the database, for rehearsals in memory."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from replacements.mail.letter import Letter
from replacements.reading.types import Cause, Kind, Person
from replacements.requests.judging import THREAD_DAYS, UNDECIDED, Before, Judgement
from replacements.store.tables import OPEN_STATES, Message, Reply, Request

_person = TypeAdapter(Person)


def person_json(person: Person) -> dict[str, Any]:
    """A person as read, to be understood again by `person_of` when they answer a question."""
    kept: dict[str, Any] = _person.dump_python(person, mode="json")
    return kept


def person_of(kept: dict[str, Any]) -> Person:
    return _person.validate_python(kept)


class StoredHistory:
    """History from the database."""

    def __init__(self, session: Session, election_id: str) -> None:
        self._session = session
        self._election = election_id

    def of_conversation(self, letter: Letter) -> Sequence[Before]:
        rows = _requests_of_conversation(self._session, letter)
        return [
            Before(
                kinds=tuple(Kind(k) for k in row.kinds if k != Kind.DETAILS.value),
                cause=Cause(row.cause) if row.cause else None,
                person=person_of(row.judged["person"]),
            )
            for row in rows
            if "person" in row.judged
        ]

    def open_request(self, voter_id: str, at: datetime) -> int | None:
        rows = self._session.scalars(
            select(Request)
            .where(
                Request.election_id == self._election,
                Request.voter_id == voter_id,
                Request.state.in_(OPEN_STATES),
                Request.proposal.in_(("reissue", "statement_first")),
            )
            .order_by(Request.id)
        )
        first = rows.first()
        return first.id if first is not None else None

    def elections(self, letter: Letter, *, same_sender: bool) -> frozenset[str]:
        if not (same_sender or letter.in_reply_to or letter.references):
            return frozenset()
        rows = _requests_of_conversation(self._session, letter)
        ids = {*letter.in_reply_to, *letter.references}
        if not same_sender and not _of_thread(self._session, rows, ids):
            return frozenset()
        return frozenset(row.election_id for row in rows if row.judged.get("election_by") != UNDECIDED)


def _requests_of_conversation(session: Session, letter: Letter) -> Sequence[Request]:
    ids = [*letter.in_reply_to, *letter.references]
    by_thread: Sequence[Request] = ()
    if ids:
        by_thread = session.scalars(
            select(Request)  # each row once; PostgreSQL cannot tell whether two rows with JSON in them are the same
            .where(
                or_(
                    Request.message_id.in_(select(Message.id).where(Message.message_id.in_(ids))),
                    Request.id.in_(select(Reply.request_id).where(Reply.message_id.in_(ids))),
                )
            )
            .order_by(Request.received_at.desc())
        ).all()
    if by_thread or not letter.sender.address:
        return by_thread
    return session.scalars(
        select(Request)
        .join(Message, Message.id == Request.message_id)
        .where(
            Message.sender == letter.sender.address,
            Message.arrived_at >= letter.arrived - timedelta(days=THREAD_DAYS),
            Message.arrived_at <= letter.arrived,
        )
        .order_by(Request.received_at.desc())
        .limit(20)
    ).all()


def _of_thread(session: Session, rows: Sequence[Request], ids: set[str]) -> bool:
    """Whether these requests were found by what the letter answers, and not by its sender alone."""
    numbers = {row.id for row in rows}
    answered = select(Message.id).where(Message.message_id.in_(ids), Message.id.in_({row.message_id for row in rows}))
    replied = select(Reply.id).where(Reply.message_id.in_(ids), Reply.request_id.in_(numbers))
    return session.scalar(answered.limit(1)) is not None or session.scalar(replied.limit(1)) is not None


def earlier_request(session: Session, letter: Letter, voter_id: str | None) -> int | None:
    """The request that a message goes on with: same thread, and the same voter where both are known."""
    if not letter.in_reply_to and not letter.references:
        return None
    for row in _requests_of_conversation(session, letter):
        if voter_id is None or row.voter_id in (None, voter_id):
            return row.id
    return None


class HistoryInMemory:
    """History of a rehearsal: the messages judged so far."""

    def __init__(self) -> None:
        self._judged: list[Judgement] = []
        self._of: dict[str, list[int]] = {}  # places in `_judged` by `<` and Message-ID, and by the sender's address

    def add(self, judgement: Judgement) -> None:
        for key in {f"<{judgement.letter.message_id}", judgement.letter.sender.address}:
            self._of.setdefault(key, []).append(len(self._judged))
        self._judged.append(judgement)

    def _conversation(self, letter: Letter) -> tuple[list[Judgement], list[Judgement]]:
        """The messages of the letter's thread, and those of its sender; newest first."""
        since = letter.arrived - timedelta(days=THREAD_DAYS)

        def earlier(keys: Iterable[str]) -> list[Judgement]:
            places = sorted({place for key in keys for place in self._of.get(key, ())}, reverse=True)
            found = (self._judged[place] for place in places)
            return [j for j in found if since <= j.letter.arrived <= letter.arrived]

        thread = earlier(f"<{one}" for one in (*letter.in_reply_to, *letter.references))
        return thread, earlier([letter.sender.address] if letter.sender.address else [])

    def elections(self, letter: Letter, *, same_sender: bool) -> frozenset[str]:
        thread, sender = self._conversation(letter)
        found = thread or (sender if same_sender else [])
        places = [place for j in found for place in (j.place, *(asked.place for asked in j.asked))]
        return frozenset(place.election_id for place in places if place is not None and place.by != UNDECIDED)

    def of_conversation(self, letter: Letter) -> Sequence[Before]:
        thread, same_sender = self._conversation(letter)
        return [
            Before(
                kinds=tuple(k for k in asked.kinds if k is not Kind.DETAILS),
                cause=asked.cause,
                person=asked.person,
            )
            for judgement in thread or same_sender
            for asked in judgement.asked
        ]

    def open_request(self, voter_id: str, at: datetime) -> int | None:
        """A rehearsal decides nothing, so no request stays open in it."""
        return None
