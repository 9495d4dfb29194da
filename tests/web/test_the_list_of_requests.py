"""The list a clerk works down: filters as addresses, pages by key, a search, and the same few queries at any length."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from urllib.parse import unquote

import pytest
from flask.testing import FlaskClient
from sqlalchemy import event

from replacements.requests import letter_words, listing
from replacements.requests.listing import Key
from replacements.store.database import Database
from replacements.store.tables import LetterWords, Request
from tests.web.invented_office import NOW, Site
from tests.web.many_requests import FIRST, add_clear_cases

MOST_QUERIES = 12


def _shown(page: str) -> list[int]:
    return [int(number) for number in re.findall(r'data-row="(\d+)"', page)]


def _text(client: FlaskClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, address
    return answer.get_data(as_text=True)


def _link(page: str, rel: str) -> str:
    found = re.search(rf'href="([^"]+)" rel="{rel}"', page)
    return unquote(found.group(1)).replace("&amp;", "&") if found else ""


@contextmanager
def _queries(database: Database) -> Iterator[list[str]]:
    """What is asked of the database meanwhile, the beginning of transactions aside."""
    asked: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, values: object, *_rest: object) -> None:
        # SQLite's dialect always writes an offset, of none
        if statement.startswith("BEGIN"):
            return
        nothing = isinstance(values, tuple) and values[-1:] == (0,)
        asked.append(statement.removesuffix(" OFFSET ?") if nothing else statement)

    event.listen(database.engine, "before_cursor_execute", note)
    try:
        yield asked
    finally:
        event.remove(database.engine, "before_cursor_execute", note)


def test_a_page_asks_the_same_few_queries_of_50_and_of_2000_requests(any_site: Site) -> None:
    add_clear_cases(any_site.database, 50)
    client = any_site.client("clerk")
    counted = []
    for more in (0, 1950):
        add_clear_cases(any_site.database, more, first=FIRST + 50)
        with _queries(any_site.database) as asked:
            page = _text(client, "/requests/")
        assert len(_shown(page)) == listing.A_PAGE
        assert not [one for one in asked if one.endswith("OFFSET ?") or "OFFSET %" in one], "rows are counted off"
        counted.append(len(asked))
    assert counted[0] == counted[1] <= MOST_QUERIES


def test_every_request_is_on_one_page_and_on_one_only_there_and_back(any_site: Site) -> None:
    add_clear_cases(any_site.database, 120)
    with any_site.database.write() as session:
        for number in range(FIRST, FIRST + 40):  # of three ranks, and many at one moment
            found = session.get_one(Request, number)
            found.received_at = NOW - timedelta(hours=1)
            found.proposal = "answer" if number % 2 else "reissue"
            if number % 7 == 0:
                found.reasons = [{"rule": "trade.threat", "text": "May be a threat."}]
    client = any_site.client("clerk")
    for start in ("/requests/", "/requests/?state=all"):
        pages, address = [], start
        while address:
            page = _text(client, address)
            pages.append(_shown(page))
            last, address = page, _link(page, "next")
        everything = [number for one in pages for number in one]
        assert len(everything) == len(set(everything)) == (121 if start == "/requests/" else 122)
        back = [pages[-1]]
        while address := _link(last, "prev"):
            last = _text(client, address)
            back.append(_shown(last))
        assert back[::-1] == pages


def test_what_arrives_meanwhile_moves_no_request_past_the_reader(site: Site) -> None:
    add_clear_cases(site.database, 60)
    client = site.client("clerk")
    page = _text(client, "/requests/?state=all")
    add_clear_cases(site.database, 30, first=FIRST + 500)
    assert not set(_shown(page)) & set(_shown(_text(client, _link(page, "next"))))


@pytest.mark.parametrize(
    "text", ["", "1", "1.2", "a.b.c", "1.2.3.4", "1.99999999999999999.3", "²..", "-1.2.3", "1.2.3'"]
)
def test_a_place_in_the_list_that_is_none_is_its_beginning(site: Site, text: str) -> None:
    key = Key.read(text)
    assert key is None or str(key) == text
    assert site.client("clerk").get("/requests/", query_string={"after": text}).status_code == 200


def test_each_filter_is_an_address_that_finds_what_it_names(site: Site) -> None:
    add_clear_cases(site.database, 8)
    with site.database.write() as session:
        rows = {number: session.get_one(Request, number) for number in range(FIRST, FIRST + 8)}
        rows[FIRST].standing = "likely"
        rows[FIRST + 1].kinds = ["not_received"]
        rows[FIRST + 2].language = "ko"
        rows[FIRST + 3].assigned_to = "clerk"
        rows[FIRST + 4].assigned_to = "supervisor"
        rows[FIRST + 5].held_until = NOW + timedelta(days=1)
        rows[FIRST + 6].two_people = True
        rows[FIRST + 7].received_at = NOW - timedelta(days=1)
    client = site.client("clerk")
    for asked, number in {
        "standing=likely": FIRST,
        "kind=not_received": FIRST + 1,
        "language=ko": FIRST + 2,
        "whose=mine": FIRST + 3,
        "whose=supervisor": FIRST + 4,
        "held=only": FIRST + 5,
        "second=yes": FIRST + 6,
        "missed=yes": FIRST + 7,
    }.items():
        page = _text(client, f"/requests/?{asked}")
        assert _shown(page) == [number], asked
        assert "1 chosen" in page, asked
    assert FIRST + 5 not in _shown(_text(client, "/requests/"))
    assert FIRST + 5 in _shown(_text(client, "/requests/?held=also"))
    assert FIRST + 5 in _shown(_text(client, "/requests/?state=all"))
    nobodys = _shown(_text(client, "/requests/?whose=-"))
    assert FIRST + 3 not in nobodys
    assert FIRST in nobodys


def test_filters_are_kept_from_page_to_page_and_together(site: Site) -> None:
    add_clear_cases(site.database, 70)
    client = site.client("clerk")
    page = _text(client, "/requests/?standing=certain&whose=-&proposal=reissue")
    further = _link(page, "next")
    for kept in ("standing=certain", "whose=-", "proposal=reissue"):
        assert kept in further
    assert len(_shown(_text(client, further))) == 21  # with the one that the office began with


def test_an_empty_list_says_why_in_words(site: Site) -> None:
    client = site.client("clerk")
    assert "Nothing fits all that you chose" in _text(client, "/requests/?standing=none")
    assert "Every request is dealt with" not in _text(client, "/requests/?state=second")
    assert "has become shorter" in _text(client, "/requests/?state=all&after=0.1.1")
    client.post("/requests/1/decline", data={"version": "1", "note": "Not ours."})
    assert "Every request is dealt with" in _text(client, "/requests/")


@pytest.mark.parametrize(
    "wanted", ["1007", "V-1007", "7001007", "marl1007", "1007 Sedge", "voter1007@post", "ISMENE MARL1007"]
)
def test_a_request_is_found_by_its_numbers_name_address_and_sender(any_site: Site, wanted: str) -> None:
    add_clear_cases(any_site.database, 12)
    client = any_site.client("clerk")
    answer = client.post("/requests/search", data={"wanted": wanted}, follow_redirects=True)
    page = answer.get_data(as_text=True)
    assert _shown(page) == [1007] or "<h1>Request 1007" in page
    assert wanted.isdecimal() or wanted not in answer.request.url


@pytest.mark.parametrize("wanted", ["커피를 쏟았", "NGUYỄN THỊ", "cà  phê", "القهوة"])
def test_a_letter_is_found_by_its_words_in_any_script(any_site: Site, wanted: str) -> None:
    add_clear_cases(any_site.database, 3)
    text = "투표지에 커피를 쏟았습니다. Nguyễn Thị Ánh: cà phê đổ. سكبت القهوة على ورقتي"
    with any_site.database.write() as session:
        session.add(LetterWords(message_id=FIRST + 1, words=letter_words.folded(text).encode()))
    found = any_site.client("clerk").post("/requests/search", data={"wanted": wanted})
    assert _shown(found.get_data(as_text=True)) == [FIRST + 1]


def test_an_observer_searches_by_numbers_of_ballots_alone(site: Site) -> None:
    add_clear_cases(site.database, 3)
    with site.database.write() as session:
        session.add(LetterWords(message_id=FIRST, words=b"coffee"))
    client = site.client("observer")
    for wanted in ("coffee", "Sedge", "V-1000", "Marl1000"):
        page = client.post("/requests/search", data={"wanted": wanted}).get_data(as_text=True)
        assert _shown(page) == [], wanted


def test_older_finds_follow_newer_ones(site: Site) -> None:
    add_clear_cases(site.database, 70)
    client = site.client("clerk")
    page = client.post("/requests/search", data={"wanted": "sedge row"}).get_data(as_text=True)
    below = re.search(r'name="below" value="(\d+)"', page)
    assert below is not None
    rest = client.post("/requests/search", data={"wanted": "sedge row", "below": below.group(1)})
    older = _shown(rest.get_data(as_text=True))
    assert (len(_shown(page)), len(older)) == (50, 20)
    assert min(_shown(page)) > max(older)


def test_what_is_too_long_to_search_for_is_refused_in_words(site: Site) -> None:
    answer = site.client("clerk").post("/requests/search", data={"wanted": "x" * 201})
    assert answer.status_code == 400
    assert "too long" in answer.get_data(as_text=True)


def test_long_and_right_to_left_names_stay_within_their_cell_and_direction(site: Site) -> None:
    add_clear_cases(site.database, 3)
    names = ("محمد عبد الرحمن الفهري", "남궁 해솔빛나라", "Nguyễn-Phúc " * 30)
    with site.database.write() as session:
        for number, name in enumerate(names, start=FIRST):
            session.get_one(Request, number).person = name
    page = _text(site.client("clerk"), "/requests/")
    for name in names[:2]:
        assert f'<span dir="auto">{name}</span>' in page
    assert "Nguyễn-Phúc " * 8 not in page
    assert 'dir="auto">Nguyễn-Phúc' in page
