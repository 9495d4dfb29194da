"""What a supervisor should look at: more of something than chance, or one household, would bring about."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, and_, bindparam, func, select, text
from sqlalchemy.orm import Session

from replacements.store.tables import Ballot, LedgerEntry, Request
from replacements.summary.asked import Alike
from replacements.summary.control import most_by_chance, p_chart
from replacements.summary.figures import FEW, Burst, Overriding, Rate, Repeated, SharedAddress
from replacements.summary.ledger_days import utc_text
from replacements.summary.questions import Answer, question

CANCELLED, BACK_AFTER_VOID = "cancelled", "returned_after_void"
SEVERAL_VOTERS = 3
SEVERAL_REPLACEMENTS = 2
SMALLEST_BURST = 5  # requests in an hour


# In the order of one index: who has written three times at all are few. What is found is kept, and each step goes from
# it: PostgreSQL, where it knows no sizes, would find it anew for every request. "NOT" keeps SQLite from reading all
# that came before the end instead.
_WHOSE = "r.election_id = :election AND NOT (r.received_at >= :end) AND r.voter_id IS NOT NULL"
_OF_SEVERAL = text(
    f"""
    WITH often AS MATERIALIZED (
        SELECT mail_account FROM requests WHERE election_id = :election AND mail_account IS NOT NULL
        GROUP BY mail_account HAVING count(*) >= :several
    ), several AS MATERIALIZED (
        SELECT often.mail_account FROM often CROSS JOIN requests r
        WHERE r.mail_account = often.mail_account AND {_WHOSE}
        GROUP BY often.mail_account HAVING count(DISTINCT r.voter_id) >= :several AND max(r.received_at) >= :start
    )
    SELECT r.mail_account, r.id, r.voter_id FROM several CROSS JOIN requests r
    WHERE r.mail_account = several.mail_account AND {_WHOSE}
    """  # noqa: S608 (nothing but our own text)
).bindparams(
    bindparam("start", type_=Request.received_at.type),
    bindparam("end", type_=Request.received_at.type),
)


def shared_addresses(session: Session, election_id: str, start: datetime, end: datetime) -> tuple[SharedAddress, ...]:
    """Mail accounts that have written for several voters by now, and wrote in this week."""
    known = {"election": election_id, "start": start, "end": end, "several": SEVERAL_VOTERS}
    voters, numbers = defaultdict[int, set[str]](set), defaultdict[int, list[int]](list)
    for account, number, voter in session.execute(_OF_SEVERAL, known):
        voters[account].add(voter)
        numbers[account].append(number)
    found = [SharedAddress(len(voters[account]), tuple(sorted(numbers[account]))) for account in numbers]
    return tuple(sorted(found, key=lambda entry: (-entry.voters, entry.requests)))


def several_replacements(name: str, election_id: str) -> Select[*tuple[Any, ...]]:
    """Asks for the voters with two or more replacements in this election, without those that were taken back."""
    replacements = (Ballot.election_id == election_id, Ballot.replaces.is_not(None))
    # The index alone says who had several; only their ballots are looked at.
    several = select(Ballot.voter_id).where(*replacements).group_by(Ballot.voter_id)
    return (
        question(name, Ballot.voter_id)
        .where(*replacements, Ballot.voter_id.in_(several.having(func.count() >= SEVERAL_REPLACEMENTS)))
        .where((Ballot.state != "voided") | Ballot.void_reason.is_(None) | (Ballot.void_reason != CANCELLED))
        .group_by(Ballot.voter_id)
        .having(func.count() >= SEVERAL_REPLACEMENTS)
    )


def repeated(rows: Iterable[Answer]) -> tuple[Repeated, ...]:
    """What `several_replacements` was answered, the most first."""
    found = [Repeated(row.first or "", row.number) for row in rows]
    return tuple(sorted(found, key=lambda one: (-one.replacements, one.voter_id)))


def back_after_void(name: str, election_id: str, start: datetime, end: datetime) -> Select[*tuple[Any, ...]]:
    """Asks for the scans of voided ballots that came back, and those that were undone as mistakes."""
    undone = and_(LedgerEntry.event == "return_undone", LedgerEntry.details.not_like('%"to":%'))
    return (
        question(name, LedgerEntry.event, LedgerEntry.ballot_number, number=LedgerEntry.seq)
        .where(LedgerEntry.election_id == election_id, text("event <> 'imported'"))
        .where(LedgerEntry.event.in_((BACK_AFTER_VOID, "return_undone")))
        .where((LedgerEntry.event == BACK_AFTER_VOID) | undone)
        .where(LedgerEntry.at >= utc_text(start), LedgerEntry.at < utc_text(end))
    )


def voided_returned(rows: Iterable[Answer]) -> tuple[str, ...]:
    """What `back_after_void` was answered: the numbers of the ballots, without scans that were undone."""
    in_order = sorted(rows, key=lambda row: row.number)
    undone = {row.second for row in in_order if row.first != BACK_AFTER_VOID}
    came = (row.second for row in in_order if row.first == BACK_AFTER_VOID)
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


def overriding(decided: Mapping[Alike, int]) -> tuple[Overriding, ...]:
    """Members of staff whose share of decisions otherwise than proposed lies above the limits around that of all.
    `decided`: what people decided.

    Who has more hard cases decides otherwise more often: it is a reason to look, and nothing more. With fewer than two
    people there is nobody to compare, and nobody is named for a handful of decisions: one of one is no habit.
    """
    decisions, otherwise = Counter[str](), Counter[str]()
    for one, count in decided.items():
        decisions[one.decided_by or ""] += count
        otherwise[one.decided_by or ""] += count if one.overridden else 0
    names = sorted(decisions)
    if len(names) < 2:
        return ()
    chart = p_chart([otherwise[name] for name in names], [decisions[name] for name in names])
    return tuple(
        Overriding(name, decisions[name], otherwise[name], point)
        for name, point in zip(names, chart.points, strict=True)
        if point.value > point.upper and otherwise[name] >= FEW
    )
