"""No page grows with the office: whatever there are hundreds of is listed some at a time."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from sqlalchemy import text

from replacements.store.database import Database
from replacements.web.pages.week import AT_FIRST
from tests.benchmarks.a_large_office import LargeOffice
from tests.benchmarks.pages_of_a_large_office import Pages, pages_of, site_over
from tests.web.invented_office import Site

REQUESTS = 500
MOST_ROWS, MOST_BYTES = 150, 300_000
_ADDRESSES = 3  # of each page


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """All that was approved waits in one mailing, hundreds of ballots wait for their voters or came back by post, and
    hundreds of replies came back."""
    folder = tmp_path_factory.mktemp("lists")
    database = Database(str(folder / "office.sqlite3"))
    LargeOffice(database, voters=3_000, ballots=2_000, requests=REQUESTS)
    with database.write() as session:
        newest = "(SELECT max(id) FROM mailings)"
        session.execute(text(f"UPDATE packets SET mailing_id = {newest}, state = 'queued'"))
        session.execute(text("UPDATE packets SET fault = 'the roll has no street' WHERE id % 2 = 0"))
        first = "(SELECT number FROM ballots WHERE replaces IS NULL AND state = 'issued' LIMIT 400)"
        for state in ("challenged", "undeliverable"):
            session.execute(text(f"UPDATE ballots SET state = '{state}' WHERE number IN {first}"))
        session.execute(text("UPDATE replies SET state = 'failed', error = 'mailbox full' WHERE id % 2 = 0"))
        session.execute(text("UPDATE requests SET state = 'waiting', version = 1 WHERE id % 2 = 0"))
    yield site_over(database, folder)
    database.close()


@pytest.mark.parametrize("role", ["supervisor", "mail_room", "return_desk", "observer"])
def test_no_page_has_more_rows_than_one_looks_through(office: Site, role: str) -> None:
    client, long = office.client(role), {}
    for addresses in Pages(office.database).of(pages_of(client)).values():
        for address in addresses[:_ADDRESSES]:
            if address == "/now":  # news without an end
                continue
            asked = {"data": {"wanted": address[1:]}, "method": "POST"} if address.startswith("?") else {}
            answer = client.open("/requests/search" if asked else address, **asked)
            page = answer.get_data(as_text=True)
            rows = len(re.findall(r"<tr[ >]", page))
            listed = not address.startswith("/week/")  # reports: many small tables, as many in any office
            if answer.status_code == 200 and ((listed and rows > MOST_ROWS) or len(page.encode()) > MOST_BYTES):
                long[address] = (rows, len(page.encode()))
    assert not long


def test_the_whole_mailing_is_still_counted(office: Site) -> None:
    with office.database.read() as session:
        packets = session.scalar(text("SELECT count(*) FROM packets"))
    page = office.see("mail_room", "/mailing/filling").get_data(as_text=True)
    assert packets > MOST_ROWS - 50
    assert f'<p class="count">{packets}</p>' in page
    assert f"No label can be printed for {packets // 2} packets" in page


def test_of_many_precincts_those_with_the_highest_rates_are_shown_and_all_on_demand(office: Site) -> None:
    address = "/week/2026-10-12/2026-10-18/places"
    page, whole = (
        office.see("supervisor", f"{address}{how}").get_data(as_text=True).partition('id="by-precinct-rate"')[2]
        for how in ("", "?all=1")
    )
    shown, there = (text.partition("</section>")[0] for text in (page, whole))
    assert shown.count("<tr>") == AT_FIRST + 1 < there.count("<tr>")
    assert f'<a href="{address}?all=1">Show all</a>' in shown
    assert "Show all" not in whole


def test_nothing_counts_as_chosen_while_nothing_was_chosen(office: Site) -> None:
    for state in ("waiting", "second", "asked", "done", "all"):
        page = office.see("supervisor", f"/requests/?state={state}").get_data(as_text=True)
        assert "Narrow it down</summary>" in page, state
    assert "Narrow it down (1 chosen)" in office.see("supervisor", "/requests/?held=also").get_data(as_text=True)
    assert "Narrow it down (1 chosen)" in office.see("supervisor", "/requests/?state=all&held=no").get_data(
        as_text=True
    )
