"""A mailing with more packets than a page lists: all of it is counted, printed and found, whatever page one is on."""

from __future__ import annotations

import re
from datetime import date
from io import BytesIO
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from pypdf import PdfReader

from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Ballot, Mailing, Packet, StockEntry, VoterRow
from replacements.web.packet_list import A_PAGE
from replacements.web.pages.mailing import STYLES
from tests.benchmarks.pages_of_a_large_office import MOST_STATEMENTS, Statements
from tests.web.invented_office import NOW, Clock, Site, add_accounts, seed
from tests.web.many_requests import voter

PACKETS = 2 * A_PAGE + 30  # beside the one that the invented office has
FIRST = 1000  # the number of the first of them, of its voter and of its ballot
MATERIALS = FIRST + PACKETS - 1
KOREAN = FIRST + 151  # whose name no label can be printed with
NAMES = {FIRST + 150: ("Nguyễn", "Thị Hương"), KOREAN: ("김", "민수"), FIRST + 152: ("de la Cruz", "Nuño")}
LINK = "/mailings/1?stock=all"
_ROW = re.compile(r'<th scope="row">(\d+)</th>')


def fill(database: Database, mailing_id: int = 1) -> None:
    """Packets in a mailing that is open: ballots of three styles, and one with materials alone."""
    with database.write() as session:
        election = session.get_one(Mailing, mailing_id).election_id
        for number in range(FIRST, FIRST + PACKETS):
            last, first = NAMES.get(number, (f"Marl{number}", "Ismene"))
            session.add(voter(number, last_name=last, first_name=first))
            ballot = None if number == MATERIALS else f"7{number:06}"
            if ballot is not None:
                row = {"number": ballot, "style": f"S-{number % 3}", "voter_id": f"V-{number}", "state": "issued"}
                session.add(Ballot(election_id=election, **row))
            session.flush()
            session.add(
                Packet(
                    id=number,
                    mailing_id=mailing_id,
                    voter_id=f"V-{number}",
                    ballot_number=ballot,
                    style=ballot and f"S-{number % 3}",
                    contents=["instructions"],
                    queued_at=NOW,
                )
            )


@pytest.fixture
def large(site: Site) -> FlaskClient:
    """The mail room's pages."""
    fill(site.database)
    return site.client("mail_room")


def listed(page: str) -> list[int]:
    """The packets of a page, in its order."""
    return [int(number) for number in _ROW.findall(page)]


def read(client: FlaskClient, address: str) -> str:
    return client.get(address, follow_redirects=True).get_data(as_text=True)


def test_each_packet_is_on_one_page_and_every_page_says_how_many_there_are(large: FlaskClient) -> None:
    seen = []
    for number in (1, 2, 3):
        page = read(large, f"/mailings/1?page={number}")
        assert f'<p class="count">{PACKETS + 1}</p>' in page
        assert f"{PACKETS} with a ballot, 1 materials alone" in page
        assert f"All ({PACKETS + 1})" in page
        found = listed(page)
        assert len(found) == min(A_PAGE, PACKETS + 1 - (number - 1) * A_PAGE)
        seen += found
    assert sorted(seen) == [1, *range(FIRST, FIRST + PACKETS)]
    assert seen[-1] == MATERIALS  # after all styles, on every database
    assert "Nothing is here" in read(large, "/mailings/1?page=4")


def test_further_and_back_are_links_that_can_be_kept(large: FlaskClient) -> None:
    page = read(large, "/mailings/1?page=2")
    assert 'href="/mailings/1?page=1#list"' in page
    assert 'href="/mailings/1?page=3#list"' in page
    assert f"{A_PAGE + 1} to {2 * A_PAGE} of {PACKETS + 1}" in page


def test_the_list_is_narrowed_to_a_style_by_a_link(large: FlaskClient) -> None:
    assert 'href="/mailings/1?style=S-1#list"' in read(large, "/mailings/1")
    page = read(large, "/mailings/1?style=S-1")
    of_style = [number for number in range(FIRST, MATERIALS) if number % 3 == 1]
    assert listed(page) == of_style
    assert f"Style S-1 ({len(of_style)})" in page
    assert f'<p class="count">{PACKETS + 1}</p>' in page  # the mailing's own count stays in view


@pytest.mark.parametrize(
    "wanted", ["1180", "7001180", " 700-1180 ", "V-1180", "marl1180", "ISMENE Marl1180", "marl1180 ismene"]
)
def test_a_packet_of_another_page_is_found_by_number_and_by_name(large: FlaskClient, wanted: str) -> None:
    answer = large.post("/mailings/1/find", data={"wanted": wanted})
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/mailings/1?packet=1180#asked-for"  # no name is in an address
    page = read(large, answer.headers["Location"])
    assert len(listed(page)) == A_PAGE  # with those beside it
    assert page.count('id="asked-for"') == 1
    assert '<th scope="row">1180</th>' in page.partition('id="asked-for"')[2][:80]


@pytest.mark.parametrize(
    ("wanted", "packet"),
    [
        ("nguyen thi huong", FIRST + 150),
        ("Nguyễn", FIRST + 150),
        ("김민수", KOREAN),
        ("민수 김", KOREAN),
        ("CRUZ nuno", FIRST + 152),
    ],
)
def test_names_are_found_with_and_without_their_marks_in_either_order(
    large: FlaskClient, wanted: str, packet: int
) -> None:
    answer = large.post("/mailings/1/find", data={"wanted": wanted})
    assert answer.headers["Location"] == f"/mailings/1?packet={packet}#asked-for"


def test_where_several_fit_they_are_listed_and_where_very_many_do_it_says_so(large: FlaskClient) -> None:
    page = large.post("/mailings/1/find", data={"wanted": "marl120"}).get_data(as_text=True)
    assert sorted(listed(page)) == list(range(1200, 1210))
    assert "10 fit what you looked for" in page
    page = large.post("/mailings/1/find", data={"wanted": "ismene"}).get_data(as_text=True)
    assert len(listed(page)) == A_PAGE
    assert f"{PACKETS - len(NAMES)} fit; the first {A_PAGE} are shown" in page
    page = large.post("/mailings/1/find", data={"wanted": "nobody of that name"}).get_data(as_text=True)
    assert "No packet of this mailing fits" in page
    assert not listed(page)


def test_the_scanned_barcode_of_a_label_finds_its_packet(large: FlaskClient, site: Site) -> None:
    large.post("/mailings/1/close")
    with site.database.write() as session:
        session.get_one(Packet, 1100).tracking = "00700900000123456789"
    answer = large.post("/mailings/1/find", data={"wanted": "0070090000012345678945999"})
    assert answer.headers["Location"] == "/mailings/1?packet=1100#asked-for"


def test_who_sees_no_names_finds_by_number_alone(site: Site) -> None:
    fill(site.database)
    client = site.client("observer")
    assert client.post("/mailings/1/find", data={"wanted": "7001180"}).status_code == 303
    for wanted in ("marl1180", "V-1180"):
        page = client.post("/mailings/1/find", data={"wanted": wanted}).get_data(as_text=True)
        assert "No packet of this mailing fits" in page


def test_a_packet_that_went_into_another_mailing_is_found_there(large: FlaskClient, site: Site) -> None:
    with site.database.write() as session:
        election = session.get_one(Mailing, 1).election_id
        session.add(Mailing(id=2, election_id=election, goes_on=date(2026, 9, 30), state="open"))
        session.flush()
        session.get_one(Packet, 1100).mailing_id = 2
    answer = large.post("/mailings/1/find", data={"wanted": "7001100"}, follow_redirects=True)
    page = answer.get_data(as_text=True)
    assert "Packet 1100 is in this mailing, not in the one that you looked at." in page
    assert "Mailing of Wed, Sep 30, 2026" in page
    assert listed(page) == [1100]
    assert "Packet 4711 is in no mailing" in read(large, "/mailings/1?packet=4711")


def test_after_a_packet_is_pulled_its_own_page_is_shown_and_what_must_be_seen_to_is_at_the_top(
    large: FlaskClient, site: Site
) -> None:
    answer = large.post("/packets/1180/pull", data={"note": "The envelope tore.", "then": "out"})
    assert answer.headers["Location"] == "/mailings/1?packet=1180"
    assert 1180 in listed(read(large, answer.headers["Location"]))
    first = read(large, "/mailings/1")
    assert 1180 not in listed(first)
    assert "1 pulled packet whose ballot is in no mailing now" in first
    assert 'href="/mailings/1?packet=1180#asked-for"' in first
    assert "besides, 1 pulled" in first
    assert listed(read(large, "/mailings/1?only=pulled")) == [1180]
    large.post("/packets/1180/again")
    assert "in no mailing now" not in read(large, "/mailings/1")


def test_what_has_no_label_is_told_at_the_top_of_every_page(large: FlaskClient, site: Site) -> None:
    faulty = list(range(FIRST + 180, FIRST + 195))
    with site.database.write() as session:
        for number in faulty:
            session.get_one(Packet, number).fault = f"the roll has no street for V-{number}"
    for number in (1, 3):
        page = read(large, f"/mailings/1?page={number}")
        assert "No label can be printed for 15 packets" in page
        assert page.count("the roll has no street") - sum(one in faulty for one in listed(page)) == 5
        assert '<a href="/mailings/1?only=no_label#list">All 15</a>' in page
    assert sorted(listed(read(large, "/mailings/1?only=no_label"))) == faulty
    observer = site.client("observer").get("/mailings/1").get_data(as_text=True)
    assert "No label can be printed for 15 packets" in observer
    assert "the roll has no street" not in observer


def test_what_stayed_out_when_it_closed_is_told_with_where_it_is_now(large: FlaskClient, site: Site) -> None:
    with site.database.write() as session:
        session.get_one(VoterRow, "V-1100").street = ""
        session.get_one(VoterRow, "V-1100").mail_street = ""
    large.post("/mailings/1/close")
    page = read(large, "/mailings/1")
    assert "2 stayed out when it closed" in page
    assert {1100, KOREAN}.isdisjoint(listed(page))
    assert "Packet 1100</a>, ballot" in page
    page = read(large, "/mailings/1?packet=1100")
    assert "Packet 1100 is in this mailing" in page
    assert "No label can be printed for 2 packets" in page


def test_papers_stay_whole_whichever_page_is_looked_at(large: FlaskClient) -> None:
    large.post("/mailings/1/close")
    ballots = [f"7{number:06}" for number in range(FIRST, MATERIALS) if number != KOREAN]
    manifest = "".join(p.extract_text() for p in PdfReader(BytesIO(large.get("/mailings/1/manifest.pdf").data)).pages)
    assert all(number in manifest for number in ballots)
    labels = "".join(p.extract_text() for p in PdfReader(BytesIO(large.get("/mailings/1/labels.pdf").data)).pages)
    assert labels.upper().count("SEDGE ROW") == PACKETS - 1
    page = read(large, "/mailings/1?page=3")
    assert "Sheet (1 to" in page
    assert "Print the four papers" in page


@pytest.mark.parametrize("asked", ["", "?page=3", "?packet=1180", "?packet=1", "?only=pulled", "?style=S-1"])
def test_a_page_of_it_is_small_and_asks_no_more_than_any_other_page(large: FlaskClient, site: Site, asked: str) -> None:
    large.post("/mailings/1/close")
    large.post("/mailings/1/sign", data={"picked": str(PACKETS), "labelled": str(PACKETS + 1), "sealed": "231"})
    client = site.client("supervisor")
    statements = Statements(site.database)
    page = client.get(f"/mailings/1{asked}").get_data()  # for the first time, so that the look is put on record too
    assert len(page) < 300_000
    assert len(statements.asked) <= MOST_STATEMENTS, statements.asked


def test_no_page_reads_the_manifests_of_all_mailings(large: FlaskClient, site: Site) -> None:
    """Each has a line of each packet: with a month of mailings a page would read thousands of them."""
    large.post("/mailings/1/close")
    client = site.client("supervisor")
    statements = Statements(site.database)
    for address in ("/", "/mailing/filling", "/reissued/", "/requests/1", "/requests/2", "/requests/together/"):
        assert "is closed and not signed off" in read(client, address)
    assert not [one for one in statements.asked if "mailings.manifest" in one.partition("FROM")[0]]


@pytest.mark.parametrize(
    "asked", ["page=0", "page=x", "packet=0", "packet=x", "packet=99999999999", "only=x", "style=x"]
)
def test_whatever_an_address_asks_for_a_page_comes(large: FlaskClient, asked: str) -> None:
    assert large.get(f"/mailings/1?{asked}").status_code == 200


def test_of_hundreds_of_styles_the_most_pressing_are_shown_and_all_by_a_link(large: FlaskClient, site: Site) -> None:
    with site.database.write() as session:
        election = session.get_one(Mailing, 1).election_id
        for n in range(90):
            left = 1 if n < 3 else 100  # of three styles there are fewer than the mailing takes
            counted = {"kind": "opening", "state": "agreed", "number": left, "change": left}
            by = {"first_by": "mail_room", "first_at": NOW}
            session.add(StockEntry(election_id=election, style=f"S-{n}", **counted, **by))
    for style in ("S-0", "S-1", "S-2"):
        assert f"Ballot style {style} is short by" in read(large, "/mailings/1?page=3")
    few, every = (read(large, address).partition("Blank ballots</h2>")[2] for address in ("/mailings/1", LINK))
    assert few.count("<tr>") == 1 + STYLES
    assert [style for style in ("S-0", "S-1", "S-2", "S-89") if f">{style}</th>" in few] == ["S-0", "S-1", "S-2"]
    assert f"The {STYLES} most pressing of 91 styles" in few
    assert f'href="{LINK}#stock"' in few
    assert every.count("<tr>") == 1 + 91
    assert "most pressing" not in every


def test_very_many_short_styles_are_told_in_a_few_lines(large: FlaskClient, site: Site) -> None:
    with site.database.write() as session:
        for number in range(FIRST, FIRST + 30):
            session.get_one(Ballot, f"7{number:06}").style = f"T-{number}"
            counted = {"kind": "opening", "state": "agreed", "number": 0, "change": 0}
            by = {"first_by": "mail_room", "first_at": NOW}
            election = session.get_one(Mailing, 1).election_id
            session.add(StockEntry(election_id=election, style=f"T-{number}", **counted, **by))
    page = read(large, "/mailings/1")
    assert page.count("is short by") == 5
    assert "25 more styles are short." in page


def test_it_is_the_same_on_postgresql(postgres_database: Database, tmp_path: Path) -> None:
    add_accounts(postgres_database, "x")
    seed(postgres_database)
    settings = Settings(data=tmp_path, database="", mailbox="", outbox="", secret_file=tmp_path / "secret")
    site = Site(postgres_database, Clock(), settings)
    fill(postgres_database)
    client = site.client("mail_room")
    seen = [packet for number in (1, 2, 3) for packet in listed(read(client, f"/mailings/1?page={number}"))]
    assert sorted(seen) == [1, *range(FIRST, FIRST + PACKETS)]
    assert seen[-1] == MATERIALS
    place = seen.index(1180)
    assert listed(read(client, "/mailings/1?packet=1180")) == seen[place // A_PAGE * A_PAGE :][:A_PAGE]
    for wanted in ("7001180", "marl1180"):
        answer = client.post("/mailings/1/find", data={"wanted": wanted})
        assert answer.headers["Location"] == "/mailings/1?packet=1180#asked-for"
    client.post("/packets/1180/pull", data={"note": "The envelope tore.", "then": "out"})
    assert "1 pulled packet whose ballot is in no mailing now" in read(client, "/mailings/1")
    client.post("/mailings/1/close")
    sealed = PACKETS - 1  # with the one that the office had before; without the pulled one and the Korean one
    counts = {"picked": str(sealed - 1), "labelled": str(sealed), "sealed": str(sealed)}
    client.post("/mailings/1/sign", data=counts)
    page = read(client, "/mailings/1?style=S-2")
    assert "1 of two people signed" in page
    assert "1 of two people signed. It is settled when two" in page  # what every page says until then
    assert listed(page) == [number for number in range(FIRST, MATERIALS) if number % 3 == 2 and number != KOREAN]
