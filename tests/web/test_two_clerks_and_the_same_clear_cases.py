"""Two clerks approve overlapping sets of clear cases at the same moment, over PostgreSQL, where both really write at
once: each request is decided once, and whoever came second reads who was first."""

from __future__ import annotations

import re
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from sqlalchemy import func, select

from replacements.ballots import ledger
from replacements.ballots.reconciling import reconcile
from replacements.people.permissions import Role
from replacements.requests import office
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import LIVE_STATES, Ballot, LedgerEntry, Packet, Reply, Request
from tests.web.invented_office import NOW, Clock, Site, add_accounts, seed
from tests.web.many_requests import FIRST, add_clear_cases

CASES = 24
_BOX = re.compile(r'name="case" value="(\d+)/([^"]+)"')
_CAME = re.compile(r'<strong>([^<]+):</strong> <a href="[^"]*">request (\d+)</a>\. ([^<]*)</li>')


@pytest.fixture
def clerks(postgres_database: Database, tmp_path: Path) -> Site:
    """An office with two clerks, `clerk` and `clerk-2`, and cases that nothing speaks against."""
    add_accounts(postgres_database, "x")
    seed(postgres_database)
    settings = Settings(data=tmp_path, database="", mailbox="", outbox="", secret_file=tmp_path / "secret")
    site = Site(postgres_database, Clock(), settings)
    site.hire("clerk-2", Role.CLERK)
    add_clear_cases(postgres_database, CASES)
    return site


def approve_at_once(site: Site, sets: dict[str, list[int]]) -> dict[str, dict[int, tuple[str, str]]]:
    """What each clerk reads of each request that they ticked: all look first, and send at the same moment."""
    start = threading.Barrier(len(sets))

    def work(name: str) -> dict[int, tuple[str, str]]:
        client = site.client(name)
        boxes = dict(_BOX.findall(client.get("/requests/together/").get_data(as_text=True)))
        ticked = [f"{number}/{boxes[str(number)]}" for number in sets[name]]
        start.wait(timeout=60)
        page = client.post("/requests/together/", data={"case": ticked}).get_data(as_text=True)
        return {int(number): (what, text) for what, number, text in _CAME.findall(page)}

    with ThreadPoolExecutor(len(sets)) as pool:
        return dict(zip(sets, pool.map(work, sets), strict=True))


def of_everything(site: Site) -> None:
    """Nothing was done twice, and the books agree."""
    with site.database.read() as session:
        once = dict.fromkeys(range(FIRST, FIRST + CASES), 1)
        for table in (Packet, Reply):
            query = select(table.request_id).where(table.request_id >= FIRST)
            assert Counter(session.scalars(query)) == once, table
        voided = session.scalars(select(LedgerEntry.ballot_number).where(LedgerEntry.event == "voided"))
        assert Counter(number for number in voided if number and number.startswith("7")) == {
            f"7{number:06}": 1 for number in once
        }
        live = session.execute(
            select(Ballot.voter_id, func.count()).where(Ballot.state.in_(LIVE_STATES)).group_by(Ballot.voter_id)
        )
        assert all(count == 1 for _, count in live)
        assert ledger.verify(session).broken is None
        force = office.in_force(session, at=NOW)
        assert force is not None
        assert reconcile(session, force.election_id).agrees


def test_each_is_decided_once_and_the_other_reads_who_was_faster(clerks: Site) -> None:
    numbers = list(range(FIRST, FIRST + CASES))
    mine, hers = numbers[:18], numbers[6:]  # twelve of them both
    both = mine[6:]
    came = approve_at_once(clerks, {"clerk": both + mine[:6], "clerk-2": hers})
    assert {name: sorted(of) for name, of in came.items()} == {"clerk": mine, "clerk-2": hers}
    with clerks.database.read() as session:
        found = {number: session.get_one(Request, number) for number in numbers}
    for number, request in found.items():
        assert (request.state, request.version) == ("done", 2)
        told = {name: of[number] for name, of in came.items() if number in of}
        assert request.decided_by in told
        assert told.pop(request.decided_by)[0] == "Done"
        for what, text in told.values():
            assert what == "Changed meanwhile"
            assert text == (
                f"{request.decided_by} approved it meanwhile: ballot 7{number:06} is replaced by ballot "
                f"{request.issued_ballot}. It was done once."
            )
    of_everything(clerks)


def test_whoever_sends_the_same_page_twice_at_once_has_done_it_once(clerks: Site) -> None:
    """As by a double click: the same account, the same boxes, two answers."""
    numbers = list(range(FIRST, FIRST + CASES))
    client = clerks.client("clerk")
    boxes = dict(_BOX.findall(client.get("/requests/together/").get_data(as_text=True)))
    ticked = [f"{number}/{boxes[str(number)]}" for number in numbers]
    start = threading.Barrier(2)

    def send(_: int) -> list[tuple[str, str, str]]:
        again = clerks.client("clerk")
        start.wait(timeout=60)
        found: list[tuple[str, str, str]] = _CAME.findall(
            again.post("/requests/together/", data={"case": ticked}).get_data(as_text=True)
        )
        return found

    with ThreadPoolExecutor(2) as pool:
        answers = [one for answer in pool.map(send, range(2)) for one in answer]
    assert Counter(what for what, _, _ in answers) == {"Done": CASES, "Changed meanwhile": CASES}
    assert all(text.startswith("You approved it meanwhile") for what, _, text in answers if what != "Done")
    of_everything(clerks)


def test_what_the_other_did_is_said_whatever_it_was(clerks: Site) -> None:
    client, other = clerks.client("clerk"), clerks.client("clerk-2")
    boxes = dict(_BOX.findall(client.get("/requests/together/").get_data(as_text=True)))
    other.post(f"/requests/{FIRST}/decline", data={"version": "1", "note": "She called."})
    other.post(f"/requests/{FIRST + 1}/approve", data={"version": "1"})
    with clerks.database.write() as session:
        first, changed = session.get_one(Request, FIRST + 2), session.get_one(Request, FIRST + 3)
        first.state, first.first_by, first.version = "second", "clerk-2", 2
        changed.version = 2
        asked = session.get_one(Request, FIRST + 4)
        asked.state, asked.decided_by, asked.version = "asked", "clerk-2", 2
    ticked = [f"{number}/{boxes[str(number)]}" for number in range(FIRST, FIRST + 5)]
    page = client.post("/requests/together/", data={"case": ticked}).get_data(as_text=True)
    assert "0 of 5 approved" in page
    told = [text for _, _, text in _CAME.findall(page)]
    assert told[0] == "clerk-2 declined it meanwhile."
    assert told[1].startswith(f"clerk-2 approved it meanwhile: ballot 7{FIRST + 1:06} is replaced by ballot 8")
    assert told[2] == "clerk-2 agreed to it meanwhile, and a second person is awaited."
    assert told[3] == "It was changed meanwhile, and nobody has decided it. Look at it once more."
    assert told[4] == "clerk-2 asked the voter for more meanwhile."
