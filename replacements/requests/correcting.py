"""A person says what a message really asks. It is kept to teach by; no request and no ballot is changed by it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots import ledger
from replacements.reading.types import Cause, Kind
from replacements.store.database import Database
from replacements.store.tables import Correction, Request

WANTED = (Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED)  # only of these is there a cause


class NotCorrected(Exception):
    """What was said cannot be kept; the text says why. Nothing has changed."""


def correct(
    database: Database, request_id: int, *, kinds: Iterable[str], cause: str, by: str, at: datetime
) -> Correction:
    """Keep what the message of this request asks, and why a ballot is wanted (`cause`; empty: not told, or none is).

    A cause of a message that wants no ballot is left out. Raises NotCorrected.
    """
    said = set(kinds)
    if not said:
        raise NotCorrected("Choose at least one kind; “other” where none of them fits.")
    if not said <= set(Kind) or cause not in {"", *Cause}:
        raise NotCorrected("There is no such kind or cause.")
    in_order = [kind.value for kind in Kind if kind in said]
    with database.write() as session:
        request = session.get(Request, request_id)
        if request is None:
            raise NotCorrected(f"There is no request {request_id}.")
        kept = Correction(
            message_id=request.message_id,
            kinds=in_order,
            cause=cause if cause and said & set(WANTED) else None,
            account=by,
            at=at,
        )
        session.add(kept)
        ledger.append(
            session,
            event="reading_corrected",
            election_id=request.election_id,
            by=by,
            at=at,
            details={"message": request.message_id, "kinds": in_order, **({"cause": kept.cause} if kept.cause else {})},
        )
    return kept


def latest(session: Session, message_id: int) -> Correction | None:
    """What counts of what was said of a message."""
    return session.scalars(
        select(Correction).where(Correction.message_id == message_id).order_by(Correction.id.desc()).limit(1)
    ).first()
