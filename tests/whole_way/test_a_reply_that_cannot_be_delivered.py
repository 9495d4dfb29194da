"""From a voter's mail to a reply that comes back: through the mailbox, the jobs and the pages, on both databases."""

from __future__ import annotations

import mailbox
from collections.abc import Callable
from datetime import datetime
from email import message_from_bytes, policy
from html import unescape
from pathlib import Path

from replacements.people import accounts
from replacements.people.passwords import hashed
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Account, Request
from replacements.web.app import create_app
from tests.requests.conftest import MONDAY, OfficeAtWork, county  # noqa: F401 - a fixture
from tests.whole_way.running import bounce_of
from worker import jobs
from worker.jobs import Work

LOST = (
    b"From: Somebody <who@post.example>\nTo: ballots@saltgrass.example\nSubject: ballot\n"
    b"Date: Mon, 05 Oct 2026 09:00:00 -0400\nMessage-ID: <lost@post.example>\n\n"
    b"I spoiled my ballot, please send me another one.\n"
)


def test_a_question_to_the_voter_that_comes_back_is_a_clerks_work_again(
    database: Database,
    county: Callable[..., OfficeAtWork],  # noqa: F811
    tmp_path: Path,
) -> None:
    county(database)
    settings = Settings.from_environment({}, data=tmp_path / "var")
    settings.data.mkdir()

    def now() -> datetime:
        return MONDAY

    work = Work(database, settings, now)
    incoming = mailbox.Maildir(str(settings.data / "mailbox"), create=True)
    incoming.add(LOST)
    app = create_app(database, settings, now=now)
    app.config["WTF_CSRF_ENABLED"] = False
    clara = app.test_client()
    with database.write() as session:
        account = Account(
            name="clara", password_hash=hashed("seven quiet herons"), roles=["clerk"], active=True, created_at=MONDAY
        )
        session.add(account)
        session.flush()
        clara.set_cookie("sign-in", accounts.start_sign_in(session, account.id, at=MONDAY))

    jobs.fetch_mail(work)
    jobs.read_waiting(work)
    clara.post("/requests/1/approve", data={"version": "1"})
    with database.read() as session:
        assert session.get_one(Request, 1).state == "asked"
    assert jobs.send_replies(work) == 1
    (sent,) = (settings.data / "sent" / "new").iterdir()

    incoming.add(bounce_of(message_from_bytes(sent.read_bytes(), policy=policy.default)))
    jobs.fetch_mail(work)
    jobs.read_waiting(work)
    first = unescape(clara.get("/").get_data(as_text=True))
    assert "1 reply came back undelivered" in first
    page = unescape(clara.get("/requests/1").get_data(as_text=True))
    assert "came back undelivered" in page
    assert "there is no such mailbox" in page
    with database.read() as session:
        assert session.get_one(Request, 1).state == "waiting"
