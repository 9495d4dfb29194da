"""Any order of events, against a small model of what an office expects, on SQLite and on PostgreSQL; and every event in
every situation that one voter's ballots can be in."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from sqlalchemy.orm import Session

from replacements.ballots.examining import examine
from replacements.ballots.ledger import verify
from replacements.ballots.rebuilding import compare, rebuild
from replacements.ballots.reconciling import reconcile
from replacements.store.database import Database
from tests.ballots.reference_office import ACTS, ELECTION, LIVE, Model, act, begin, found_as_expected
from tests.servers.databases import PostgresServer

VOTERS = 2


class Office(RuleBasedStateMachine):
    """Any act on any ballot, each in a transaction of its own that a refusal undoes."""

    fresh: Callable[[], tuple[Database, Callable[[], None]]]

    def __init__(self) -> None:
        super().__init__()
        self.database, self.clear_away = type(self).fresh()
        self.model = begin(self.database, VOTERS)

    def teardown(self) -> None:
        self.database.close()
        self.clear_away()

    @rule(choice=st.integers(0, 30), what=st.sampled_from(sorted(ACTS)))
    def something_happens(self, choice: int, what: str) -> None:
        number = sorted(self.model.papers)[choice % len(self.model.papers)]

        class Refused(Exception):
            pass

        try:
            with self.database.write() as session:
                if not act(session, self.model, what, number) and what != "come_back":
                    raise Refused
        except Refused:
            pass

    @invariant()
    def what_is_on_record_is_what_the_office_expects(self) -> None:
        with self.database.read() as session:
            found_as_expected(session, self.model)
            assert examine(session).trouble == ()
        for voter in {paper.voter for paper in self.model.papers.values()}:
            mine = [paper.state for paper in self.model.papers.values() if paper.voter == voter]
            assert sum(state in LIVE for state in mine) <= 1


def run(fresh: Callable[[], tuple[Database, Callable[[], None]]], examples: int) -> None:
    office = type("OfficeHere", (Office,), {"fresh": staticmethod(fresh)})
    run_state_machine_as_test(
        office,
        settings=settings(
            max_examples=examples,
            stateful_step_count=25,
            deadline=None,
            suppress_health_check=[HealthCheck.too_slow],
            phases=[Phase.explicit, Phase.generate],  # a failing row is short enough; making it shorter takes long
        ),
    )


def test_any_row_of_events_on_sqlite(sqlite_template: Path) -> None:
    def fresh() -> tuple[Database, Callable[[], None]]:
        folder = Path(tempfile.mkdtemp(prefix="office-model-"))
        shutil.copyfile(sqlite_template, folder / "office.sqlite3")
        return Database(str(folder / "office.sqlite3")), lambda: shutil.rmtree(folder)

    run(fresh, examples=40)


def test_any_row_of_events_on_postgresql(postgres_server: PostgresServer) -> None:
    def fresh() -> tuple[Database, Callable[[], None]]:
        url = postgres_server.new_database()
        return Database(url), lambda: postgres_server.drop(url)

    run(fresh, examples=15)


# With `mail` there are four times as many situations, and nothing that `close` does not show: it only bars a take-back.
ACTS_TRIED = tuple(what for what in ACTS if what != "mail")


def situations(session: Session, model: Model, most: int, seen: set[tuple[object, ...]]) -> Iterator[Model]:
    """Every situation that is reached from this one by any acts, with the database in it; each once."""
    seen.add(model.situation())
    yield model
    for number in list(model.papers):
        for what in ACTS_TRIED:
            after = model.copy()
            with session.begin_nested() as attempt:
                happened = act(session, after, what, number)
                if (happened or what == "come_back") and len(after.papers) <= most and after.situation() not in seen:
                    yield from situations(session, after, most, seen)
                attempt.rollback()
            session.expire_all()


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_every_event_in_every_situation_of_a_voter(database: Database) -> None:
    """All that can happen to an original and its replacement: each act is tried in each situation, and agrees with
    the model; in each the chain holds, the books balance, and the ledger alone gives the same states."""
    model = begin(database, voters=1)
    seen: set[tuple[object, ...]] = set()
    acts = 0
    with database.write() as session:
        for here in situations(session, model, 2, seen):
            acts += len(here.papers) * len(ACTS_TRIED)
            found_as_expected(session, here)
            assert reconcile(session, ELECTION).agrees, here
            rebuilt = rebuild(session, ELECTION)
            assert (rebuilt.wrong, compare(session, ELECTION, rebuilt)) == ((), ()), here
            assert verify(session).broken is None
    assert (len(seen), acts) > (300, 7_000)
