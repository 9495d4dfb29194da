"""The return desk: a number is typed or scanned, and the answer says whether this ballot is the live one.

An answer holds a number, a state and the voter's id, never a name: the screen stands where others see it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any, Literal
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots import life
from replacements.ballots.finding import DeskRules, Found, find
from replacements.ballots.ledger import append, canonical
from replacements.ballots.scans import clean
from replacements.store.tables import LIVE_STATES, Ballot, Election, LedgerEntry

__all__ = ["BACK", "DeskAnswer", "DeskRules", "brought_back", "clean", "look_up", "receive"]

BACK = ("returned", "accepted", "challenged")
A_MOMENT = timedelta(minutes=2)  # who scans a ballot again within it holds the same envelope, more likely than not
NO_RULES = DeskRules()
_READ_BY = {"number": "its number", "postal": "its postal barcode"}


@dataclass(frozen=True, slots=True)
class DeskAnswer:
    """What the desk is told. `lines`: the first is the answer, the others say what goes with it.

    `verdict`: "live" (accept for checking), "stop" (set aside) or "unknown" (not one of ours).
    `seen_before`: this number has been taken in at the desk already. `twice`: by the same person, a moment ago.
    `misread`: typed or read wrongly, to be read again. `event`: what is on the ledger of it, "" where nothing is.
    """

    verdict: Literal["live", "stop", "unknown"]
    number: str
    lines: tuple[str, ...]
    state: str | None = None
    voter_id: str | None = None
    seen_before: bool = False
    twice: bool = False
    misread: bool = False
    event: str = ""

    @property
    def text(self) -> str:
        return "\n".join(self.lines)

    @property
    def kind(self) -> str:
        """The answer in a word: live, again, stop, unknown, misread, brought_back. Each number has one of them."""
        if self.misread:
            return "misread"
        if self.event == "undeliverable":
            return "brought_back"
        return "again" if self.verdict == "live" and self.seen_before else self.verdict


def look_up(session: Session, number: str, *, election_id: str, rules: DeskRules = NO_RULES) -> DeskAnswer:
    """Say what this number is, recording nothing."""
    found = find(session, number, election_id=election_id, rules=rules)
    if found.ballot is None:
        return DeskAnswer("unknown", found.number, found.lines, misread=found.misread)
    return _with(session, _answer(session, found.ballot, ZoneInfo(rules.zone)), found, rules)


def receive(
    session: Session,
    number: str,
    *,
    election_id: str,
    by: str,
    at: datetime,
    on: date | None = None,
    scanned_at: datetime | None = None,
    rules: DeskRules = NO_RULES,
) -> DeskAnswer:
    """Say what this number is, and record that an envelope with it came in, on the day `on` (default: `at`, at the
    office). `scanned_at`: when it was scanned, where the page could not look it up at once.

    On the ledger: `returned` for a live ballot, `returned_after_void` for one that must be stopped, `returned_again`
    for one that was scanned before; without a ballot, with the number as read, `returned_unknown` for one that is not
    ours and `returned_misread` for one that is no number of anybody's.
    """
    zone = ZoneInfo(rules.zone)
    day = on or at.astimezone(zone).date()
    found = find(session, number, election_id=election_id, rules=rules)
    more: dict[str, Any] = {"read": found.way} if found.way != "number" else {}
    late: tuple[str, ...] = ()
    if scanned_at is not None:
        more["scanned_at"] = scanned_at.isoformat()
        if scanned_at.astimezone(zone).date() != day:
            then = _day(scanned_at.astimezone(zone).date())
            late = (f"Scanned on {then}, recorded on {_day(day)}: tell the supervisor, who says which day counts.",)
    if found.ballot is None:
        return _receive_unknown(session, found, election_id=election_id, by=by, at=at, more=more)
    ballot = life.locked(session, found.ballot.number)
    answer = _with(session, _answer(session, ballot, zone, by=by, at=at, way=found.way), found, rules)
    answer = replace(answer, lines=(*answer.lines, *late))
    if answer.verdict == "live" and ballot.state not in BACK:
        life.take_in(session, number=ballot.number, on=day, by=by, at=at, details=more)
        return replace(answer, state=ballot.state, event="returned")
    event = "returned_after_void" if answer.verdict == "stop" and not answer.seen_before else "returned_again"
    _record(session, ballot, event, by, at, {**more, "state": ballot.state, "on": day.isoformat()})
    return replace(answer, event=event)


def brought_back(
    session: Session,
    number: str,
    *,
    election_id: str,
    by: str,
    at: datetime,
    reason: str,
    rules: DeskRules = NO_RULES,
) -> DeskAnswer:
    """The post brought a packet back, for the reason that it wrote on it. A ballot that is out becomes undeliverable.

    On the ledger: `undeliverable`, or `brought_back` where that changes no ballot, each with `post_reason`.
    """
    found = find(session, number, election_id=election_id, rules=rules)
    details = {"post_reason": reason, **({"read": found.way} if found.way != "number" else {})}
    if found.ballot is None:
        more = {**details, "number": found.number}
        append(session, event="brought_back", election_id=election_id, by=by, at=at, details=more)
        return DeskAnswer("unknown", found.number, found.lines, misread=found.misread, event="brought_back")
    ballot = life.locked(session, found.ballot.number)
    if ballot.state == "issued":
        life.mark_undeliverable(session, number=ballot.number, by=by, at=at, details=details)
        lines = (f"Recorded: brought back by the post ({reason}).", "It stays live, and may be replaced on request.")
        return DeskAnswer("live", ballot.number, lines, ballot.state, ballot.voter_id, event="undeliverable")
    _record(session, ballot, "brought_back", by, at, {**details, "state": ballot.state})
    known = _answer(session, ballot, ZoneInfo(rules.zone))
    if ballot.state == "undeliverable":
        lines = ("Brought back before: nothing was changed.", f"Recorded once more, with the reason {reason}.")
        return replace(known, lines=lines, seen_before=True, event="brought_back")
    lines = (known.lines[0], f"The packet that the post brought back ({reason}) is recorded: set it aside.")
    if ballot.state in BACK:
        lines = (f"Stop: this ballot {life.in_words(ballot)}. A packet cannot be back unopened as well.", lines[1])
    return replace(known, verdict="stop", lines=lines, event="brought_back")


def _receive_unknown(
    session: Session, found: Found, *, election_id: str, by: str, at: datetime, more: dict[str, Any]
) -> DeskAnswer:
    event = "returned_misread" if found.misread else "returned_unknown"
    answer = DeskAnswer("unknown", found.number, found.lines, misread=found.misread, event=event)
    details = {**more, "number": found.number}
    seen = select(LedgerEntry.seq).where(
        LedgerEntry.ballot_number.is_(None),
        LedgerEntry.event == event,
        LedgerEntry.election_id == election_id,
        LedgerEntry.details == canonical(details),
    )
    if found.number and session.scalars(seen.limit(1)).first() is not None:
        answer = replace(answer, seen_before=True, lines=(*answer.lines, "This number was scanned before."))
    append(session, event=event, election_id=election_id, by=by, at=at, details=details)
    return answer


def _with(session: Session, answer: DeskAnswer, found: Found, rules: DeskRules) -> DeskAnswer:
    """The answer, with what is said because of how it was read, and of which election it is where there are several."""
    lines = (*answer.lines, *found.lines)
    if rules.also_open and found.ballot is not None:
        election = session.get_one(Election, found.ballot.election_id)
        lines = (*lines, f"Election: {election.name}, {_day(election.held_on)}.")
    return replace(answer, lines=lines)


def _answer(
    session: Session, ballot: Ballot, zone: ZoneInfo, *, by: str = "", at: datetime | None = None, way: str = "number"
) -> DeskAnswer:
    lines: tuple[str, ...]

    def say(
        verdict: Literal["live", "stop"], *lines: str, seen_before: bool = False, twice: bool = False
    ) -> DeskAnswer:
        return DeskAnswer(verdict, ballot.number, lines, ballot.state, ballot.voter_id, seen_before, twice)

    if ballot.state in BACK:
        just_now = _a_moment_ago(session, ballot, by, at) if at is not None else None
        if just_now is not None:
            ways = "" if just_now == way else f", once by {_READ_BY[just_now]} and now by {_READ_BY[way]}"
            lines = (
                f"Scanned twice: you took this ballot in a moment ago{ways}.",
                "The same envelope: nothing is left to do. A second envelope: stop, set it aside.",
            )
            return say("live", *lines, seen_before=True, twice=True)
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
        both = [o.number for o in others if o.state == "voided" and _stopped_before(session, o)]
        return say(
            "live",
            *lines,
            *([f"Its original {stopped.number} is suspended."] if stopped else []),
            *([f"The voter's void ballot {both[0]} came back too, and was stopped: this one counts."] if both else []),
        )
    seen = _stopped_before(session, ballot)
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
    if live is not None and live.state in BACK:
        when = f" on {_day(live.returned_on)}" if live.returned_on else ""
        lines = (*lines, f"Both came back: {live.number}{when}, which counts, and this one, which does not.")
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


def _stopped_before(session: Session, ballot: Ballot) -> bool:
    """Whether this ballot was scanned and stopped, and that scan was not undone."""
    rows = select(LedgerEntry.event).where(
        LedgerEntry.ballot_number == ballot.number, LedgerEntry.event.in_(("returned_after_void", "return_undone"))
    )
    return session.scalars(rows.order_by(LedgerEntry.seq.desc()).limit(1)).first() == "returned_after_void"


def _a_moment_ago(session: Session, ballot: Ballot, by: str, at: datetime) -> str | None:
    """How this person read the ballot when they took it in a moment ago; None where they did not."""
    entry = session.scalars(
        select(LedgerEntry)
        .where(LedgerEntry.ballot_number == ballot.number, LedgerEntry.event.in_(("returned", "returned_again")))
        .order_by(LedgerEntry.seq.desc())
        .limit(1)
    ).first()
    if entry is None or entry.by != by or at - datetime.fromisoformat(entry.at) > A_MOMENT:
        return None
    return str(json.loads(entry.details).get("read", "number"))


def _record(
    session: Session, ballot: Ballot, event: str, by: str, at: datetime, details: dict[str, Any]
) -> LedgerEntry:
    return life.record(session, ballot, event, by, at, {**details, "style": ballot.style})


def _day(day: date | None) -> str:
    return f"{day:%B} {day.day}, {day.year}" if day else "an unknown day"
