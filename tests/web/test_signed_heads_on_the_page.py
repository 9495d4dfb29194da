"""The ledger's signed head: printed, saved, and compared on another day."""

from __future__ import annotations

import io
import json
from dataclasses import replace

import pytest
from flask.testing import FlaskClient

from replacements.ballots import heads
from replacements.people.permissions import Role
from replacements.web.app import create_app
from tests.web.invented_office import PASSWORD, Site


@pytest.fixture
def observer(site: Site) -> FlaskClient:
    """An observer at an office that has its key."""
    key = site.settings.data / "ledger-key"
    heads.make_key(key)
    app = create_app(site.database, replace(site.settings, ledger_key=key), now=site.clock)
    app.config["WTF_CSRF_ENABLED"] = False
    client = app.test_client()
    client.post("/sign-in", data={"name": Role.OBSERVER.value, "password": PASSWORD})
    return client


def read(client: FlaskClient, address: str, **form: object) -> str:
    return client.post(address, data=form).get_data(as_text=True)


def test_a_head_is_printed_with_all_that_comparing_needs(site: Site, observer: FlaskClient) -> None:
    page = read(observer, "/ledger/head")
    head = json.loads(read(observer, "/ledger/head", **{"as": "file"}))
    assert "Signed head of the ledger" in page
    for part in (str(head["entries"]), heads.in_groups(head["hash"]), head["key"], heads.fingerprint(head["key"])):
        assert part in page
    paper = read(observer, "/ledger/compare", entries=str(head["entries"]), hash=heads.in_groups(head["hash"]).upper())
    assert f"It continues the head of {head['entries']} entries" in paper


def test_a_saved_head_is_compared_as_a_file(site: Site, observer: FlaskClient) -> None:
    text = read(observer, "/ledger/head", **{"as": "file"})
    page = read(observer, "/ledger/compare", file=(io.BytesIO(text.encode()), "head.json"))
    assert "It continues the head of" in page
    changed = text.replace('"entries": ', '"entries": 1')
    assert "not as it was signed" in read(observer, "/ledger/compare", file=(io.BytesIO(changed.encode()), "head.json"))


def test_a_ledger_that_is_not_the_one_of_then_is_said_so(site: Site, observer: FlaskClient) -> None:
    page = read(observer, "/ledger/compare", entries="1", hash="ab" * 32)
    assert "It does not continue the head of 1 entries" in page
    assert 'role="alert"' in page


@pytest.mark.parametrize(("entries", "digest"), [("", ""), ("x", "ab" * 32), ("1", "short"), ("٣", "ab" * 32)])
def test_what_cannot_be_a_head_is_said_so(observer: FlaskClient, entries: str, digest: str) -> None:
    assert "64 digits" in read(observer, "/ledger/compare", entries=entries, hash=digest)


def test_without_a_key_the_page_says_who_makes_it(site: Site) -> None:
    page = site.client("observer").post("/ledger/head").get_data(as_text=True)
    assert "replacements ledger key" in page


def test_the_event_log_names_no_voter_whoever_saves_it(site: Site) -> None:
    log = site.see("supervisor", "/ledger/event-log.json").get_json()
    assert log["Device"][0]["Event"]
    assert "V-100" not in json.dumps(log)
