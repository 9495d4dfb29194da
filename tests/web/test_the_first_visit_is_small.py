"""What a first look at the dashboard costs, what a browser keeps, and what is never compressed."""

from __future__ import annotations

import gzip
import re

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from replacements.web import compressing
from replacements.web.app import create_app
from tests.web.invented_office import Site

MOST = 150_000  # bytes over the line, for the front page and all that it loads
GZIP = {"Accept-Encoding": "gzip, deflate, br"}


def loaded(page: str) -> list[str]:
    """The files of ours that a page loads."""
    found = re.findall(r'<(?:link|script)[^>]* (?:href|src)="(/[^"]+)"', page)
    return [address.replace("&amp;", "&") for address in found]


def plain(answer: TestResponse) -> bytes:
    return gzip.decompress(answer.data) if answer.headers.get("Content-Encoding") == "gzip" else answer.data


@pytest.fixture
def client(site: Site) -> FlaskClient:
    return site.client("supervisor")


def test_the_first_visit_of_the_front_page_takes_at_most_150_kb(client: FlaskClient) -> None:
    page = client.get("/", headers=GZIP)
    files = loaded(plain(page).decode())
    assert len(files) == 3  # two style sheets and a script
    sizes = [len(page.data), *(len(client.get(file, headers=GZIP).data) for file in files)]
    assert sum(sizes) <= MOST, sizes
    assert sum(sizes) > 10_000  # it was measured


def test_a_file_is_kept_for_a_year_under_the_hash_of_its_content_and_nowhere_else(client: FlaskClient) -> None:
    for file in loaded(client.get("/return-desk/").get_data(as_text=True)):
        assert re.search(r"\?v=[0-9a-f]{12}$", file)
        assert client.get(file).headers["Cache-Control"] == "public, max-age=31536000, immutable"
        bare = file.partition("?")[0]
        for other in (bare, f"{bare}?v=000000000000", f"{bare}?v="):
            assert client.get(other).headers["Cache-Control"] == "no-cache"


def test_a_compressed_answer_is_the_same_text_and_says_so(client: FlaskClient) -> None:
    for address in ("/rules/", "/texts/", *loaded(client.get("/return-desk/").get_data(as_text=True))):
        packed, bare = client.get(address, headers=GZIP), client.get(address)
        assert packed.headers["Content-Encoding"] == "gzip", address
        assert "Content-Encoding" not in bare.headers
        assert packed.headers["Vary"].count("Accept-Encoding") == bare.headers["Vary"].count("Accept-Encoding") == 1
        assert len(packed.data) == int(packed.headers["Content-Length"]) < len(bare.data)
        if address.startswith("/static"):
            assert plain(packed) == bare.data


def test_a_browser_that_has_a_file_is_told_so(client: FlaskClient) -> None:
    first = client.get("/static/own.css", headers=GZIP)
    again = client.get("/static/own.css", headers={**GZIP, "If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304
    assert again.data == b""


def test_a_browser_that_refuses_compression_gets_none(client: FlaskClient) -> None:
    for wanted in ({}, {"Accept-Encoding": "identity"}, {"Accept-Encoding": "gzip;q=0"}):
        assert "Content-Encoding" not in client.get("/", headers=wanted).headers


@pytest.mark.parametrize("address", ["/requests/", "/requests/1", "/reissued/", "/mailing", "/people/", "/my-password"])
def test_a_page_with_secrets_beside_words_from_outside_is_never_compressed(client: FlaskClient, address: str) -> None:
    """BREACH: the length of such a page would tell how alike a form's token and a voter's words are."""
    assert "Content-Encoding" not in client.get(address, headers=GZIP).headers


def test_whoever_is_not_signed_in_is_told_nothing_by_a_length(site: Site) -> None:
    answer = site.client().get("/sign-in?back=/requests/", headers=GZIP)
    assert "Content-Encoding" not in answer.headers


def test_pages_that_are_compressed_repeat_nothing_of_their_address(client: FlaskClient, site: Site) -> None:
    app = create_app(site.database, site.settings, now=site.clock)
    names = {rule.endpoint: str(rule) for rule in app.url_map.iter_rules()}
    for endpoint in compressing.NOTHING_FROM_OUTSIDE:
        answer = client.get(f"{names[endpoint]}?back=xq7xq7&state=xq7xq7&from=xq7xq7&page=xq7xq7", headers=GZIP)
        assert b"xq7xq7" not in plain(answer)
