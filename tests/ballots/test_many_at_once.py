"""Several clerks at once: one replacement a voter, no number twice, one unbroken ledger."""

from __future__ import annotations

import multiprocessing
from collections import Counter
from datetime import UTC, date, datetime
from multiprocessing.queues import Queue
from multiprocessing.synchronize import Event as StartSignal

from sqlalchemy import select

from replacements.ballots import life
from replacements.ballots.ledger import verify
from replacements.ballots.life import NotPossible
from replacements.store.database import Database
from replacements.store.tables import Ballot, Election, LedgerEntry

ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
CLERKS, BALLOTS = 4, 40


def _clerk(url: str, number: int, start: StartSignal, results: Queue[tuple[int, int]]) -> None:
    """One process: replaces every ballot, beginning at another place than the others do."""
    database = Database(url)
    start.wait()
    done, refused = 0, 0
    for step in range(BALLOTS):
        ballot = (step + number * BALLOTS // (CLERKS * 2)) % BALLOTS
        try:
            with database.write() as session:
                life.reissue(session, number=f"{1000 + ballot}", cause="spoiled", by=f"c{number}", at=AT, prefix="7")
            done += 1
        except NotPossible:
            refused += 1
    database.close()
    results.put((done, refused))


def test_clerks_who_replace_the_same_ballots_at_once_issue_one_replacement_a_voter(database: Database) -> None:
    with database.write() as session:
        session.add(Election(id=ELECTION, name="General election", held_on=date(2031, 11, 4), created_at=AT))
        session.flush()
        for place in range(BALLOTS):
            session.add(
                Ballot(number=f"{1000 + place}", election_id=ELECTION, voter_id=f"V{place}", style="A", state="issued")
            )
    context = multiprocessing.get_context("spawn")
    start, results = context.Event(), context.Queue()
    clerks = [context.Process(target=_clerk, args=(database.url, n, start, results)) for n in range(CLERKS)]
    for clerk in clerks:
        clerk.start()
    start.set()
    outcomes = [results.get(timeout=120) for _ in clerks]
    for clerk in clerks:
        clerk.join(timeout=30)
        assert clerk.exitcode == 0
    assert sum(done for done, _ in outcomes) == BALLOTS
    assert sum(refused for _, refused in outcomes) == BALLOTS * (CLERKS - 1)
    with database.read() as session:
        ballots = session.scalars(select(Ballot)).all()
        assert Counter(ballot.state for ballot in ballots) == {"voided": BALLOTS, "issued": BALLOTS}
        live = [ballot for ballot in ballots if ballot.state == "issued"]
        assert len({ballot.voter_id for ballot in live}) == len({ballot.replaces for ballot in live}) == BALLOTS
        found = verify(session)
        assert (found.broken, found.entries) == (None, 2 * BALLOTS)
        events = Counter(session.scalars(select(LedgerEntry.event)))
        assert events == {"voided": BALLOTS, "reissued": BALLOTS}
