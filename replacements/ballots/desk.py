"""The return desk: a number is typed or scanned, and the answer says whether this ballot is the live one.

An answer holds a number, a state and the voter's id, never a name: the screen stands where others see it.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots import life
from replacements.ballots.ledger import append, canonical
from replacements.ballots.numbers import has_check_digit
from replacements.store.tables import LIVE_STATES, Ballot, LedgerEntry

BACK = ("returned", "accepted", "challenged")
LONGEST_NUMBER = 40


@dataclass(frozen=True, slots=True)
class DeskAnswer:
    """What the desk is told. `lines`: the first is the answer, the others say what goes with it.

    `verdict`: "live" (accept for checking), "stop" (set aside) or "unknown" (not one of ours).
    `seen_before`: this number has been taken in at the desk already.
    """

    verdict: Literal["live", "stop", "unknown"]
    number: str
    lines: tuple[str, ...]
    state: str | None = None
    voter_id: str | None = None
    seen_before: bool = False

    @property
    def text(self) -> str:
        return "\n".join(self.lines)


def clean(typed: str) -> str:
    """A number as typed or scanned, without spaces, dashes and what cannot be seen; capital letters."""
    kept = (c for c in unicodedata.normalize("NFKC", typed) if unicodedata.category(c)[0] not in "ZC")
    return "".join(c for c in kept if unicodedata.category(c) != "Pd").upper()


def look_up(session: Session, number: str, *, election_id: str, zone: str = "UTC") -> DeskAnswer:
    """Say what this number is, recording nothing. `zone` is the office's, for the dates in the answer."""
    ballot = _find(session, number, election_id)
    if ballot is None:
        return _unknown(session, number)
    return _answer(session, ballot, ZoneInfo(zone))


def receive(
    session: Session,
    number: str,
    *,
    election_id: str,
    by: str,
    at: datetime,
    on: date | None = None,
    zone: str = "UTC",
) -> DeskAnswer:
    """Say what this number is, and record that an envelope with it came in, on the day `on` (default: `at` in `zone`).

    On the ledger: `returned` for a live ballot, `returned_after_void` for one that must be stopped, `returned_again`
    for one that was scanned before, `returned_unknown` (no ballot; the number as read) for one that is not ours.
    """
    office_zone = ZoneInfo(zone)
    day = on or at.astimezone(office_zone).date()
    found = _find(session, number, election_id)
    if found is None:
        answer = _unknown(session, number)
        as_read = canonical({"number": answer.number})
        seen = select(LedgerEntry.seq).where(
            LedgerEntry.ballot_number.is_(None),
            LedgerEntry.event == "returned_unknown",
            LedgerEntry.election_id == election_id,
            LedgerEntry.details == as_read,
        )
        if session.scalars(seen.limit(1)).first() is not None:
            answer = replace(answer, seen_before=True, lines=(*answer.lines, "This number was scanned before."))
        details = {"number": answer.number}
        append(session, event="returned_unknown", election_id=election_id, by=by, at=at, details=details)
        return answer
    ballot = life.locked(session, found.number)
    answer = _answer(session, ballot, office_zone)
    if answer.verdict == "live" and ballot.state not in BACK:
        life.take_in(session, number=ballot.number, on=day, by=by, at=at)
        return replace(answer, state=ballot.state)
    append(
        session,
        event="returned_after_void" if answer.verdict == "stop" and not answer.seen_before else "returned_again",
        election_id=ballot.election_id,
        by=by,
        at=at,
        ballot_number=ballot.number,
        voter_id=ballot.voter_id,
        details={"state": ballot.state, "on": day.isoformat(), "style": ballot.style},
    )
    return answer


def _find(session: Session, typed: str, election_id: str) -> Ballot | None:
    """By the number as typed first (an office's own numbers may hold dashes), then without spaces and dashes."""
    session.flush()
    for number in dict.fromkeys((typed.strip(), clean(typed))):
        if number and len(number) <= LONGEST_NUMBER:
            ballot = session.get(Ballot, number, populate_existing=True)
            if ballot is not None and ballot.election_id == election_id:
                return ballot
    return None


def _unknown(session: Session, typed: str) -> DeskAnswer:
    number = clean(typed)
    if not number:
        return DeskAnswer("unknown", "", ("No number was read: scan again.",))
    if len(number) > LONGEST_NUMBER or not number.isalnum():
        return DeskAnswer("unknown", "", ("Not one of ours: this is not a ballot number. Scan again.",))
    if session.get(Ballot, number) is not None:
        return DeskAnswer("unknown", number, ("Not one of ours: it belongs to another election. Set it aside.",))
    hint = "Check the number, digit by digit" if not has_check_digit(number) else "Scan it again"
    return DeskAnswer("unknown", number, (f"Not one of ours. {hint}; if it stays, set it aside.",))


def _answer(session: Session, ballot: Ballot, zone: ZoneInfo) -> DeskAnswer:
    lines: tuple[str, ...]

    def say(verdict: Literal["live", "stop"], *lines: str, seen_before: bool = False) -> DeskAnswer:
        return DeskAnswer(verdict, ballot.number, lines, ballot.state, ballot.voter_id, seen_before)

    if ballot.state in BACK:
        when = f" on {_day(ballot.returned_on)}" if ballot.returned_on else ""
        second = {"accepted": "It is accepted.", "challenged": "It is challenged, and waits to be cured."}
        lines = ("Live, but taken in before" + when + ".", "If this is a second envelope, stop: set it aside.")
        return say("live", *lines, *([second[ballot.state]] if ballot.state in second else []), seen_before=True)
    others = session.scalars(
        select(Ballot).where(
            Ballot.voter_id == ballot.voter_id,
            Ballot.election_id == ballot.election_id,
            Ballot.number != ballot.number,
        )
    ).all()
    live = next((other for other in others if other.state in LIVE_STATES), None)
    if ballot.state in ("issued", "undeliverable"):
        lines = ("Live: accept for checking.",)
        if ballot.mailed_on is None and ballot.replaces is not None:
            lines = (*lines, "Its mailing has not been signed off: tell the supervisor.")
        stopped = next((other for other in others if other.state == "suspended"), None)
        return say("live", *lines, *([f"Its original {stopped.number} is suspended."] if stopped else []))
    seen = _scanned_before(session, ballot)
    again = ("This ballot was scanned before.",) if seen else ()
    if ballot.state == "suspended":
        since = _since(session, ballot, "suspended", zone)
        if live is None or live.state not in BACK:
            gone = [f"Its replacement {live.number} is not back, and is voided by this return."] if live else []
            return say("live", f"Live: it was suspended{since}, and is back first. Accept for checking.", *gone)
        first = f"Stop: suspended{since}, replaced by {live.number}, which came back first."
        return say("stop", first, "Set it aside for a person to decide.", *again, seen_before=seen)
    successor = _successor(ballot, others)
    since = _since(session, ballot, "voided", zone)
    reason = f" ({ballot.void_reason.replace('_', ' ')})" if ballot.void_reason else ""
    lines = (f"Stop: voided{since}{reason}" + (f", replaced by {successor.number}." if successor else "."),)
    if live is not None and live is not successor:
        lines = (*lines, f"The voter's live ballot is {live.number}.")
    return say("stop", *lines, *again, seen_before=seen)


def _successor(ballot: Ballot, others: Sequence[Ballot]) -> Ballot | None:
    """The ballot that replaced this one: the standing one, else one that stood and was replaced in its turn."""
    of_this = [other for other in others if other.replaces == ballot.number]
    return next((o for o in of_this if o.state != "voided"), None) or next(
        (o for o in of_this if o.void_reason != life.CANCELLED), None
    )


def _since(session: Session, ballot: Ballot, event: str, zone: ZoneInfo) -> str:
    """Such as "on October 7, 2031", from the ledger; nothing where the ledger does not say when it became so."""
    at = session.scalar(
        select(LedgerEntry.at)
        .where(LedgerEntry.ballot_number == ballot.number, LedgerEntry.event == event)
        .order_by(LedgerEntry.seq.desc())
        .limit(1)
    )
    return f" on {_day(datetime.fromisoformat(at).astimezone(zone).date())}" if at else ""


def _scanned_before(session: Session, ballot: Ballot) -> bool:
    rows = select(LedgerEntry.seq).where(
        LedgerEntry.ballot_number == ballot.number, LedgerEntry.event == "returned_after_void"
    )
    return session.scalars(rows.limit(1)).first() is not None


def _day(day: date | None) -> str:
    return f"{day:%B} {day.day}, {day.year}" if day else "an unknown day"
