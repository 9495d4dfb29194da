"""An office's own texts: written by one, approved by another, in force at once and everywhere.

Nothing is kept that does not pass the checks, and nothing is in force that one person alone has made. What is in force
is asked of the database each time, so that no process goes on with an older text.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from replacements.replies.checking import check
from replacements.replies.sources import FILES, Source, Texts, has_body, has_subject, own
from replacements.rules.office import Rules
from replacements.store.tables import ReplyText, ReplyTextDecision

LONGEST_REASON = 500
_NEWEST = (
    select(func.max(ReplyTextDecision.id))
    .join(ReplyText, ReplyText.id == ReplyTextDecision.text_id)
    .where(ReplyTextDecision.approved)
    .group_by(ReplyText.name, ReplyText.language)
)
_IN_FORCE = (
    select(ReplyText)
    .join(ReplyTextDecision, ReplyTextDecision.text_id == ReplyText.id)
    .where(ReplyTextDecision.id.in_(_NEWEST), ReplyText.body.is_not(None))
)


class NotKept(Exception):
    """It was not done; `why` says so, one sentence for each thing. Nothing has changed."""

    def __init__(self, *why: str) -> None:
        super().__init__(" ".join(why))
        self.why = why


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a text and what became of it. Version 0 is the project's own; it has no writer.

    `state`: in force, waiting, replaced (it was in force), declined, or passed over (a newer one was written before
    anybody approved it)."""

    number: int
    source: Source
    state: str
    is_own: bool
    text_id: int = 0
    written_by: str = ""
    written_at: datetime | None = None
    reason: str = ""
    decided_by: str = ""
    decided_at: datetime | None = None
    note: str = ""


def in_force(session: Session) -> Texts:
    """The texts that replies are written with at this moment."""
    rows = session.scalars(_IN_FORCE).all()
    edited = {(row.language, row.name): Source(row.subject, row.body or "") for row in rows}
    return Texts(MappingProxyType(edited)) if edited else FILES


def versions(session: Session, language: str, name: str) -> list[Version]:
    """Every version of a text, newest first; the last is the project's own. Raises LookupError where there is none."""
    original = _own(language, name)
    rows = session.execute(
        select(ReplyText, ReplyTextDecision)
        .outerjoin(ReplyTextDecision, ReplyTextDecision.text_id == ReplyText.id)
        .where(ReplyText.name == name, ReplyText.language == language)
        .order_by(ReplyText.version.desc())
    ).all()
    approved = [(decision.id, row.id) for row, decision in rows if decision is not None and decision.approved]
    used = max(approved)[1] if approved else 0
    newest = rows[0][0].id if rows else 0
    found = []
    for row, decision in rows:
        state = "waiting" if row.id == newest else "passed over"
        if decision is not None:
            state = ("in force" if row.id == used else "replaced") if decision.approved else "declined"
        found.append(
            Version(
                row.version,
                original if row.body is None else Source(row.subject, row.body),
                state,
                row.body is None,
                row.id,
                row.written_by,
                row.written_at,
                row.reason,
                decision.by if decision else "",
                decision.at if decision else None,
                decision.note if decision else "",
            )
        )
    return [*found, Version(0, original, "replaced" if used else "in force", True)]


def states(session: Session) -> dict[tuple[str, str], tuple[int, bool, bool]]:
    """Every text that somebody has edited, by language and name: the version in force (0: none of them), whether that
    is the project's own again, and whether a newer version waits."""
    found: dict[tuple[str, str], tuple[int, bool, bool]] = {}
    edited = session.execute(select(ReplyText.language, ReplyText.name).distinct()).all()
    for language, name in edited:
        try:
            every = versions(session, language, name)
        except LookupError:  # a newer program has this text no more
            continue
        used = next(version for version in every if version.state == "in force")
        found[language, name] = (used.number, used.is_own, every[0].state == "waiting")
    return found


def write(
    session: Session,
    *,
    language: str,
    name: str,
    source: Source | None,
    reason: str,
    seen: int,
    by: str,
    at: datetime,
    rules: Rules,
) -> ReplyText:
    """Keep a new version; it waits for somebody else's approval. `source` None: back to the project's own text.

    `seen`: the newest version when the writer began. Raises NotKept with every mistake, LookupError where there is no
    such text.
    """
    original = _own(language, name)
    newest = session.scalar(
        select(func.max(ReplyText.version)).where(ReplyText.name == name, ReplyText.language == language)
    )
    texts = in_force(session)
    why = []
    reason = " ".join(reason.split())
    if not reason or len(reason) > LONGEST_REASON:
        why.append(f"Say why, in one to {LONGEST_REASON} characters.")
    if (newest or 0) != seen:
        why.append("Somebody else wrote a version meanwhile: look at it below. Yours is still in the fields.")
    used = texts.of(language, name)
    if source is None and used == original:
        why.append("The project's own text is in force already.")
    if source is not None:
        source = as_kept(name, source)
        if source == used:
            why.append("These are the words that are in force already.")
        why += check(language, name, source, texts=texts, rules=rules).mistakes
    if why:
        raise NotKept(*why)
    row = ReplyText(
        name=name,
        language=language,
        version=(newest or 0) + 1,
        subject=source.subject if source else "",
        body=source.body if source else None,
        reason=reason,
        written_by=by,
        written_at=at,
    )
    try:
        with session.begin_nested():
            session.add(row)
    except IntegrityError:
        raise NotKept(
            "Somebody else wrote a version in this moment: look at it below. Yours is still in the fields."
        ) from None
    return row


def decide(
    session: Session, text_id: int, *, approved: bool, by: str, at: datetime, rules: Rules, note: str = ""
) -> ReplyText:
    """Approve a version, or say that it is not wanted. Raises NotKept where that cannot be, LookupError without one.

    Approving checks once more: the rules, or the phrases that the text uses, may be others by now.
    """
    row = session.get(ReplyText, text_id)
    if row is None:
        raise LookupError(f"there is no version {text_id}")
    waits = versions(session, row.language, row.name)[0]
    if waits.text_id != row.id or waits.state != "waiting":
        raise NotKept("This version does not wait for anybody any more.")
    if approved and row.written_by.lower() == by.lower():
        raise NotKept("You wrote this version. Somebody else must approve it.")
    if not approved and not note.strip():
        raise NotKept("Say why it is not wanted.")
    if approved and row.body is not None:
        source = Source(row.subject, row.body)
        found = check(row.language, row.name, source, texts=in_force(session), rules=rules)
        if found.mistakes:
            raise NotKept("This version does not pass the checks any more.", *found.mistakes)
    decision = ReplyTextDecision(
        text_id=row.id, approved=approved, by=by, at=at, note=" ".join(note.split())[:LONGEST_REASON]
    )
    try:
        with session.begin_nested():
            session.add(decision)
    except IntegrityError:
        raise NotKept("Somebody else decided this in this moment.") from None
    return row


def as_kept(name: str, source: Source) -> Source:
    """A text as a form sends it, in the form in which it is kept: line ends and white space at the ends."""
    lines = [line.replace("\t", " ").rstrip() for line in source.body.replace("\r\n", "\n").split("\n")]
    body = "\n".join(lines).strip("\n") if has_body(name) else ""
    return Source(source.subject.strip() if has_subject(name) else "", body)


def waiting(session: Session) -> Sequence[ReplyText]:
    """Versions that wait for somebody to approve them, oldest first."""
    return session.scalars(
        select(ReplyText).outerjoin(ReplyTextDecision, _DECIDED).where(*_waiting()).order_by(ReplyText.id)
    ).all()


def how_many_wait() -> Select[int]:
    """The number of those versions."""
    counted = select(func.count()).select_from(ReplyText).outerjoin(ReplyTextDecision, _DECIDED)
    return counted.where(*_waiting())


_DECIDED = ReplyTextDecision.text_id == ReplyText.id


def _waiting() -> tuple[ColumnElement[bool], ...]:
    newest = select(func.max(ReplyText.id)).group_by(ReplyText.name, ReplyText.language)
    return ReplyText.id.in_(newest), ReplyTextDecision.id.is_(None)


def _own(language: str, name: str) -> Source:
    original = own(language, name)
    if original is None:
        raise LookupError(f"there is no text {name!r} in {language!r}")
    return original
