"""A request put on hold, with the reason and the day on which it is back. It comes back by itself: nothing has to run
for that, since a hold is over once its moment has passed.

Never beyond the last moment to ask by mail: what comes back too late to be granted was refused by the calendar.
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, and_
from sqlalchemy.orm import Session

from replacements.requests import office
from replacements.requests.assigning import LONGEST_NOTE, open_one
from replacements.requests.carrying_out import Refused
from replacements.requests.deciding import Stale
from replacements.rules.calendar import is_mailing_day, last_request, local
from replacements.rules.office import Rules
from replacements.store.database import Database
from replacements.store.tables import Request, RequestStep, VoterRow

CAN_BE_HELD = ("waiting", "second")  # `asked` waits for the voter already
SEARCHED = 30  # days back for the last mailing day that a hold may end on


def on_hold(at: datetime) -> ColumnElement[bool]:
    """Requests that are on hold at this moment."""
    return and_(Request.state.in_(CAN_BE_HELD), Request.held_until.is_not(None), Request.held_until > at)


def is_held(request: Request, at: datetime) -> bool:
    """Whether this request is on hold at this moment."""
    return request.state in CAN_BE_HELD and request.held_until is not None and request.held_until > at


def last_day(rules: Rules, at: datetime, *, overseas: bool = False) -> date:
    """The last day on which a request that is held may come back: the last mailing day on which it can still be
    granted by mail; once that has passed, the day of the election."""
    limit = local(rules, last_request(rules, overseas=overseas)).date()
    days = (limit - timedelta(days=back) for back in range(SEARCHED))
    found = next((day for day in days if is_mailing_day(rules, day)), limit)
    return found if found > local(rules, at).date() else rules.election.date


def hold(
    database: Database, request_id: int, *, version: int, until: date, reason: str, by: str, at: datetime
) -> datetime:
    """Put it on hold until the beginning of a day of the office's. Returns that moment. Raises Refused or Stale.

    It raises the request's version: who has the page open and approves is told instead that it is on hold.
    """
    reason = reason.strip()
    if not reason:
        raise Refused("Say why it is put on hold.")
    if len(reason) > LONGEST_NOTE:
        raise Refused(f"The reason is longer than {LONGEST_NOTE} characters.")
    with database.write() as session:
        request = _this_version(session, request_id, version)
        if request.state not in CAN_BE_HELD:
            raise Refused("This request waits for the voter already.")
        force = office.of(session, request.election_id, at=at)
        if force is None:
            raise Refused("No rules are loaded for this request's election.")
        voter = session.get(VoterRow, request.voter_id) if request.voter_id else None
        latest = last_day(force.rules, at, overseas=bool(voter and voter.overseas))
        if until <= local(force.rules, at).date():
            raise Refused("Choose a day after today.")
        if until > latest:
            raise Refused(f"Choose a day up to {latest:%A, %B} {latest.day}: later it could not be granted any more.")
        moment = datetime.combine(until, time.min, tzinfo=ZoneInfo(force.rules.office.time_zone))
        request.held_until, request.held_because = moment, reason
        request.version += 1
        session.add(RequestStep(request_id=request.id, at=at, account=by, what="held", until=moment, note=reason))
        return moment


def bring_back(database: Database, request_id: int, *, version: int, by: str, at: datetime) -> None:
    """End a hold before its time. Raises Refused or Stale."""
    with database.write() as session:
        request = _this_version(session, request_id, version)
        if not is_held(request, at):
            raise Refused("This request is not on hold.")
        request.held_until = request.held_because = None
        request.version += 1
        session.add(RequestStep(request_id=request.id, at=at, account=by, what="back"))


def _this_version(session: Session, request_id: int, version: int) -> Request:
    request = open_one(session, request_id)
    if request.version != version:
        raise Stale("Somebody else changed this request while you were looking at it.")
    return request
