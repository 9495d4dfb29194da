"""The books of blank ballots: counted by two people, and they add up; what will run out is seen before it does."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import count

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some
from sqlalchemy import delete, select, update
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from replacements.ballots.ledger import verify
from replacements.ballots.life import NotPossible
from replacements.mailings import stock
from replacements.mailings.closing import close
from replacements.mailings.forecast import Forecast, forecast
from replacements.mailings.queue import put_off
from replacements.mailings.signing import Counts, sign
from replacements.rules.office import Rules
from replacements.store.database import Database
from replacements.store.tables import Packet, StockEntry

ELECTION = "2026-11-03-general-election"
MORNING = datetime(2026, 10, 14, 13, 0, tzinfo=UTC)
CUT_OFF = datetime(2026, 10, 14, 18, 30, tzinfo=UTC)
Queue = Callable[..., Packet]
STYLES = count()


def booked(session: Session, kind: str, number: int, style: str = "07-A") -> stock.Entered:
    """Two people enter the same."""
    for by in ("mara", "joel"):
        entered = stock.enter(session, ELECTION, style, kind, number, by=by, at=MORNING)
    return entered


def style_of(session: Session, style: str = "07-A") -> stock.StyleStock:
    return next(row for row in stock.overview(session, ELECTION) if row.style == style)


def test_what_one_person_counted_is_not_booked_before_a_second_has(office: Database) -> None:
    with office.write() as session:
        first = stock.enter(session, ELECTION, "07-A", "counted", 200, by="mara", at=MORNING)
        assert first.state == "waiting"
        assert stock.overview(session, ELECTION) == ()
        assert [entry.style for entry in stock.waiting(session, ELECTION)] == ["07-A"]
        second = stock.enter(session, ELECTION, "07-A", "counted", 200, by="joel", at=MORNING)
        assert second.state == "agreed"
        assert style_of(session).on_hand == 200


def test_the_same_person_twice_is_one_person_who_corrects_a_slip(office: Database) -> None:
    with office.write() as session:
        stock.enter(session, ELECTION, "07-A", "counted", 2000, by="mara", at=MORNING)
        assert stock.enter(session, ELECTION, "07-A", "counted", 200, by="mara", at=MORNING).state == "waiting"
        assert stock.enter(session, ELECTION, "07-A", "counted", 200, by="joel", at=MORNING).state == "agreed"


def test_two_counts_that_differ_book_nothing_and_both_numbers_are_said(office: Database) -> None:
    with office.write() as session:
        stock.enter(session, ELECTION, "07-A", "counted", 200, by="mara", at=MORNING)
        differs = stock.enter(session, ELECTION, "07-A", "counted", 198, by="joel", at=MORNING)
        assert differs.state == "differs"
        assert "mara counted 200" in differs.text
        assert "you counted 198" in differs.text
        assert stock.overview(session, ELECTION) == ()
        assert not stock.waiting(session, ELECTION)


def test_opening_and_received_less_used_spoiled_and_destroyed_is_what_is_there(
    office: Database, queue: Queue, rules: Rules
) -> None:
    with office.write() as session:
        booked(session, "counted", 100)
        booked(session, "received", 50)
        booked(session, "spoiled", 3)
        booked(session, "destroyed", 20)
        mailing_id = queue(session, "8000017").mailing_id
        queue(session, "8000025")
        queue(session, "8000033", style="07-B")  # nobody counted this style: it stays so
        close(session, mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        for account in ("mara", "joel"):
            signed = sign(session, mailing_id, account=account, counts=Counts(3, 3, 3), at=CUT_OFF)
        assert signed.state == "mailed"
        books = style_of(session)
        assert (books.opening, books.received, books.used, books.spoiled, books.destroyed) == (100, 50, 2, 3, 20)
        assert books.on_hand == 100 + 50 - 2 - 3 - 20
        assert [row.style for row in stock.overview(session, ELECTION)] == ["07-A"]
        assert verify(session).broken is None


def test_a_count_that_is_not_the_books_sets_them_right_and_says_by_how_much(office: Database) -> None:
    with office.write() as session:
        booked(session, "counted", 100)
        assert "The books had 100" in booked(session, "counted", 97).text
        books = style_of(session)
        assert (books.opening, books.found, books.on_hand) == (100, -3, 97)


@pytest.mark.parametrize(
    ("kind", "number", "why"),
    [
        ("counted", -1, "below 0"),
        ("received", 0, "nothing to enter"),
        ("received", 5, "Count first"),
        ("lent", 5, "Say what was counted"),
    ],
)
def test_what_cannot_be_entered_is_refused_in_plain_words(office: Database, kind: str, number: int, why: str) -> None:
    with office.write() as session, pytest.raises(NotPossible, match=why):
        stock.enter(session, ELECTION, "07-A", kind, number, by="mara", at=MORNING)


def test_more_than_the_books_have_cannot_spoil(office: Database) -> None:
    with office.write() as session:
        booked(session, "counted", 2)
        with pytest.raises(NotPossible, match="3 cannot leave"):
            stock.enter(session, ELECTION, "07-A", "spoiled", 3, by="mara", at=MORNING)


def test_the_database_keeps_what_two_people_agreed_on(office: Database) -> None:
    with office.write() as session:
        booked(session, "counted", 100)
    for change in (update(StockEntry).values(number=1, change=1), delete(StockEntry)):
        with pytest.raises(DBAPIError, match="never changed"), office.write() as session:
            session.execute(change)


def test_a_shortage_is_seen_while_the_packets_still_wait(office: Database, queue: Queue) -> None:
    with office.write() as session:
        booked(session, "counted", 1)
        booked(session, "counted", 9, "07-C")
        queue(session, "8000017")
        assert not stock.shortages(session, ELECTION)
        queue(session, "8000025")
        queue(session, "8000033", style="07-B")
        assert stock.overview(session, ELECTION) == (
            stock.StyleStock("07-A", 1, 2),
            stock.StyleStock("07-B", None, 1),
            stock.StyleStock("07-C", 9, 0),
        )
        assert [(row.style, row.short) for row in stock.shortages(session, ELECTION)] == [("07-A", 1)]


moves = some.lists(some.tuples(some.sampled_from(stock.ENTERED), some.integers(0, 40), some.booleans()), max_size=12)


def _pile_after(pile: int | None, kind: str, number: int) -> int | None:
    """What is in a pile of paper after this; -1 where nobody could do it."""
    if pile is None:
        return number if kind == "counted" else -1
    if number == 0 and kind != "counted":
        return -1
    after = {"counted": number, "received": pile + number}.get(kind, pile - number)
    return after if after >= 0 else -1


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(moves=moves)
def test_whatever_is_entered_the_books_are_what_a_pile_of_paper_would_be(
    office: Database, moves: list[tuple[str, int, bool]]
) -> None:
    """Each entry on which two people agree changes the pile; those on which they do not, and refused ones, do not."""
    pile: int | None = None
    style = f"style {next(STYLES)}"
    for kind, number, agree in moves:
        possible = _pile_after(pile, kind, number) != -1
        try:
            with office.write() as session:
                stock.enter(session, ELECTION, style, kind, number, by="mara", at=MORNING)
                stock.enter(session, ELECTION, style, kind, number + (not agree), by="joel", at=MORNING)
        except NotPossible:
            assert not possible or not agree
        else:
            assert possible
            pile = _pile_after(pile, kind, number) if agree else pile
        with office.read() as session:
            books = [row for row in stock.overview(session, ELECTION) if row.style == style]
            assert (books[0].on_hand if books else None) == pile


def test_eight_who_enter_at_once_book_a_delivery_once(office: Database) -> None:
    with office.write() as session:
        booked(session, "counted", 100)
    states: list[str] = []
    troubles: list[Exception] = []
    start = threading.Barrier(8)

    def work(account: str) -> None:
        try:
            start.wait(30)
            with office.write() as session:
                entered = stock.enter(session, ELECTION, "07-A", "received", 50, by=account, at=MORNING)
            states.append(entered.state)
        except Exception as trouble:
            troubles.append(trouble)

    threads = [threading.Thread(target=work, args=(f"person {place}",)) for place in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert not troubles
    assert sorted(states) == ["agreed"] * 4 + ["waiting"] * 4  # four deliveries, each counted by two of the eight
    with office.read() as session:
        assert style_of(session).on_hand == 300
        assert verify(session).broken is None


def in_three_days(session: Session, queue: Queue, per_day: int) -> datetime:
    """A few ballots on each of three mailing days (Monday to Wednesday); returns the last evening."""
    at = datetime(2026, 10, 12, 13, 0, tzinfo=UTC) + timedelta(days=1)  # Monday is a holiday: Tuesday to Thursday
    for day in range(3):
        for place in range(per_day):
            queue(session, f"80{day}{place:03d}1", at=at + timedelta(days=day))
    return at + timedelta(days=2)


def found(session: Session, rules: Rules, now: datetime) -> Forecast:
    return next(row for row in forecast(session, ELECTION, rules, now=now) if row.stock.style == "07-A")


def test_the_rate_of_late_says_when_a_style_runs_out(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        booked(session, "counted", 20)
        thursday = in_three_days(session, queue, 4)
        row = found(session, rules, thursday)
    assert row.per_day == 4.0
    assert row.stock.reserved == 12
    # 8 are left for the days to come, two days' worth; the office is closed on Friday the 16th.
    assert row.lasts_until == date(2026, 10, 20)
    # Mailing days after Thursday the 15th: 19 to 23, 26 to 30, November 2 and 3 (what voters overseas ask for last).
    assert row.days_left == 12
    assert row.expected == 48
    assert row.careful > row.expected
    assert row.lacking == 12 + row.careful - 20


def test_enough_for_all_that_is_expected_lasts_to_the_end(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        booked(session, "counted", 500)
        row = found(session, rules, in_three_days(session, queue, 4))
    assert (row.lasts_until, row.lacking) == (None, 0)


def test_a_style_that_nobody_asked_for_is_expected_to_stay(office: Database, rules: Rules) -> None:
    with office.write() as session:
        booked(session, "counted", 5)
        row = found(session, rules, MORNING)
    assert (row.per_day, row.expected, row.careful, row.lasts_until) == (0.0, 0, 0, None)


def test_a_packet_that_was_put_off_is_asked_for_once(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        booked(session, "counted", 5)
        packet = queue(session, "8000017")
        put_off(session, packet.id, rules=rules, by="mara", at=MORNING, reason="stained")
        assert found(session, rules, MORNING).per_day == 1.0
        assert len(session.scalars(select(Packet)).all()) == 2
