"""Two elections are open: each mailing is closed, printed and put off by the rules of its own."""

from __future__ import annotations

from datetime import date
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from replacements.mailings import stock
from replacements.requests import office as elections
from replacements.store.tables import Ballot, Mailing, Packet
from tests.web.invented_office import NOW, Site

NUMBER = "80000123"


@pytest.fixture
def other(site: Site) -> str:
    """A second election with a packet in a mailing of its own (number 2), to an envelope with a window."""
    text = (Path(__file__).with_name("office.toml")).read_text(encoding="utf-8")
    text = text.replace('"Autumn election"', '"School levy"').replace("date = 2026-11-03", "date = 2026-11-02")
    text = text.replace("[mailing]\n", '[mailing]\nlabels = "window"\n')
    with site.database.write() as session:
        found = elections.load(session, text, at=NOW)
        elections.adopt(session, official="Ida Ferrisdale", by="supervisor", at=NOW, election_id=found.election_id)
        session.add(Ballot(number=NUMBER, election_id=found.election_id, voter_id="V-100", style="L-1", state="issued"))
        mailing = Mailing(election_id=found.election_id, goes_on=date(2026, 9, 29), state="open")
        session.add(mailing)
        session.flush()
        session.add(
            Packet(
                mailing_id=mailing.id,
                voter_id="V-100",
                ballot_number=NUMBER,
                style="L-1",
                contents=["ballot"],
                queued_at=NOW,
            )
        )
        assert mailing.id == 2
        return found.election_id


def test_a_mailing_is_closed_printed_and_put_off_by_its_own_rules(site: Site, other: str) -> None:
    client = site.client("mail_room")
    client.post("/mailings/1/close")
    client.post("/mailings/2/close")
    page = client.get("/mailings/2").get_data(as_text=True)
    assert "School levy" in page
    assert "To be signed off: Tue, Sep 29, Autumn election" in page
    manifest = PdfReader(BytesIO(client.get("/mailings/2/manifest.pdf").data)).pages[0].extract_text()
    assert "School levy" in manifest
    assert NUMBER in manifest
    with site.database.read() as session:
        kept = [(session.get_one(Mailing, number).manifest or {})["layout"]["on"] for number in (1, 2)]
    assert kept == ["sheet", "window"]
    client.post("/packets/2/pull", data={"note": "The envelope tore."})
    with site.database.read() as session:
        again = session.query(Packet).filter_by(ballot_number=NUMBER, state="queued").one()
        assert session.get_one(Mailing, again.mailing_id).election_id == other
    banner = site.see("return_desk", "/").get_data(as_text=True)
    assert banner.count("is closed and not signed off") == 2
    assert banner.count(": the mailing of Tue, Sep 29, 2026 is closed") == 1  # the other election by its name


def test_the_blank_ballots_of_each_election_are_counted_apart(site: Site, other: str) -> None:
    for role in ("mail_room", "supervisor"):
        form = {"election": other, "style": "L-1", "kind": "counted", "number": "25"}
        site.client(role).post("/stock", data=form)
    with site.database.read() as session:
        assert [(row.style, row.on_hand) for row in stock.overview(session, other)] == [("L-1", 25)]
    assert "L-1" in site.see("mail_room", f"/mailing/filling?election={other}").get_data(as_text=True)
    assert site.see("mail_room", "/mailing/filling?election=nothing").status_code == 404  # never another election's
