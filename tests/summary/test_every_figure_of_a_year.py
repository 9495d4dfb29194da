"""Every figure of a random year, counted again with pandas from the tables themselves, and compared with the files.

Every table, every row, every column: a table or a column that nobody recounts fails the test.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from io import BytesIO, StringIO
from zipfile import ZipFile

import pytest

from replacements.ballots.handover import hand_over
from replacements.store.database import Database
from replacements.summary.export import archive
from replacements.summary.figures import Week
from replacements.summary.ledger_days import STATE_COLUMNS, roll_forward
from replacements.summary.places import where_ballots_are
from replacements.summary.public import public_csv, public_report
from replacements.summary.week import Stretch
from tests.summary import recount_ballots, recount_mailing, recount_public, recount_requests
from tests.summary.a_year import ELECTION, FIRST, HELD_ON, OFTEN_BROUGHT_BACK, OFTEN_OTHERWISE, WEEKS, ZONE, Year
from tests.summary.recount import Row, Span, Tables, read_tables

LATER = datetime(2032, 3, 1, tzinfo=UTC)
SPANS = [
    Span(FIRST, FIRST + timedelta(days=6)),  # before the last ballots are loaded
    Span(date(2031, 3, 3), date(2031, 3, 9)),  # clocks go forward
    Span(date(2031, 6, 16), date(2031, 6, 22)),  # the week before election day
    Span(HELD_ON - timedelta(days=1), HELD_ON + timedelta(days=5)),  # the election in the middle
    Span(date(2031, 10, 27), date(2031, 11, 2)),  # clocks go back
    Span(date(2031, 12, 29), date(2032, 1, 4)),  # the year ends
    Span(date(2031, 5, 14), date(2031, 7, 2)),  # no whole weeks
    Span(FIRST, date(2031, 12, 31)),  # the whole year
    Span(date(2032, 2, 2), date(2032, 2, 8)),  # nothing at all
]
KEYS = {
    "shares": 2,
    "ballots": 2,
    "compared_kinds": 2,
    "compared_languages": 2,
    "compared_reissues": 3,
    "decisions": 2,
    "proposals": 2,
    "probabilities": 2,
    "unusual": 4,
}
IN_ORDER = ("reconciliation", "waiting", "style_rates", "precinct_rates", "undeliverable", "days", "declined")


@pytest.fixture(scope="module")
def year() -> Year:
    return Year(requests=1500, voters=2500, seed=20310106)


@pytest.fixture
def stored(database: Database, year: Year) -> Database:
    year.store(database)
    return database


def _recounted(tables: Tables, span: Span) -> dict[str, Iterable[Row]]:
    """Every table as it must be, with its columns in their order."""
    of_requests, of_ballots, of_mailing = recount_requests, recount_ballots, recount_mailing
    causes = of_ballots.reissued_by("reason", tables, span)
    books = list(of_ballots.ballots(tables, span))
    figures: dict[str, object] = {
        "election": ELECTION,
        "first day": span.first,
        "last day": span.last,
        "time zone": ZONE,
        "as of (UTC)": span.end.isoformat(),
        **of_requests.figures(tables, span),
        **of_ballots.figures(tables, span),
        **of_mailing.figures(tables, span),
    }
    return {
        "figures": figures.items(),
        "kinds": of_requests.kinds(tables, span).items(),
        "causes": causes.items(),
        "styles": of_ballots.reissued_by("style", tables, span).items(),
        "voids": of_ballots.voids(tables, span).items(),
        "replacements": [row[1:] for row in books if row[0] == "replacements"],
        "ballots": books,
        "style_rates": of_ballots.rates("style", tables, span),
        "precinct_rates": of_ballots.rates("precinct", tables, span),
        "undeliverable": of_ballots.undeliverable(tables, span),
        "shares": of_requests.shares(tables, span, causes),
        "compared": of_mailing.compared(tables, span),
        "compared_kinds": of_mailing.compared_kinds(tables, span),
        "compared_languages": of_mailing.compared_languages(tables, span),
        "compared_reissues": of_mailing.compared_reissues(tables, span),
        "reconciliation": of_ballots.reconciliation(tables, span),
        "bursts": of_mailing.bursts(tables, span),
        "overriding": of_requests.overriding(tables, span),
        "proposals": of_requests.proposals(tables, span),
        "probabilities": of_requests.probabilities(tables, span),
        "days": of_ballots.days(tables, span),
        "waiting": of_requests.waiting(tables, span),
        "overdue": [(number,) for number in of_mailing.overdue(tables, span)],
        "declined": of_requests.declined(tables, span),
        "decisions": of_requests.decisions(tables, span),
        "unusual": of_mailing.unusual(tables, span),
    }


def _counted(database: Database, span: Span) -> Week:
    with database.read() as session:
        return Stretch(ELECTION, span.first, span.last, ZONE, now=LATER).week(session)


def _files(week: Week) -> dict[str, list[list[str]]]:
    """Each table's rows as they stand in the file, without the headings."""
    with ZipFile(BytesIO(archive(week))) as whole:
        return {
            name.removesuffix(".csv"): list(csv.reader(StringIO(whole.read(name).decode())))[1:]
            for name in whole.namelist()
            if name != "columns.csv"
        }


def _by_key(name: str, rows: Iterable[Iterable[object]]) -> dict[tuple[str, ...], list[object]]:
    many, found = KEYS.get(name, 1), {}
    for row in rows:
        first, rest = list(row)[:many], list(row)[many:]
        key = tuple(map(str, first))
        assert key not in found, f"{name}: {key} twice"
        found[key] = rest
    return found


def _same(cell: object, expected: object) -> bool:
    """Numbers that the recount knows to so many places are compared as numbers, all else as it is written."""
    if isinstance(expected, type(pytest.approx(0.0))):
        return cell != "" and float(str(cell)) == expected
    return cell == str(expected)


@pytest.mark.parametrize("rolled", [False, True], ids=["read from the ledger", "added up before"])
def test_every_figure_of_a_year_equals_an_independent_count(stored: Database, rolled: bool) -> None:
    if rolled:
        roll_forward(stored, ELECTION, ZONE)
    tables = read_tables(stored)
    filled = set()
    for span in SPANS:
        week = _counted(stored, span)
        files, recounted = _files(week), _recounted(tables, span)
        assert files.keys() == recounted.keys()
        for name, rows in recounted.items():
            shown, expected = _by_key(name, files[name]), _by_key(name, rows)
            assert shown.keys() == expected.keys(), (span, name)
            if name in IN_ORDER:
                assert list(shown) == list(expected), (span, name)
            for key, cells in expected.items():
                wrong = [n for n, cell in enumerate(cells) if not _same(shown[key][n], cell)]
                assert (len(cells), wrong) == (len(shown[key]), []), (span, name, key, shown[key], cells)
            filled |= {name} if expected else set()
        assert week.machine.off == pytest.approx(recount_requests.off(tables, span))
    assert filled == recounted.keys()  # nothing was compared only where it was empty


def test_what_is_published_equals_an_independent_count(stored: Database) -> None:
    """Every row of the file, and every number that is held back, of each of the year's weeks that begin on a Monday."""
    tables, notes = read_tables(stored), set()
    for monday in (FIRST + timedelta(weeks=n) for n in range(WEEKS + 1)):
        span = Span(monday, monday + timedelta(days=6))
        published = csv.reader(StringIO(public_csv(public_report(_counted(stored, span), LATER.date()))))
        shown = {(part, name, period): [number, note] for part, name, period, number, note in list(published)[1:]}
        expected = {
            (part, name, period): [str(number), note]
            for part, name, period, number, note in recount_public.report(tables, span)
        }
        assert shown == expected, span
        notes |= {note for _, note in shown.values()}
    assert len(notes) == 3  # shown, held back, and whole tables held back


def test_what_is_handed_over_line_by_line_equals_an_independent_count(stored: Database) -> None:
    """Each event that voids a ballot, makes one, or brings one back to life stands in the file once."""
    ledger = read_tables(stored).ledger.sort_values("seq")
    with stored.write() as session:
        made = hand_over(session, ELECTION, by="ada", at=LATER)
    undone = ledger["details"].map(lambda details: details.get("from") == "voided")
    ends = ledger["event"].isin(("voided", "suspended", "reissued", "reinstated"))
    chosen = ledger[ends | ((ledger["event"] == "return_undone") & undone)]
    plain = {"reinstated": "replacement cancelled"}
    expected = [
        [row.ballot_number, row.voter_id, row.event, row.details.get("reason", plain.get(row.event, "")),
         row.details.get("replaced_by", ""), row.at.isoformat(timespec="microseconds"), row.by]
        for row in chosen.itertuples()
    ]  # fmt: skip
    assert list(csv.reader(StringIO(made.text)))[1:] == expected
    assert (made.events, made.first, made.last) == (len(expected), 1, int(ledger["seq"].max()))
    assert {row[2] for row in expected} == {"voided", "suspended", "reissued", "reinstated"}


def test_where_the_ballots_are_equals_a_count_of_their_table(stored: Database) -> None:
    tables = read_tables(stored)
    with stored.read() as session:
        places = where_ballots_are(session, ELECTION, ZONE)
    assert places.agrees
    expected = recount_ballots.where_now(tables)
    assert places.styles.keys() == expected.keys()
    for style, tally in places.styles.items():
        shown = {state: getattr(tally, column) for state, column in STATE_COLUMNS.items() if getattr(tally, column)}
        assert shown == expected[style]
    own = tables.moves[tables.moves["event"].isin(("imported", "reissued"))]
    assert places.ballots == len(own)


def test_the_year_holds_everything_that_is_worth_counting(year: Year, stored: Database) -> None:
    """It has replacements, returns, corrections, decisions against proposals, and what was put in to be found."""
    events = {row["event"] for row in year.rows[next(t for t in year.rows if t.__name__ == "LedgerEntry")]}
    assert events >= {"imported", "reissued", "voided", "suspended", "reinstated", "returned", "return_undone"}
    assert events >= {"accepted", "import_changed", "challenged", "cured", "undeliverable", "returned_after_void"}
    assert WEEKS == 52
    unusual = _counted(stored, SPANS[-2]).unusual
    assert [rate.name for rate in unusual.undeliverable] == [OFTEN_BROUGHT_BACK]
    assert [one.account for one in unusual.overriding] == [OFTEN_OTHERWISE]
