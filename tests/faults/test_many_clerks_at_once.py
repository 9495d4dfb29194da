"""Eight clerks decide the same two hundred requests at the same time: one replacement each, on both databases."""

from __future__ import annotations

import multiprocessing
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlalchemy import func, select

from replacements.ballots import ledger
from replacements.ballots.importing import import_ballots
from replacements.ballots.reconciling import reconcile
from replacements.requests import office
from replacements.store.database import Database
from replacements.store.tables import LIVE_STATES, Ballot, Message, Packet, Reply, Request, VoterRow
from tests.faults.clerks import approve_all

AT = datetime(2026, 10, 5, 9, 30, tzinfo=ZoneInfo("America/New_York"))
RULES = Path(__file__).parents[1] / "rules" / "saltgrass.toml"
REQUESTS = 200
CLERKS = 8


def two_hundred_requests(database: Database, folder: Path) -> list[int]:
    lines = [f"{5_200_000 + n},{62_000_000 + n},12-A,issued,2026-09-18,,," for n in range(REQUESTS)]
    heading = "ballot_number,voter_id,style,state,mailed_on,returned_on,replaces,void_reason"
    (folder / "ballots.csv").write_text("\n".join([heading, *lines]), encoding="utf-8")
    with database.write() as session:
        force = office.load(session, RULES.read_text(encoding="utf-8"), at=AT)
        office.adopt(session, official="the registrar", by="test", at=AT)
        for n in range(REQUESTS):
            session.add(
                VoterRow(
                    voter_id=str(62_000_000 + n),
                    last_name=f"Fernley{n}",
                    first_name="Io",
                    street=f"{n + 1} Reed Path",
                    city="Eelpoint",
                    state="NC",
                    zip="27998",
                    style="12-A",
                )
            )
        session.flush()
        import_ballots(session, folder / "ballots.csv", election_id=force.election_id, at=AT)
        requests = []
        for n in range(REQUESTS):
            message = Message(
                fingerprint=f"m{n}",
                message_id=f"<{n}@post.example>",
                sender=f"io{n}@post.example",
                arrived_at=AT,
                stored_at=AT,
                state="read",
            )
            session.add(message)
            session.flush()
            requests.append(
                Request(
                    election_id=force.election_id,
                    message_id=message.id,
                    person=f"Io Fernley{n}",
                    standing="certain",
                    voter_id=str(62_000_000 + n),
                    kinds=["spoiled_ballot"],
                    cause="spoiled",
                    proposal="reissue",
                    reasons=[],
                    judged={"may_answer": True},
                    language="en",
                    received_at=AT,
                )
            )
        session.add_all(requests)
        session.flush()
        return [r.id for r in requests]


def test_eight_clerks_and_two_hundred_requests_make_two_hundred_replacements(
    database: Database, tmp_path: Path
) -> None:
    ids = two_hundred_requests(database, tmp_path)
    jobs = [(database.url, ids[n * 25 :] + ids[: n * 25], f"clerk{n}", AT) for n in range(CLERKS)]
    with multiprocessing.get_context("spawn").Pool(CLERKS) as pool:
        outcomes = pool.starmap(approve_all, jobs)
    assert sum(done for done, _ in outcomes) == REQUESTS
    assert sum(stale for _, stale in outcomes) == REQUESTS * (CLERKS - 1)
    with database.read() as session:
        replacements = session.scalar(select(func.count()).select_from(Ballot).where(Ballot.replaces.is_not(None)))
        live = session.execute(
            select(Ballot.voter_id, func.count())
            .where(Ballot.state.in_(LIVE_STATES))
            .group_by(Ballot.voter_id)
            .having(func.count() > 1)
        ).all()
        assert replacements == REQUESTS
        assert live == []
        assert session.scalar(select(func.count()).select_from(Packet)) == REQUESTS
        assert session.scalar(select(func.count()).select_from(Reply)) == REQUESTS
        verdict = ledger.verify(session)
        assert verdict.broken is None
        force = office.in_force(session)
        assert force is not None
        assert reconcile(session, force.election_id).agrees
