from __future__ import annotations

from pathlib import Path

from replacements.people.passwords import hashed
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Ballot
from tests.web.invented_office import PASSWORD, Clock, Site, add_accounts, seed
from tests.web.test_who_may_open_what import GET, NOT_THERE_YET


def test_every_page_opens_and_a_ballot_is_reissued(postgres_database: Database, tmp_path: Path) -> None:
    add_accounts(postgres_database, hashed(PASSWORD))
    seed(postgres_database)
    settings = Settings(data=tmp_path, database="", mailbox="", outbox="", secret_file=tmp_path / "secret")
    site = Site(postgres_database, Clock(), settings)
    client = site.client("supervisor")
    assert client.post("/requests/search", data={"wanted": "brack"}).status_code == 200
    form = {"version": "1", "action": "come_in", "note": "She lives next door."}
    assert b"Nothing is done yet" in client.post("/requests/1/preview", data=form).data
    client.post("/requests/1/approve", data={"version": "1"})
    with postgres_database.read() as session:
        assert session.get_one(Ballot, "5000018").state == "voided"
        assert session.query(Ballot).filter_by(replaces="5000018", state="issued").count() == 1
    for address in sorted(GET):
        if not address.endswith((".pdf", "/pictures/0")) and not address.startswith(NOT_THERE_YET):
            assert client.get(address).status_code == 200, address
    client.post("/mailings/1/close")
    assert client.get("/mailings/1/labels.pdf").status_code == 200
