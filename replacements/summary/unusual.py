"""What a supervisor should look at: more of something than chance, or one household, would bring about."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, func, select, text
from sqlalchemy.orm import Session

from replacements.store.tables import Account, Ballot, LedgerEntry, Request
from replacements.summary.asked import LAPSED, Decided
from replacements.summary.control import most_by_chance, p_chart
from replacements.summary.figures import FEW, Burst, Overriding, Rate, Repeated, SharedAddress
from replacements.summary.ledger_days import utc_text

CANCELLED = "cancelled"
SEVERAL_VOTERS = 3
SEVERAL_REPLACEMENTS = 2
SMALLEST_BURST = 5  # requests in an hour


_AT_ONCE = 500  # accounts in one question
# From the requests of these days to their senders, and from these to all that each has asked. Questions in questions,
# and CROSS JOIN for SQLite, keep both databases to this order: they would rather read every message there is.
_WHOSE = """r.election_id = :election AND r.received_at < :end AND r.voter_id IS NOT NULL"""
_times = (bindparam("start", type_=Request.received_at.type), bindparam("end", type_=Request.received_at.type))
_ACCOUNTS_OF_SEVERAL = text(
    f"""
    WITH accounts AS MATERIALIZED (
        SELECT DISTINCT (SELECT lower(m.sender) FROM messages m WHERE m.id = r.message_id) AS account
        FROM requests r WHERE {_WHOSE} AND r.received_at >= :start
    )
    SELECT account FROM accounts WHERE account <> '' AND (
        SELECT count(DISTINCT r.voter_id) FROM messages m CROSS JOIN requests r
        WHERE lower(m.sender) = account AND r.message_id = m.id AND {_WHOSE}
    ) >= :several
    """  # noqa: S608 (nothing but our own text)
).bindparams(*_times)
_THEIR_REQUESTS = text(
    f"""
    SELECT lower(m.sender), r.id, r.voter_id FROM messages m CROSS JOIN requests r
    WHERE lower(m.sender) IN :some AND r.message_id = m.id AND {_WHOSE}
    """  # noqa: S608
).bindparams(bindparam("some", expanding=True), _times[1])


def shared_addresses(session: Session, election_id: str, start: datetime, end: datetime) -> tuple[SharedAddress, ...]:
    """Mail accounts that have written for several voters by now, and wrote in this week. The addresses stay here."""
    known = {"election": election_id, "start": start, "end": end}
    accounts = session.scalars(_ACCOUNTS_OF_SEVERAL, known | {"several": SEVERAL_VOTERS}).all()
    voters, numbers = defaultdict[str, set[str]](set), defaultdict[str, list[int]](list)
    for some in (accounts[n : n + _AT_ONCE] for n in range(0, len(accounts), _AT_ONCE)):
        rows = session.execute(_THEIR_REQUESTS, {"election": election_id, "end": end, "some": some})
        for account, number, voter in rows:
            voters[account].add(voter)
            numbers[account].append(number)
    found = [SharedAddress(len(voters[account]), tuple(sorted(numbers[account]))) for account in accounts]
    return tuple(sorted(found, key=lambda entry: (-entry.voters, entry.requests)))


def repeated(session: Session, election_id: str) -> tuple[Repeated, ...]:
    """Voters with two or more replacements in this election; those that were taken back are not counted."""
    replacements = (Ballot.election_id == election_id, Ballot.replaces.is_not(None))
    # The index alone says who had several; only their ballots are looked at.
    several = select(Ballot.voter_id).where(*replacements).group_by(Ballot.voter_id)
    rows = session.execute(
        select(Ballot.voter_id, func.count())
        .where(*replacements, Ballot.voter_id.in_(several.having(func.count() >= SEVERAL_REPLACEMENTS)))
        .where((Ballot.state != "voided") | Ballot.void_reason.is_(None) | (Ballot.void_reason != CANCELLED))
        .group_by(Ballot.voter_id)
        .having(func.count() >= SEVERAL_REPLACEMENTS)
        .order_by(func.count().desc(), Ballot.voter_id)
    )
    return tuple(Repeated(voter_id, count) for voter_id, count in rows)


def voided_returned(session: Session, election_id: str, start: datetime, end: datetime) -> tuple[str, ...]:
    """The numbers of voided ballots that came back, without scans that were undone as mistakes."""
    rows = session.execute(
        select(LedgerEntry.event, LedgerEntry.ballot_number, LedgerEntry.details)
        .where(LedgerEntry.election_id == election_id, text("event <> 'imported'"))
        .where(LedgerEntry.event.in_(("returned_after_void", "return_undone")))
        .where(LedgerEntry.at >= utc_text(start), LedgerEntry.at < utc_text(end))
        .order_by(LedgerEntry.seq)
    ).all()
    undone = {number for event, number, details in rows if event == "return_undone" and '"to":' not in details}
    came = (number for event, number, _ in rows if event == "returned_after_void")
    return tuple(dict.fromkeys(number for number in came if number and number not in undone))


def bursts(before: Mapping[datetime, int], week: Mapping[datetime, int], office: ZoneInfo) -> tuple[Burst, ...]:
    """Hours of this week with more requests than the same hour of the day brought in the four weeks before it. Both
    are numbers of requests by hour. Without an earlier day there is nothing to compare."""
    if not before:
        return ()
    days = len({hour.astimezone(office).date() for hour in before})
    usual = Counter[int]()
    for hour, count in before.items():
        usual[hour.astimezone(office).hour] += count
    found = []
    for hour, count in sorted(week.items()):
        expected = usual[hour.astimezone(office).hour] / days
        limit = max(most_by_chance(expected, len(week)), SMALLEST_BURST - 1)
        if count > limit:
            found.append(Burst(hour, count, expected, limit))
    return tuple(found)


def above(rates: Iterable[Rate]) -> tuple[Rate, ...]:
    """Those whose rate is higher than chance explains; and not by one or two alone."""
    return tuple(r for r in rates if r.point is not None and r.point.value > r.point.upper and not r.few)


def overriding(session: Session, decided: Sequence[Decided]) -> tuple[Overriding, ...]:
    """Members of staff whose share of decisions otherwise than proposed lies above the limits around that of all.

    Who has more hard cases decides otherwise more often: it is a reason to look, and nothing more. With fewer than two
    people there is nobody to compare, and nobody is named for a handful of decisions: one of one is no habit.
    """
    people = set(session.scalars(select(Account.name)))
    counted = [r for r in decided if r.decided_by in people and r.decision not in (None, LAPSED)]
    decisions = Counter(r.decided_by or "" for r in counted)
    otherwise = Counter(r.decided_by or "" for r in counted if r.overridden)
    names = sorted(decisions)
    if len(names) < 2:
        return ()
    chart = p_chart([otherwise[name] for name in names], [decisions[name] for name in names])
    return tuple(
        Overriding(name, decisions[name], otherwise[name], point)
        for name, point in zip(names, chart.points, strict=True)
        if point.value > point.upper and otherwise[name] >= FEW
    )
