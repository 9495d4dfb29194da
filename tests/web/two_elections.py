"""The invented office with a second election open: a runoff, two weeks before the autumn election."""

from __future__ import annotations

from datetime import date, timedelta

from replacements.ballots import ledger
from replacements.requests import office
from replacements.store.tables import Ballot, Request
from tests.web.invented_office import NOW, RULES, Site

RUNOFF = "2026-10-20-runoff-election"
AUTUMN = "2026-11-03-autumn-election"
RUNOFF_RULES = (
    RULES.replace('name = "Autumn election"', 'name = "Runoff election"')
    .replace("2026-11-03", "2026-10-20")
    .replace("2026-10-24", "2026-10-10")
    .replace("2026-10-28", "2026-10-14")
    .replace("2026-11-02", "2026-10-19")
)
RUNOFF_BALLOT = "5900018"  # of the first voter


def with_a_runoff(site: Site, *, adopted: bool = True) -> Site:
    """Open the runoff beside the other election, with a ballot out to the first voter."""
    with site.database.write() as session:
        force = office.load(session, RUNOFF_RULES, at=NOW)
        assert force.election_id == RUNOFF
        if adopted:
            office.adopt(session, official="Registrar Hollis Penn", by="supervisor", at=NOW, election_id=RUNOFF)
        mailed = date(2026, 9, 21)
        session.add(
            Ballot(
                number=RUNOFF_BALLOT,
                election_id=RUNOFF,
                voter_id="V-100",
                style="R-1",
                state="issued",
                mailed_on=mailed,
            )
        )
        ledger.append(
            session,
            event="imported",
            election_id=RUNOFF,
            by="import",
            at=NOW - timedelta(days=2),
            ballot_number=RUNOFF_BALLOT,
            voter_id="V-100",
            details={"state": "issued", "style": "R-1", "mailed_on": mailed.isoformat()},
        )
    return site


def undecided(site: Site) -> None:
    """Nobody can tell which election the first request is about."""
    with site.database.write() as session:
        request = session.get_one(Request, 1)
        request.proposal = "read"
        request.judged = {**request.judged, "election_by": "undecided", "elections": [RUNOFF, AUTUMN]}
        request.reasons = [{"rule": "trade.which_election", "text": "Nothing says which election this is about."}]
