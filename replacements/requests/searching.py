"""Searching requests: by number, name, address, and by what the writer said.

The words of letters are sealed where the office has keys, so no database can look through them: they are opened one by
one, newest first, and only so many at a time.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import ColumnElement, Select, or_, select
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import InstrumentedAttribute

from replacements.mail.letter import Letter
from replacements.requests.listing import A_PAGE
from replacements.store.tables import Ballot, LetterWords, Message, Request, VoterRow

LONGEST = 200  # characters that are searched for
SHORTEST = 2  # characters that the words of letters are searched for; one stands in every letter
KEPT = 8_000  # characters of a letter that are kept to be searched
MOST_OPENED = 20_000  # letters that are opened for one search
WRITTEN = (Request.person, Message.sender_name, Message.sender, Message.subject)
ROLL = (
    VoterRow.street,
    VoterRow.city,
    VoterRow.zip,
    VoterRow.mail_street,
    VoterRow.mail_city,
    VoterRow.former_last_name,
)


@dataclass(frozen=True, slots=True)
class Found:
    """What was found, newest first. `below`: the number to go on below; None at the end. `opened_all`: whether the
    words of all letters were looked through; else only those of the newest were."""

    rows: Sequence[tuple[Request, Message]]
    below: int | None
    opened_all: bool = True


def folded(text: str) -> str:
    """How words are compared: whatever their case and width, however an accent is written, one space between them."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def keep_words(session: Session, message_id: int, letter: Letter) -> None:
    """Keep what the writer of a message says, to be searched; what they quote was kept where it was written first."""
    words = folded(letter.new_text)[:KEPT]
    if words:
        session.merge(LetterWords(message_id=message_id, words=words.encode("utf-8", "replace")))


def search(session: Session, wanted: str, *, personal: bool, below: int | None = None) -> Found:
    """Requests by a ballot's number; with `personal` also by the voter's id, name and address, the sender, the subject
    and the words of the letter. `below`: only requests with a smaller number."""
    query = select(Request, Message).join(Message, Request.message_id == Message.id)
    if below is not None:
        query = query.where(Request.id < below)
    query = query.order_by(Request.id.desc())
    by_ballot = or_(Request.voided_ballot == wanted, Request.issued_ballot == wanted)
    if not personal:
        return _found(session.execute(query.where(by_ballot).limit(A_PAGE + 1)).all(), opened_all=True)
    on_record = _by_record(wanted, folds=session.get_bind().dialect.name == "sqlite")
    rows = list(
        session.execute(
            query.outerjoin(VoterRow, VoterRow.voter_id == Request.voter_id)
            .where(or_(by_ballot, on_record))
            .limit(A_PAGE + 1)
        )
    )
    numbers, opened_all = _by_words(session, wanted, below)
    missing = set(numbers) - {request.id for request, _ in rows}
    if missing:
        rows += session.execute(query.where(Request.id.in_(missing))).all()
        rows.sort(key=lambda row: -row[0].id)
    return _found(rows, opened_all=opened_all)


def _found(rows: Sequence[tuple[Request, Message]], *, opened_all: bool) -> Found:
    shown = [(request, message) for request, message in rows[:A_PAGE]]
    return Found(shown, shown[-1][0].id if len(rows) > A_PAGE else None, opened_all)


def _by_record(wanted: str, *, folds: bool) -> ColumnElement[bool]:
    """`folds`: LIKE compares the letters of ASCII whatever their case, as SQLite's does."""
    owned = select(Ballot.voter_id).where(Ballot.number == wanted)
    name = VoterRow.first_name + " " + VoterRow.last_name
    return or_(
        Request.voter_id == wanted,
        Request.voter_id.in_(owned),
        *(has for column in (*WRITTEN, name, *ROLL) for has in _has(column, wanted, folds=folds)),
    )


def _has(
    column: InstrumentedAttribute[str] | ColumnElement[str], wanted: str, *, folds: bool
) -> list[ColumnElement[bool]]:
    """Whatever its case. SQLite folds the letters of ASCII alone, so others are also asked for in the usual cases."""
    forms = [wanted] if wanted.isascii() else dict.fromkeys((wanted, wanted.lower(), wanted.upper(), wanted.title()))
    if not folds or any(sign in wanted for sign in "%_"):
        return [column.icontains(form, autoescape=True) for form in forms]
    # Every request is compared with eleven columns: to fold each once more, or to mind signs that are not there, takes
    # as long again as the comparing.
    return [column.like(f"%{form}%") for form in forms]


def _by_words(session: Session, wanted: str, below: int | None) -> tuple[list[int], bool]:
    """The numbers of the newest requests whose letters hold these words, and whether all letters were opened."""
    words = folded(wanted)
    if len(words) < SHORTEST:
        return [], True
    query: Select[int, bytes] = (
        select(Request.id, LetterWords.words)
        .join(LetterWords, LetterWords.message_id == Request.message_id)
        .order_by(Request.id.desc())
        .limit(MOST_OPENED)
    )
    if below is not None:
        query = query.where(Request.id < below)
    found: list[int] = []
    opened = 0
    sought = words.encode()
    for number, kept in session.execute(query.execution_options(yield_per=500)):
        opened += 1
        if sought in kept:
            found.append(number)
            if len(found) > A_PAGE:
                break
    return found, opened < MOST_OPENED
