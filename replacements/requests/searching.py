"""Searching requests: by number, name, address, and by what the writer said."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from sqlalchemy import ColumnElement, Select, func, or_, select, union
from sqlalchemy.orm import InstrumentedAttribute, Session

from replacements.requests import letter_words
from replacements.requests.listing import A_PAGE
from replacements.store.tables import Ballot, FoundBy, Message, Request

LONGEST = 200  # characters that are searched for
_MANY = 500  # messages


@dataclass(frozen=True, slots=True)
class Found:
    """What was found, newest first. `below`: the number to go on below; None at the end. `opened_all`: whether the
    words of all letters were looked through; else only those of the newest were."""

    rows: Sequence[tuple[Request, Message]]
    below: int | None
    opened_all: bool = True


def search(session: Session, wanted: str, *, personal: bool, below: int | None = None) -> Found:
    """Requests by a ballot's number; with `personal` also by the voter's id, name and address, the sender, the subject
    and the words of the letter. `below`: only requests with a smaller number."""
    query = select(Request, Message).join(Message, Request.message_id == Message.id)
    if below is not None:
        query = query.where(Request.id < below)
    query = query.order_by(Request.id.desc()).limit(A_PAGE + 1)
    by_ballot = or_(Request.voided_ballot == wanted, Request.issued_ballot == wanted)
    if not personal:
        return _found(session.execute(query.where(by_ballot)).all(), opened_all=True)
    owned = select(Ballot.voter_id).where(Ballot.number == wanted)
    by_number = or_(by_ballot, Request.voter_id == wanted, Request.voter_id.in_(owned))
    messages, opened_all = letter_words.search(session, wanted)
    numbers = {
        *session.scalars(
            union(
                _newest(select(Request.id).where(by_number), Request.id, below),
                _newest(select(FoundBy.request_id).where(_named(session, wanted)), FoundBy.request_id, below),
            )
        ),
        *_of(session, messages, below),
    }
    newest = sorted(numbers, reverse=True)[: A_PAGE + 1]
    return _found(session.execute(query.where(Request.id.in_(newest))).all(), opened_all=opened_all)


def _found(rows: Sequence[tuple[Request, Message]], *, opened_all: bool) -> Found:
    shown = [(request, message) for request, message in rows[:A_PAGE]]
    return Found(shown, shown[-1][0].id if len(rows) > A_PAGE else None, opened_all)


def _newest(query: Select[int], number: InstrumentedAttribute[int], below: int | None) -> Select[int]:
    """A page of them and one more: nothing beyond can be shown."""
    if below is not None:
        query = query.where(number < below)
    one = query.order_by(number.desc()).limit(A_PAGE + 1).subquery()
    return select(one.c[0])


def _named(session: Session, wanted: str) -> ColumnElement[bool]:
    """Whatever its case. What is found by was made small by the database: SQLite, and PostgreSQL with the locale C, do
    so with the letters of ASCII alone, so that others are also looked for in the usual cases."""
    forms = dict.fromkeys(_small(form) for form in (wanted.lower(), wanted, wanted.upper(), wanted.title()))
    place = func.instr if session.get_bind().dialect.name == "sqlite" else func.strpos
    return or_(*(place(FoundBy.words, form) > 0 for form in forms))


def _small(form: str) -> str:
    return "".join(sign.lower() if sign.isascii() else sign for sign in form)


def _of(session: Session, messages: Collection[int], below: int | None) -> list[int]:
    """The newest requests of these messages; of very many, among the newest of all: what stands in many letters is
    found soon."""
    if len(messages) <= _MANY:
        few = select(Request.id).where(Request.message_id.in_(messages))
        return list(session.scalars(_newest(few, Request.id, below)))
    newest = select(Request.id, Request.message_id).order_by(Request.id.desc())
    if below is not None:
        newest = newest.where(Request.id < below)
    found: list[int] = []
    for number, message_id in session.execute(newest, execution_options={"yield_per": _MANY}):
        if message_id in messages:
            found.append(number)
            if len(found) > A_PAGE:
                break
    return found
