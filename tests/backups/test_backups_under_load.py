"""A backup that is taken while clerks decide is the office as it was at one moment, and restores to just that."""

from __future__ import annotations

import random
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import func, select, text

from replacements.backups import restoring, taking
from replacements.ballots.ledger import verify
from replacements.ballots.life import NotPossible
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Ballot, LedgerEntry
from tests.backups.conftest import Another
from tests.faults import killing

VOTERS = 60


@contextmanager
def _clerks_deciding(database: Database, clerks: int = 3) -> Iterator[None]:
    stopped = threading.Event()

    def clerk(name: str) -> int:
        chance, done = random.Random(name), 0
        while not stopped.is_set():
            try:
                with database.write() as session:
                    killing.one_operation(session, chance, VOTERS, f"{name}.{done}")
            except NotPossible:
                continue
            done += 1
        return done

    with ThreadPoolExecutor(clerks) as pool:
        working = [pool.submit(clerk, f"clerk{n}") for n in range(clerks)]
        try:
            yield
        finally:
            stopped.set()
            assert sum(one.result(60) for one in working) > 0


def _entries(database: Database) -> int:
    with database.read() as session:
        return session.scalar(select(func.count()).select_from(LedgerEntry)) or 0


def _until_more_than(database: Database, entries: int) -> int:
    while (now := _entries(database)) <= entries:
        threading.Event().wait(0.02)
    return now


def test_backups_under_load_restore_with_a_ledger_that_verifies_and_equal_counts(
    database: Database, settings: Settings, elsewhere: Settings, another: Another, tmp_path: Path
) -> None:
    killing.set_up(database, tmp_path, VOTERS)
    taken = []
    with _clerks_deciding(database):
        for number in range(3):
            before = _until_more_than(database, _entries(database) + 10)
            taken.append((before, taking.take(database, settings, tmp_path / f"{number}.tar.gz", at=killing.AT)))
        _until_more_than(database, _entries(database) + 10)
    for number, (before, backup) in enumerate(taken):
        assert backup.trouble == ()
        assert before <= backup.manifest["ledger"]["entries"] < _entries(database)
        place = another()
        done = restoring.restore(
            place, replace(elsewhere, data=tmp_path / f"there-{number}"), backup.path, at=killing.AT
        )
        assert done.wrong == []
        with place.read() as session:
            verdict = verify(session, anchor=(backup.manifest["ledger"]["entries"], backup.manifest["ledger"]["head"]))
            counts = taking.books(session)
        assert verdict.broken is None
        assert verdict.entries == backup.manifest["ledger"]["entries"] + 1  # that it was restored is on record too
        assert counts == backup.manifest["books"]


def test_a_restored_office_works_on_and_still_refuses_what_must_never_happen(
    database: Database, settings: Settings, elsewhere: Settings, another: Another, tmp_path: Path
) -> None:
    killing.set_up(database, tmp_path, VOTERS)
    with _clerks_deciding(database):
        _until_more_than(database, _entries(database) + 30)
    backup = taking.take(database, settings, tmp_path / "backup.tar.gz", at=killing.AT)
    place = another()
    restoring.restore(place, elsewhere, backup.path, at=killing.AT)
    restored = _entries(place)
    with _clerks_deciding(place):
        _until_more_than(place, restored + 20)
    with place.read() as session:
        assert verify(session).broken is None
    for statement in ("UPDATE ledger SET by = 'nobody' WHERE seq = 1", "DELETE FROM ballots"):
        with place.engine.connect() as connection, pytest.raises(Exception, match="never"):
            connection.execute(text(statement))


def test_clerks_do_not_wait_for_a_backup(database: Database, settings: Settings, tmp_path: Path) -> None:
    killing.set_up(database, tmp_path, VOTERS)
    with taking.workplace(tmp_path) as folder, taking.snapshot.taken(database, folder), database.write() as session:
        ballot = session.scalars(select(Ballot).order_by(Ballot.number).limit(1)).one()
        killing.life.void(session, number=ballot.number, reason="wrong_style", by="clara", at=killing.AT)
