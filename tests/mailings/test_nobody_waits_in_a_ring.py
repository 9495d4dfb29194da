"""Reissuing, taking back and closing at once: each is whole or refused in plain words, and the database never has to
break a deadlock. The order of locks is mailing, ballots, packets, ledger."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial

from sqlalchemy import func, select

from replacements.ballots import ledger, life
from replacements.mailings.closing import close
from replacements.mailings.queue import open_mailing, pull_waiting, queue_packet
from replacements.mailings.signing import Counts, sign
from replacements.rules.office import Rules
from replacements.store.database import Database
from replacements.store.tables import LIVE_STATES, Ballot, Mailing, VoterRow

ELECTION = "2026-11-03-general-election"
MORNING = datetime(2026, 10, 14, 13, 0, tzinfo=UTC)
VOTERS = 4
TURNS = 4


def test_reissues_withdrawals_and_closings_at_once(
    office: Database, rules: Rules, enrol: Callable[..., VoterRow]
) -> None:
    with office.write() as session:
        for place in range(VOTERS):
            voter = enrol(session, f"voter-{place}")
            session.add(
                Ballot(number=f"10{place}", election_id=ELECTION, voter_id=voter.voter_id, style="07-A", state="issued")
            )
    troubles: list[Exception] = []
    start = threading.Barrier(VOTERS + 2)

    def guarded(work: Callable[[], None]) -> None:
        try:
            start.wait(30)
            for _ in range(TURNS):
                work()
        except Exception as trouble:
            troubles.append(trouble)

    def ask_and_withdraw(place: int) -> None:
        with office.write() as session:
            open_mailing(session, election_id=ELECTION, rules=rules, at=MORNING)
            live = session.scalars(
                select(Ballot).where(Ballot.voter_id == f"voter-{place}", Ballot.state.in_(LIVE_STATES))
            ).one()
            if live.replaces is not None:
                return  # the replacement went into a closed mailing the turn before
            new = life.reissue(session, number=live.number, cause="spoiled", by="mara", at=MORNING, prefix="8")
            queue_packet(
                session,
                election_id=ELECTION,
                rules=rules,
                at=MORNING,
                request_id=None,
                voter_id=new.voter_id,
                ballot_number=new.number,
                contents=["ballot"],
            )
            number = new.number
        try:
            with office.write() as session:
                pull_waiting(session, number, by="mara", at=MORNING, reason="withdrawn")
                life.take_back(session, replacement=number, reason="withdrawn", by="mara", at=MORNING)
        except life.NotPossible:
            pass  # it was closed in between: the void is final

    def close_the_next() -> None:
        with office.write() as session:
            mailing = open_mailing(session, election_id=ELECTION, rules=rules, at=MORNING)
            close(session, mailing.id, rules=rules, by="schedule", at=MORNING)

    def sign_what_is_closed() -> None:
        with office.read() as session:
            closed = list(session.scalars(select(Mailing.id).where(Mailing.state == "closed")))
        for mailing_id in closed:
            for account in ("joel", "ines"):
                with office.write() as session:
                    manifest = session.get_one(Mailing, mailing_id).manifest or {}
                    total = manifest.get("total", 0)
                    counts = Counts(picked=total, labelled=total, sealed=total)
                    sign(session, mailing_id, account=account, counts=counts, at=MORNING)

    work: list[Callable[[], None]] = [partial(ask_and_withdraw, place) for place in range(VOTERS)]
    threads = [threading.Thread(target=guarded, args=(each,)) for each in [*work, close_the_next, sign_what_is_closed]]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(180)
    assert not troubles
    with office.read() as session:
        live = select(Ballot.voter_id, func.count()).where(Ballot.state.in_(LIVE_STATES)).group_by(Ballot.voter_id)
        assert {row[0]: row[1] for row in session.execute(live)} == {f"voter-{place}": 1 for place in range(VOTERS)}
        assert ledger.verify(session).broken is None
