"""Whose a request is: somebody takes it, gives it to another with a note, or lays it back for everybody.

It says who works on it and nothing of what is decided: whoever may decide may still decide, and a colleague who is ill
holds nobody up. So it leaves the request's version alone; two who take it at once are told apart by whom each saw.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.requests.carrying_out import Refused
from replacements.store.database import Database
from replacements.store.tables import OPEN_STATES, Request, RequestStep

LONGEST_NOTE = 1000  # characters


class Taken(Exception):
    """Somebody else's hands were faster; the text says whose. Nothing has changed."""


def assign(
    database: Database,
    request_id: int,
    *,
    to: str,
    seen: str,
    by: str,
    at: datetime,
    note: str = "",
    among: Collection[str],
) -> str:
    """Make it the request of the account `to`; "" lays it back for everybody. Returns a sentence about it.

    `seen`: whose it was on the page that the person had before them, "" for nobody's. `among`: the accounts that may
    decide requests. Whoever hands over what is somebody's already says why in the note. Raises Refused or Taken.
    """
    note = note.strip()
    if to and to not in among:
        raise Refused("Choose somebody who decides requests.")
    if len(note) > LONGEST_NOTE:
        raise Refused(f"The note is longer than {LONGEST_NOTE} characters.")
    with database.write() as session:
        request = open_one(session, request_id)
        present = request.assigned_to or ""
        if present != seen:
            raise Taken(f"This request is {f'with {present}' if present else 'nobody’s'} by now. Nothing was changed.")
        if present == to:
            raise Refused(f"This request is {'yours' if to == by else f'with {to}' if to else 'nobody’s'} already.")
        if to and to != by and present and not note:
            raise Refused("Say in the note what the next one has to know.")
        request.assigned_to = to or None
        what = "released" if not to else "taken" if to == by else "given"
        session.add(RequestStep(request_id=request.id, at=at, account=by, what=what, to_account=to, note=note))
        return {"released": "Laid back: it is nobody’s now.", "taken": "It is yours now."}.get(what, f"Given to {to}.")


def open_one(session: Session, request_id: int) -> Request:
    """The request, locked. Raises Refused where it is decided, or there is none."""
    request = session.scalars(select(Request).where(Request.id == request_id).with_for_update()).first()
    if request is None:
        raise Refused(f"There is no request {request_id}.")
    if request.state not in OPEN_STATES:
        raise Refused("This request is decided already.")
    return request


def steps(session: Session, request_id: int) -> list[RequestStep]:
    """All that was done about who works on a request and when, the first first."""
    return list(
        session.scalars(select(RequestStep).where(RequestStep.request_id == request_id).order_by(RequestStep.id))
    )
