from __future__ import annotations

from pathlib import Path

from replacements.people.passwords import hashed
from replacements.settings import Settings
from replacements.store.database import Database
from tests.web.invented_office import PASSWORD, Clock, Site, add_accounts


def test_pages_say_that_the_rules_are_missing_and_none_breaks(sqlite_database: Database, tmp_path: Path) -> None:
    add_accounts(sqlite_database, hashed(PASSWORD))
    settings = Settings(data=tmp_path, database="", mailbox="", outbox="", secret_file=tmp_path / "secret")
    client = Site(sqlite_database, Clock(), settings).client("supervisor")
    for address in ("/", "/requests/", "/reissued/", "/return-desk/", "/ledger/", "/rules/", "/people/", "/health"):
        answer = client.get(address)
        assert answer.status_code == 200, address
        assert "No rules are loaded" in answer.get_data(as_text=True)
    for address in ("/mailing", "/week/"):
        answer = client.get(address)
        assert answer.status_code == 409, address
        assert "loaded on the command line" in answer.get_data(as_text=True)
    assert client.post("/return-desk/", data={"number": "1"}).status_code == 409
    assert client.post("/rules/adopt", data={"official": "Hollis Penn", "read": "yes"}).status_code == 303
