"""A style or precinct that changed under a voter stands beside the voter on the request's page."""

from __future__ import annotations

from datetime import UTC, datetime

from replacements.store.tables import RollImport, VoterChange
from tests.web.invented_office import Site

AT = datetime(2026, 9, 30, 4, tzinfo=UTC)


def test_a_clerk_sees_what_style_the_voter_had_before_and_an_observer_does_not(site: Site) -> None:
    counts = dict.fromkeys(("lines", "added", "changed", "removed", "refused", "highest"), 1)
    with site.database.write() as session:
        session.add(RollImport(id=1, at=AT, form="1", **counts))
        session.flush()
        for field, was, became in (("precinct", "P-3", "P-9"), ("style", "S-12", "S-14")):
            session.add(VoterChange(voter_id="V-100", import_id=1, at=AT, field=field, was=was, became=became))
    page = site.see("clerk", "/requests/1").get_data(as_text=True)
    assert "style S-12 until 2026-09-30, then S-14" in page
    assert "precinct P-3 until 2026-09-30, then P-9" in page
    assert "S-12" not in site.see("observer", "/requests/1").get_data(as_text=True)
