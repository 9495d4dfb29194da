"""Taking, giving, handing over with a note, holding until a day: on the request's history, and back by itself."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import pytest
from flask.testing import FlaskClient

from replacements.people.permissions import Role
from replacements.store.tables import Ballot, Request, RequestStep
from tests.web.invented_office import Site

OFFICE = timezone(timedelta(hours=-4))


def _after(client: FlaskClient, address: str, **form: str) -> str:
    return client.post(address, data=form, follow_redirects=True).get_data(as_text=True)


def _request(site: Site) -> Request:
    with site.database.read() as session:
        return session.get_one(Request, 1)


def _steps(site: Site) -> list[tuple[str, str, str]]:
    with site.database.read() as session:
        return [(s.account, s.what, s.to_account) for s in session.query(RequestStep).order_by(RequestStep.id)]


def test_a_clerk_takes_a_request_and_lays_it_back(site: Site) -> None:
    client = site.client("clerk")
    page = _after(client, "/requests/1/assign", to="clerk", seen="")
    assert "It is yours now" in page
    assert "clerk took it" in page
    assert "yours" in client.get("/requests/").get_data(as_text=True)
    page = _after(client, "/requests/1/assign", to="", seen="clerk")
    assert "nobody’s" in page
    assert _steps(site) == [("clerk", "taken", "clerk"), ("clerk", "released", "")]


def test_handing_over_needs_a_note_and_the_next_one_reads_it(site: Site) -> None:
    client = site.client("clerk")
    _after(client, "/requests/1/assign", to="clerk", seen="")
    assert "what the next one has to know" in _after(client, "/requests/1/assign", to="supervisor", seen="clerk")
    assert _request(site).assigned_to == "clerk"
    _after(client, "/requests/1/assign", to="supervisor", seen="clerk", note="She calls back at noon.")
    assert _request(site).assigned_to == "supervisor"
    assert "She calls back at noon." in site.see("supervisor", "/requests/1").get_data(as_text=True)
    assert "She calls back at noon." not in site.see("observer", "/requests/1").get_data(as_text=True)


def test_of_two_who_take_it_at_once_the_second_is_told_whose_it_is(site: Site) -> None:
    site.hire("clerk2", Role.CLERK)
    _after(site.client("clerk"), "/requests/1/assign", to="clerk", seen="")
    assert "with clerk by now" in _after(site.client("clerk2"), "/requests/1/assign", to="clerk2", seen="")
    assert _request(site).assigned_to == "clerk"


@pytest.mark.parametrize("name", ["observer", "mail_room", "nobody-here"])
def test_it_is_given_only_to_who_decides_requests(site: Site, name: str) -> None:
    assert "who decides requests" in _after(site.client("clerk"), "/requests/1/assign", to=name, seen="", note="x")
    assert _request(site).assigned_to is None


def test_whose_it_is_holds_nobody_up(site: Site) -> None:
    _after(site.client("clerk"), "/requests/1/assign", to="clerk", seen="")
    _after(site.client("supervisor"), "/requests/1/approve", version="1")
    assert _request(site).state == "done"


def test_a_held_request_leaves_the_list_and_comes_back_by_itself_on_its_day(site: Site) -> None:
    client = site.client("clerk")
    page = _after(client, "/requests/1/hold", version="1", until="2026-10-01", note="She is travelling.")
    assert "On hold until" in page
    assert "She is travelling." in page
    assert 'data-row="1"' not in client.get("/requests/").get_data(as_text=True)
    assert 'data-row="1"' in client.get("/requests/?held=only").get_data(as_text=True)
    site.clock.at = datetime(2026, 9, 30, 23, 59, tzinfo=OFFICE)
    assert 'data-row="1"' not in site.see("clerk", "/requests/").get_data(as_text=True)
    site.clock.at = datetime(2026, 10, 1, 0, 0, tzinfo=OFFICE)
    assert 'data-row="1"' in site.see("clerk", "/requests/").get_data(as_text=True)
    assert "it came back by itself" in site.see("clerk", "/requests/1").get_data(as_text=True)


def test_a_hold_is_ended_before_its_day(site: Site) -> None:
    client = site.client("clerk")
    _after(client, "/requests/1/hold", version="1", until="2026-10-01", note="Travelling.")
    page = _after(client, "/requests/1/back", version="2")
    assert "no longer on hold" in page
    assert 'data-row="1"' in client.get("/requests/").get_data(as_text=True)
    assert [what for _, what, _ in _steps(site)] == ["held", "back"]


@pytest.mark.parametrize(
    ("until", "note", "said"),
    [
        ("2026-10-01", " ", "Say why"),
        ("2026-09-29", "x", "a day after today"),
        ("2026-09-01", "x", "a day after today"),
        ("2026-12-24", "x", "could not be granted any more"),
        ("tomorrow", "x", "Choose the day"),
        ("", "x", "Choose the day"),
    ],
)
def test_a_hold_needs_a_reason_and_a_day_that_is_not_too_late(site: Site, until: str, note: str, said: str) -> None:
    assert said in _after(site.client("clerk"), "/requests/1/hold", version="1", until=until, note=note)
    assert _request(site).version == 1
    assert _steps(site) == []


def test_who_approves_what_was_put_on_hold_meanwhile_is_told_and_no_ballot_is_voided(site: Site) -> None:
    _after(site.client("clerk"), "/requests/1/hold", version="1", until="2026-10-01", note="She is travelling.")
    page = _after(site.client("supervisor"), "/requests/1/approve", version="1")
    assert "put this on hold meanwhile" in page
    with site.database.read() as session:
        assert session.get_one(Ballot, "5000018").state == "issued"


def test_what_is_decided_is_neither_given_nor_held(site: Site) -> None:
    client = site.client("clerk")
    assert "decided already" in _after(client, "/requests/2/assign", to="clerk", seen="")
    assert "decided already" in _after(client, "/requests/2/hold", version="1", until="2026-10-01", note="x")


def test_the_next_one_that_waits_is_none_that_is_on_hold(site: Site) -> None:
    client = site.client("clerk")
    assert 'href="/requests/1"' in client.get("/requests/2").get_data(as_text=True).split("verdict-line")[1][:900]
    _after(client, "/requests/1/hold", version="1", until="2026-10-01", note="Travelling.")
    assert "Open the next one" not in client.get("/requests/2").get_data(as_text=True)
