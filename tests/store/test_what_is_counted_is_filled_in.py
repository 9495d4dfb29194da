"""Requests of a version that kept what is counted among all else: after the upgrade it stands in columns of its own."""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from alembic import command
from sqlalchemy import select, text

from replacements.store import carried_over, senders
from replacements.store.counted import fill_what_is_missing
from replacements.store.database import Database
from replacements.store.migrate import config_on, migrate
from replacements.store.tables import LedgerDay, Packet, Request
from tests.servers.databases import PostgresServer

BEFORE = "0019"
MANY = 4_500  # more than are filled at a time
COLUMNS = (Request.language, Request.who_claimed, Request.who_p, Request.kind_claimed, Request.kind_p)


@pytest.fixture(params=["sqlite", "postgresql"])
def earlier(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """A database of the earlier version, with an election and nothing else."""
    server: PostgresServer | None = None
    if request.param == "postgresql":
        server = request.getfixturevalue("postgres_server")
        name = f"counted_{time.monotonic_ns()}"
        server.run(f"CREATE DATABASE {name}")
    database = Database(server.url(name) if server else str(tmp_path / "earlier.sqlite3"))
    with database.engine.connect() as connection:
        command.upgrade(config_on(connection), BEFORE)
        connection.execute(text("INSERT INTO elections VALUES ('E', 'General', '2026-11-03', '2026-09-01')"))
        connection.commit()
    yield database
    database.close()
    if server:
        server.drop(server.url(name))


def _keep(
    database: Database, number: int, judged: dict[str, object], judgement: dict[str, object], sender: str = ""
) -> None:
    """As the earlier version wrote it."""
    known = {"n": number, "judged": json.dumps(judged), "judgement": json.dumps(judgement), "sender": sender}
    with database.engine.begin() as connection:
        for statement in (
            "INSERT INTO messages (id, fingerprint, message_id, sender, sender_name, subject, arrived_at, stored_at,"
            " state, attempts, judgement) VALUES (:n, 'f' || CAST(:n AS TEXT), '', :sender, '', '',"
            " '2026-10-05 09:00:00', '2026-10-05 09:00:00', 'read', 0, :judgement)",
            "INSERT INTO requests (id, election_id, message_id, place, person, kinds, proposal, reasons, two_people,"
            " judged, state, version, received_at) VALUES (:n, 'E', :n, 0, '', '[]', 'ask', '[]', false, :judged,"
            " 'waiting', 1, '2026-10-05 09:00:00')",
        ):
            connection.execute(text(statement), known)


def _counted(database: Database) -> list[tuple[object, ...]]:
    with database.read() as session:
        return [tuple(row) for row in session.execute(select(*COLUMNS).order_by(Request.id))]


def test_what_was_claimed_of_a_request_is_found_where_the_week_counts_it(earlier: Database) -> None:
    _keep(
        earlier,
        1,
        {"language": "vi", "p": 0.97, "candidates": [{"voter_id": "V7"}, {"voter_id": "V8"}]},
        {"kinds": [{"kind": "question", "p": 0.71}, {"kind": "other", "p": 0.2}]},
    )
    _keep(earlier, 2, {"language": "en", "candidates": []}, {"kinds": []})
    _keep(earlier, 3, {}, {})  # could not be read
    migrate(earlier)
    assert _counted(earlier) == [
        ("vi", "V7", 0.97, "question", 0.71),
        ("en", None, None, None, None),
        (None, None, None, None, None),
    ]


def test_however_many_there_are_none_is_left_out(earlier: Database) -> None:
    _keep(earlier, 1, {"language": "ko"}, {})
    with earlier.engine.begin() as connection:
        connection.execute(
            text(
                "WITH RECURSIVE more(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM more WHERE n < :many)"
                " INSERT INTO requests (id, election_id, message_id, place, person, kinds, proposal, reasons,"
                " two_people, judged, state, version, received_at) SELECT n + 1, 'E', 1, n, '', '[]', 'ask', '[]',"
                " false, judged, 'waiting', 1, received_at FROM more CROSS JOIN requests"
            ),
            {"many": MANY},
        )
    migrate(earlier)
    assert {row[0] for row in _counted(earlier)} == {"ko"}


def test_what_the_earlier_version_read_during_the_upgrade_is_filled_in_afterwards(earlier: Database) -> None:
    migrate(earlier)
    _keep(earlier, 1, {"language": "es", "p": 0.5, "candidates": [{"voter_id": "V7"}]}, {})
    with earlier.engine.begin() as connection:
        assert fill_what_is_missing(connection) == 1
        assert fill_what_is_missing(connection) == 0
    assert _counted(earlier) == [("es", "V7", 0.5, None, None)]


def _accounts(database: Database) -> list[int | None]:
    with database.read() as session:
        return list(session.scalars(select(Request.mail_account).order_by(Request.id)))


def test_requests_of_one_mail_account_have_its_number_however_it_was_written(earlier: Database) -> None:
    for number, sender in enumerate(("maple@post.example", "Maple@POST.example", "", "birch@post.example"), start=1):
        _keep(earlier, number, {}, {}, sender)
    migrate(earlier)
    one, capitalised, none, other = _accounts(earlier)
    assert one == capitalised == senders.account_of("maple@post.example")
    assert none is None
    assert other == senders.account_of("birch@post.example") != one


def test_the_account_of_what_the_earlier_version_read_during_the_upgrade_is_filled_in_afterwards(
    earlier: Database,
) -> None:
    migrate(earlier)
    _keep(earlier, 1, {}, {}, "maple@post.example")
    with earlier.engine.begin() as connection:
        assert senders.fill_what_is_missing(connection) == 1
        assert senders.fill_what_is_missing(connection) == 0
    assert _accounts(earlier) == [senders.account_of("maple@post.example")]


def test_a_packet_has_the_style_of_its_ballot_and_the_moment_of_its_request(earlier: Database) -> None:
    _keep(earlier, 7, {}, {})
    with earlier.engine.begin() as connection:
        for statement in (
            "INSERT INTO ballots (number, election_id, voter_id, style, state)"
            " VALUES ('71', 'E', 'V1', 'F-2', 'issued')",
            "INSERT INTO mailings (id, election_id, goes_on, state) VALUES (1, 'E', '2026-10-06', 'open')",
            "INSERT INTO packets (id, mailing_id, request_id, voter_id, ballot_number, contents, state, queued_at,"
            " printed) VALUES (1, 1, 7, 'V1', '71', '[]', 'queued', '2026-10-05 09:00:00', 0)",
            "INSERT INTO packets (id, mailing_id, voter_id, ballot_number, contents, state, queued_at, printed)"
            " VALUES (2, 1, 'V2', NULL, '[]', 'queued', '2026-10-05 09:00:00', 0)",
        ):
            connection.execute(text(statement))
    migrate(earlier)
    with earlier.engine.begin() as connection:
        found = connection.execute(select(Packet.style, Packet.received_at).order_by(Packet.id)).all()
        assert [tuple(row) for row in found] == [("F-2", datetime(2026, 10, 5, 9, tzinfo=UTC)), (None, None)]
        assert carried_over.fill_what_is_missing(connection) == 0


def test_sums_of_a_precinct_that_nobody_tells_apart_become_one_and_those_of_a_style_stay(earlier: Database) -> None:
    none = dict.fromkeys((column.name for column in LedgerDay.__table__.columns if not column.primary_key), 0)
    rows = [
        {**none, "election_id": "E", "part": part, "day": "2026-10-05", "name": "P1"}
        | {"loaded": loaded, "replacement": replacement, "overseas": False, "out": out, "issued": 1}
        for part in ("precinct", "style")
        for loaded, replacement, out in ((True, False, 1), (False, True, 1), (False, False, -1))
    ]
    with earlier.engine.begin() as connection:
        names = list(rows[0])
        values = ", ".join(f":{name}" for name in names)
        connection.execute(text(f"INSERT INTO ledger_days ({', '.join(names)}) VALUES ({values})"), rows)
    migrate(earlier)
    with earlier.read() as session:
        found = session.execute(
            select(LedgerDay.part, LedgerDay.loaded, LedgerDay.replacement, LedgerDay.out, LedgerDay.issued)
        ).all()
    assert Counter(tuple(row) for row in found) == {
        ("precinct", False, False, 1, 3): 1,
        ("style", True, False, 1, 1): 1,
        ("style", False, True, 1, 1): 1,
        ("style", False, False, -1, 1): 1,
    }
