from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta

import pytest
from sqlalchemy import event
from sqlalchemy.exc import SQLAlchemyError

from replacements.store.tables import Look, Request
from tests.web.invented_office import Site


def kept(site: Site) -> list[tuple[str, str, str, str | None]]:
    with site.database.read() as session:
        return [(one.account, one.what, one.about, one.voter_id) for one in session.query(Look).order_by(Look.id)]


@contextmanager
def writes(site: Site) -> Iterator[list[str]]:
    """The statements of that time which change the database."""
    seen: list[str] = []

    def see(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        if statement.split()[0] in ("INSERT", "UPDATE", "DELETE"):
            seen.append(statement.split("(")[0].strip())

    event.listen(site.database.engine, "before_cursor_execute", see)
    yield seen
    event.remove(site.database.engine, "before_cursor_execute", see)


def test_who_opens_a_request_is_kept_with_the_voter(site: Site) -> None:
    """OWASP ASVS 5.0, 16.3.2."""
    site.see("clerk", "/requests/1")
    assert kept(site) == [("clerk", "request", "request 1", "V-100")]


def test_one_look_for_a_person_a_voter_and_a_quarter_of_an_hour(site: Site) -> None:
    client = site.client("clerk")
    for _ in range(3):
        client.get("/requests/1")
    site.clock.at += timedelta(minutes=14)
    client.get("/requests/1")
    assert len(kept(site)) == 1
    site.see("supervisor", "/requests/1")
    client.get("/requests/2")
    assert len(kept(site)) == 3
    site.clock.at += timedelta(minutes=2)
    client.get("/requests/1")
    assert len(kept(site)) == 4


def test_an_observer_sees_no_names_and_leaves_no_line(site: Site) -> None:
    assert site.see("observer", "/requests/1").status_code == 200
    assert site.see("observer", "/mailings/1").status_code == 200
    assert kept(site) == []


def test_what_was_refused_or_is_not_there_is_no_look(site: Site) -> None:
    assert site.see("return_desk", "/requests/1").status_code == 403
    assert site.see("clerk", "/requests/999").status_code == 404
    assert site.see(None, "/requests/1").status_code == 303
    assert kept(site) == []


def test_who_opens_a_mailing_sees_its_voters(site: Site) -> None:
    site.see("mail_room", "/mailings/1")
    assert kept(site) == [("mail_room", "mailing", "mailing 1", None)]


def test_a_request_of_nobody_on_the_roll_is_a_look_too(site: Site) -> None:
    with site.database.write() as session:
        session.get_one(Request, 1).voter_id = None
    site.see("clerk", "/requests/1")
    assert kept(site) == [("clerk", "request", "request 1", None)]


def test_a_page_costs_one_insert_more_and_the_next_time_none(site: Site) -> None:
    client = site.client("clerk")
    with writes(site) as seen:
        client.get("/requests/1")
    assert seen == ["INSERT INTO looks"]
    with writes(site) as seen:
        client.get("/requests/1")
    assert seen == []


def test_where_a_look_cannot_be_kept_nothing_is_shown(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_args: object, **_names: object) -> None:
        raise SQLAlchemyError("the disk is full")

    monkeypatch.setattr("replacements.web.guard.looks.record", full)
    answer = site.see("clerk", "/requests/1")
    assert answer.status_code == 500
    assert "Ottoline" not in answer.get_data(as_text=True)


def test_a_supervisor_reads_who_looked_and_why_pictures_were_opened(site: Site) -> None:
    clerk = site.client("clerk")
    clerk.get("/requests/1")
    clerk.post("/messages/1/pictures", data={"why": "Are the edge marks torn?"})
    clerk.post("/requests/search", data={"wanted": "brackw"})
    page = site.see("supervisor", "/looks/").get_data(as_text=True)
    for told in ("Opened the request", "V-100", "Are the edge marks torn?", "Searched by name"):
        assert told in page
    assert "Brackwater" not in page
    assert 'href="/requests/1"' in page
    assert len(kept(site)) == 3, "reading who looked is no look"


def test_looks_are_found_by_person_by_request_and_by_voter(site: Site) -> None:
    site.see("clerk", "/requests/1")
    site.see("supervisor", "/requests/2")
    boss = site.client("supervisor")
    by_voter = boss.post("/looks/", data={"voter_id": "V-101"}).get_data(as_text=True)
    assert "Request 2</a>" in by_voter
    assert "Request 1</a>" not in by_voter
    by_request = boss.post("/looks/", data={"request": "1"}).get_data(as_text=True)
    assert "Request 1</a>" in by_request
    assert "Request 2</a>" not in by_request
    by_person = boss.post("/looks/", data={"account": "Clerk"}).get_data(as_text=True)
    assert "Request 1</a>" in by_person
    assert "Request 2</a>" not in by_person
    assert "Nothing was found" in boss.post("/looks/", data={"voter_id": "nobody"}).get_data(as_text=True)
