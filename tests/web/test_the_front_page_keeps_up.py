"""The front page keeps itself up to date, and the pages never wait for it."""

from __future__ import annotations

import http.client
import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from threading import Thread
from typing import Any

import pytest
from waitress import wasyncore
from waitress.server import create_server

from replacements.people import accounts
from replacements.people.permissions import Role
from replacements.store.tables import Account, Request
from replacements.web import live
from replacements.web.app import create_app
from tests.web.invented_office import NOW, PERSONAL, Site
from worker.serving import THREADS


def token_of(site: Site, role: str) -> str:
    with site.database.write() as session:
        account = session.query(Account).filter_by(name=role).one()
        return accounts.start_sign_in(session, account.id, at=site.clock.at)


@contextmanager
def served(site: Site) -> Iterator[int]:
    """The pages over waitress, as `serve` does it; the port."""
    server: Any = create_server(
        create_app(site.database, site.settings, now=site.clock), host="127.0.0.1", port=0, threads=THREADS
    )
    thread = Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield server.effective_port
    finally:
        # In the server's own thread: the loop ends once nothing is left to listen to.
        server.trigger.pull_trigger(lambda: wasyncore.close_all(server._map))
        thread.join(timeout=10)
        server.task_dispatcher.shutdown(timeout=3)


def ask(port: int, path: str, token: str, **headers: str) -> http.client.HTTPResponse:
    asked = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    asked.request("GET", path, headers={"Cookie": f"sign-in={token}", **headers})
    return asked.getresponse()


def event(stream: http.client.HTTPResponse) -> dict[str, str]:
    """The next event of a stream, as field and value; comments are none."""
    found: dict[str, str] = {}
    while True:
        line = stream.readline().decode().rstrip("\n")
        if not line and "data" in found:
            return found
        name, _, value = line.partition(": ")
        if name:
            found[name] = value


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "LOOK_EVERY", 0.4)


def test_streams_leave_most_threads_to_the_pages() -> None:
    assert live.MOST_OPEN < THREADS / 2


@pytest.mark.usefixtures("quick")
def test_news_come_by_themselves(site: Site) -> None:
    with served(site) as port:
        stream = ask(port, "/now", token_of(site, "clerk"))
        assert stream.headers["Content-Type"].startswith("text/event-stream")
        assert stream.headers["Cache-Control"] == "no-store"
        assert stream.headers["Content-Encoding"] is None
        first = event(stream)
        assert "1 waits for a clerk" in json.loads(first["data"])["said"]
        with site.database.write() as session:
            session.get_one(Request, 1).state = "declined"
        second = event(stream)
        assert second["id"] != first["id"]
        assert "0 wait for a clerk" in json.loads(second["data"])["said"]
        site.clock.at += timedelta(minutes=30)  # nothing was done, but time went on
        assert "3 h 0 min" in json.loads(event(stream)["data"])["html"]


@pytest.mark.usefixtures("quick")
def test_many_who_look_on_hold_up_no_page(site: Site) -> None:
    """Twice as many open streams as the server has threads; a page still comes at once, and all have heard."""
    with served(site) as port:
        token = token_of(site, "supervisor")
        streams = [ask(port, "/now", token) for _ in range(2 * THREADS)]
        events = [event(stream) for stream in streams]
        assert len({one["id"] for one in events}) == 1
        assert sorted(one["retry"] for one in events) == sorted(
            [str(live.BACK_SOON)] * live.MOST_OPEN + [str(live.BACK_LATER)] * (2 * THREADS - live.MOST_OPEN)
        )
        for path in ("/", "/requests/", "/mailing", "/health", "/static/own.css"):
            began = time.monotonic()
            assert ask(port, path, token).status == 200
            assert time.monotonic() - began < 5, path  # a busy machine included; a stream stays for minutes


@pytest.mark.usefixtures("quick")
def test_a_stream_ends_and_leaves_its_place(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "LONGEST", 0.5)
    with served(site) as port:
        token = token_of(site, "clerk")
        for _ in range(live.MOST_OPEN + 2):
            assert f"retry: {live.BACK_SOON}" in ask(port, "/now", token).read().decode()


@pytest.mark.usefixtures("quick")
def test_who_went_away_leaves_the_place_to_others(site: Site) -> None:
    with served(site) as port:
        token = token_of(site, "clerk")
        for _ in range(live.MOST_OPEN):
            gone = ask(port, "/now", token)
            event(gone)
            gone.close()
        end = time.monotonic() + 20
        while event(again := ask(port, "/now", token))["retry"] != str(live.BACK_SOON):
            again.close()
            assert time.monotonic() < end
            time.sleep(0.2)


def test_who_comes_back_hears_only_what_is_new(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "LONGEST", 0.0)
    client = site.client("clerk")
    said = client.get("/now").get_data(as_text=True)
    mark = next(line for line in said.splitlines() if line.startswith("id: ")).removeprefix("id: ")
    again = client.get("/now", headers={"Last-Event-ID": mark}).get_data(as_text=True)
    assert "data:" not in again
    assert ": the same" in again


@pytest.mark.usefixtures("quick")
def test_it_ends_with_the_sign_in_and_with_the_role(site: Site) -> None:
    with served(site) as port:
        for role in ("clerk", "supervisor"):
            token = token_of(site, role)
            stream = ask(port, "/now", token)
            event(stream)
            with site.database.write() as session:
                if role == "clerk":
                    accounts.end_sign_in(session, token)
                else:
                    session.query(Account).filter_by(name=role).one().roles = ["mail_room"]
            assert b"data:" not in stream.read()


def test_nobody_stays_signed_in_by_a_page_that_looks_by_itself(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "LONGEST", 0.0)
    client = site.client("clerk")
    for _ in range(7):
        site.clock.at += timedelta(minutes=10)
        last = client.get("/now")
    assert site.clock.at == NOW + timedelta(minutes=70)
    assert last.status_code == 303


@pytest.mark.parametrize("role", [Role.OBSERVER, Role.RETURN_DESK, Role.MAIL_ROOM])
def test_news_hold_nothing_personal(site: Site, monkeypatch: pytest.MonkeyPatch, role: Role) -> None:
    monkeypatch.setattr(live, "LONGEST", 0.0)
    said = site.client(role).get("/now").get_data(as_text=True)
    assert "data:" in said
    assert not [fact for fact in PERSONAL if fact in said]


def test_the_parts_that_come_are_those_that_stand_there(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "LONGEST", 0.0)
    client = site.client("supervisor")
    data = next(line for line in client.get("/now").get_data(as_text=True).splitlines() if line.startswith("data: "))
    assert json.loads(data.removeprefix("data: "))["html"].strip() in client.get("/").get_data(as_text=True)
