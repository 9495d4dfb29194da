"""The week on its pages: any days, the printed summary, what may be published, books too big to compare each time."""

from __future__ import annotations

import csv
import re
from datetime import timedelta
from io import BytesIO

import pytest
from pypdf import PdfReader
from sqlalchemy import func, select

from replacements.ballots.ledger import append
from replacements.requests import office
from replacements.requests.weekly import queue_summary
from replacements.store.tables import (
    Account,
    Ballot,
    Election,
    LedgerDay,
    LedgerDaysUpTo,
    LedgerEntry,
    Reply,
    ReplyAttachment,
)
from replacements.web.pages import week as week_page
from tests.web.invented_office import NOW, Site

WEEK = "/week/2026-09-28"
PLACES, PROPOSALS = (f"{WEEK}/2026-10-04/{part}" for part in ("places", "proposals"))
NEXT_PLACES = "/week/2026-10-05/2026-10-11/places"


def _read(site: Site, address: str, role: str = "supervisor") -> str:
    return site.see(role, address).get_data(as_text=True)


def test_any_stretch_of_days_is_shown_with_its_files(site: Site) -> None:
    page = _read(site, "/week/?from=2026-09-15&to=2026-10-02")
    assert "From Tue, Sep 15, 2026" in page
    assert "/week/2026-09-15/2026-10-02/summary.pdf" in page
    assert "For the public" not in page  # only whole weeks are published


@pytest.mark.parametrize("days", ["from=2026-10-02&to=2026-09-15", "from=2026-10-02&to=2030-09-15", "from=x&to=y"])
def test_what_is_no_stretch_of_days_is_not_found(site: Site, days: str) -> None:
    assert site.see("supervisor", f"/week/?{days}").status_code == 404


def test_the_printed_week_says_what_the_page_says(site: Site) -> None:
    printed = site.see("supervisor", "/week/2026-09-28/2026-10-04/summary.pdf")
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(BytesIO(printed.data)).pages).split())
    sentence = "2 requests came in, and 1 replacement ballot was issued."
    assert sentence in text
    assert sentence in _read(site, WEEK)


def test_the_summary_that_is_mailed_calls_things_as_the_page_does(site: Site) -> None:
    """What it calls them on the page, it calls them on paper; and the mail's own counts too."""
    with site.database.write() as session:
        for account in session.scalars(select(Account)):
            account.email = f"{account.name}@fennmark.example"
    assert queue_summary(site.database, now=NOW + timedelta(days=7)) > 0
    with site.database.read() as session:
        mail = session.scalars(select(Reply).where(Reply.template == "weekly_summary")).first()
        assert mail is not None
        text, printed = mail.text, session.scalars(select(ReplyAttachment.content)).first()
    assert printed is not None
    paper = "\n".join(page.extract_text() for page in PdfReader(BytesIO(printed)).pages)
    page = _read(site, WEEK)
    for part in ("by-kind", "by-cause", "by-language", "by-void"):
        for called in _rows(_part(page, part)):
            assert called in paper.splitlines(), called
            assert part == "by-language" or f"  {called} " in text, called
    assert "Spoiled ballot" in paper
    assert "Mismarked" in paper
    assert "English" in paper


def test_every_picture_has_a_title_a_description_and_a_table_beside_it(site: Site) -> None:
    for address, most in ((WEEK, 3), (PLACES, 2), (PROPOSALS, 1)):
        page = _read(site, address)
        pictures = page.count('<svg xmlns="http://www.w3.org/2000/svg"')
        assert pictures >= most, address
        assert page.count("<desc ") == pictures
        assert page.count("<table>") >= pictures


def test_a_week_that_is_not_over_is_not_published(site: Site) -> None:
    assert "This week is not over" in _read(site, "/public-report/2026-09-28")
    assert site.see("supervisor", "/public-report/2026-09-28/report.csv").status_code == 404


def test_the_public_file_holds_the_whole_offices_columns(site: Site) -> None:
    rows = list(csv.DictReader(_read(site, "/public-report/2026-09-21/report.csv", "observer").splitlines()))
    kept = {(row["part"], row["name"], row["period"]): row["number"] for row in rows}
    assert kept["all ballots", "issued", "to date"] == "2"
    assert kept["whole office", "requests", "this week"] == "0"


def test_big_books_are_compared_by_counts_and_each_ballot_on_demand(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(week_page, "FEW_BALLOTS", 0)
    page = _read(site, PLACES)
    assert "Ledger and record say the same number of ballots" in page
    assert "Ledger and record say the same about every ballot" in _read(site, f"{PLACES}?each=1")


def test_books_that_differ_are_compared_ballot_by_ballot_however_big(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(week_page, "FEW_BALLOTS", 0)
    with site.database.write() as session:
        session.get_one(Ballot, "5000018").state = "returned"
    page = _read(site, PLACES)
    assert "each difference is named" in page
    assert "5000018" in page


def test_a_long_ledger_is_added_up_once_and_the_page_says_the_same(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    before = site.see("supervisor", "/week/2026-09-28/replacements.csv").data
    monkeypatch.setattr(week_page, "FEW_ENTRIES", 0)
    assert site.see("supervisor", "/week/2026-09-28/replacements.csv").data == before
    with site.database.read() as session:
        election = office.known(session)[0].election_id
        assert session.get_one(LedgerDaysUpTo, election).seq > 0


def test_the_schedule_adds_up_the_ledgers_of_elections_that_are_over_too(site: Site) -> None:
    """A week is compared with them, and their ledgers may be long."""
    with site.database.write() as session:
        election = Election(id="2025", name="Earlier", held_on=NOW.date() - timedelta(days=300), created_at=NOW)
        session.add(election)
        session.flush()
        append(session, event="reissued", election_id="2025", by="clerk", at=NOW, details={"reason": "spoiled"})
    queue_summary(site.database, now=NOW)
    with site.database.read() as session:
        assert set(session.scalars(select(LedgerDay.election_id).distinct())) >= {"2025"}
        marks = session.execute(select(LedgerDaysUpTo.election_id, LedgerDaysUpTo.seq)).all()
        last = session.scalar(select(func.max(LedgerEntry.seq)))
    assert {seq for _, seq in marks} == {last}
    assert len(marks) == 2


def _rows(page: str) -> dict[str, list[str]]:
    """The page's table rows: each heading with its cells as text."""
    found: dict[str, list[str]] = {}
    for row in re.findall(r"<tr><th scope=.row.>(.*?)</tr>", page, re.DOTALL):
        name, *cells = (" ".join(re.sub(r"<[^>]*>", " ", cell).split()) for cell in re.split(r"<td[^>]*>", row))
        found.setdefault(name, cells)
    return found


def _part(page: str, heading: str) -> str:
    return page.partition(f'id="{heading}"')[2].partition("</section>")[0]


def test_what_was_asked_and_reissued_in_the_week_before_is_shown_though_it_is_no_more(site: Site) -> None:
    then, now = _rows(_read(site, WEEK)), _rows(_read(site, "/week/2026-10-05"))
    asked = int(then["Spoiled ballot"][0])
    assert asked > 0
    assert now["Spoiled ballot"] == ["0", str(asked), f"-{asked}"]
    assert now["Reissued: mismarked"] == ["0", "1", "-1"]
    assert now["Reissues"] == ["0", "1", "-1"]
    requests = then["Requests"][0]
    assert now["Language: English"] == ["0", requests, f"-{requests}"]
    for part in ("by-style", "by-precinct"):
        rows = _rows(_part(_read(site, NEXT_PLACES), part))
        assert list(rows.values()) == [["0", "1", "-1"]], part


def test_the_voided_ballots_are_told_by_reason(site: Site) -> None:
    page = _read(site, WEEK)
    assert _rows(_part(page, "by-void")) == {"Mismarked": ["1"]}


def test_the_balance_of_each_style_is_in_the_files(site: Site) -> None:
    rows = list(csv.DictReader(_read(site, f"{WEEK}/reconciliation.csv").splitlines()))
    assert rows
    for row in rows:
        places = ("out", "undeliverable", "returned", "accepted", "challenged", "suspended", "voided")
        assert int(row["issued"]) == sum(int(row[name]) for name in places)
        assert row["adds_up"] == "yes"
    assert sum(int(row["voided"]) for row in rows) == 1


# Years before any ballot was out; after everything; and the week of the invented office's own mail.
@pytest.mark.parametrize("monday", ["1999-12-27", "2031-03-03", "2026-09-28"])
@pytest.mark.parametrize("address", ["/week/{}", "/public-report/{}", "/week/{}/{}/places", "/week/{}/{}/proposals"])
def test_of_what_there_was_none_is_said_in_words(site: Site, address: str, monday: str) -> None:
    page = _read(site, address.format(monday, monday))
    for bare in (">None.<", ">None<", ">Nothing.<", ">none<"):
        assert bare not in page


def test_an_empty_week_says_of_each_list_what_there_was_none_of(site: Site) -> None:
    page, places, proposals = (
        _read(site, f"/week/1999-12-27{part}") for part in ("", "/2000-01-02/places", "/2000-01-02/proposals")
    )
    for where, said, times in (
        (page, "No request came in.", 2),  # by kind, by language
        (page, "No ballot was reissued.", 2),  # by reason, by style
        (places, "No ballot was reissued.", 2),  # by style, by precinct
        (places, "No ballot was out in these days, and none was replaced.", 2),  # by style, by precinct
        (page, "No request was decided.", 1),
        (proposals, "No request was decided.", 1),
        (page, "No request was declined or withdrawn.", 1),
        (page, "No request waits for a decision.", 1),
        (proposals, "No member of staff decided a request.", 1),
        (page, "No packet was mailed.", 2),  # in the sentences, and under the promise
    ):
        assert where.count(said) == times, said


def test_what_the_pages_of_a_week_say_twice_is_the_same(site: Site) -> None:
    page, places, proposals = (_read(site, address) for address in (WEEK, PLACES, PROPOSALS))
    assert _rows(_part(page, "by-style")) == _rows(_part(places, "by-style")) != {}
    said = proposals.partition('id="otherwise"')[2].partition("</section>")[0].partition("</h2>")[2]
    assert said.strip()
    assert said in page
