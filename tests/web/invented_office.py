"""An invented office with an election, a few voters, requests in every state, and an account for every role."""

from __future__ import annotations

import hashlib
import shutil
import threading
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from replacements.ballots import ledger, life
from replacements.people import accounts
from replacements.people.passwords import hashed
from replacements.people.permissions import Role
from replacements.requests import office
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import (
    Account,
    Ballot,
    Condition,
    Mailing,
    Message,
    Packet,
    RawMail,
    Reply,
    Request,
    StockEntry,
    VoterRow,
)
from replacements.web.app import create_app

NOW = datetime(2026, 9, 29, 14, 30, tzinfo=UTC)  # Tuesday, 10:30 am at the office
RULES = Path(__file__).with_name("office.toml").read_text(encoding="utf-8")
REPLACEMENT = "80000019"  # of ballot 5000026, as the service numbers it
PASSWORD = "marsh lantern over two fords"
# Everything in the seed that is personal: none of it may reach an observer.
PERSONAL = (
    "Ottoline",
    "Brackwater",
    "Percival",
    "Nightjar Close",
    "Feb 17, 1951",
    "Nov 30, 1983",
    "V-100",
    "ottoline@post.example",
    "coffee went all over",
    "my ballot is a brown lake",
)
RAW = (
    b"From: Ottoline Brackwater <ottoline@post.example>\r\n"
    b"To: ballots@fennmark.example\r\n"
    b"Subject: my ballot is a brown lake\r\n"
    b"Date: Tue, 29 Sep 2026 09:10:00 -0400\r\n"
    b"Message-ID: <brown-lake@post.example>\r\n"
    b"MIME-Version: 1.0\r\n"
    b'Content-Type: multipart/mixed; boundary="zz"\r\n'
    b"\r\n--zz\r\n"
    b"Content-Type: text/plain; charset=utf-8\r\n\r\n"
    b"Good morning,\r\n\r\nthe coffee went all over the ballot this morning. Please send me\r\n"
    b"another one. Born February 17, 1951, 12 Nightjar Close.\r\n\r\nOttoline Brackwater\r\n\r\n"
    b"On Mon, Sep 28, 2026 the office wrote:\r\n> Your ballot is on its way.\r\n"
    b"--zz\r\n"
    b'Content-Type: image/png; name="ballot.png"\r\n'
    b"Content-Transfer-Encoding: base64\r\n"
    b'Content-Disposition: attachment; filename="ballot.png"\r\n\r\n'
    b"iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==\r\n"
    b"--zz--\r\n"
)


@dataclass
class Clock:
    """The clock of the pages; a test may set it forward."""

    at: datetime = NOW

    def __call__(self) -> datetime:
        return self.at


def add_accounts(database: Database, password_hash: str) -> None:
    """An account for each role, named as the role."""
    with database.write() as session:
        for role in Role:
            session.add(
                Account(name=role, full_name="", password_hash=password_hash, roles=[role], active=True, created_at=NOW)
            )


def _voter(voter_id: str, first: str, birth: str, email: str = "") -> VoterRow:
    return VoterRow(
        voter_id=voter_id,
        last_name="Brackwater",
        first_name=first,
        birth_date=birth,
        street="12 Nightjar Close",
        city="Fennmark",
        state="OH",
        zip="45999",
        style="F-2",
        language="en",
        email=email,
    )


def message(number: int, *, subject: str, sender: str, name: str, kinds: list[str]) -> Message:
    """A message that was read."""
    return Message(
        id=number,
        fingerprint=hashlib.sha256(str(number).encode()).hexdigest(),
        message_id=f"<{number}@post.example>",
        sender=sender,
        sender_name=name,
        subject=subject,
        arrived_at=NOW - timedelta(hours=2),
        stored_at=NOW - timedelta(hours=2),
        state="read",
        judgement={
            "language": "en",
            "kinds": [
                {"kind": k, "p": 0.97, "because": ["coffee went all over", "send me another one"]} for k in kinds
            ],
            "notices": [{"code": "sender_unverified", "text": "Nothing says whether the address is genuine."}],
        },
    )


def judged() -> dict[str, object]:
    """What judging found out about the first voter: she, and her brother of the same house."""
    return {
        "topics": [],
        "form": "",
        "missing": [],
        "because": "The name, the birth date and the address are the same.",
        "may_answer": True,
        "candidates": [
            {
                "voter_id": "V-100",
                "weight": 38.4,
                "evidence": {"name": "same", "birth_date": "same", "address": "same"},
                "weights": {"name": 15.1, "birth_date": 14.2, "address": 9.1},
            },
            {
                "voter_id": "V-101",
                "weight": 2.2,
                "evidence": {"name": "last name same", "birth_date": "differs", "address": "same"},
                "weights": {"name": 3.0, "birth_date": -9.9, "address": 9.1},
            },
        ],
        "in_time": {"mailed": "2026-09-29", "chance": 0.99, "last_good_day": "2026-10-19"},
    }


def seed(database: Database, *, adopted: bool = True) -> None:
    """Fill a fresh database."""
    with database.write() as session:
        force = office.load(session, RULES, at=NOW - timedelta(days=9))
        if adopted:
            office.adopt(session, official="Registrar Hollis Penn", by="supervisor", at=NOW - timedelta(days=8))
        election = force.election_id
        session.add_all(
            [
                _voter("V-100", "Ottoline", "1951-02-17", "ottoline@post.example"),
                _voter("V-101", "Percival", "1983-11-30"),
            ]
        )
        sent = date(2026, 9, 14)
        for number, voter in (("5000018", "V-100"), ("5000026", "V-101")):
            session.add(
                Ballot(number=number, election_id=election, voter_id=voter, style="F-2", state="issued", mailed_on=sent)
            )
            ledger.append(
                session,
                event="imported",
                election_id=election,
                by="import",
                at=NOW - timedelta(days=8),
                ballot_number=number,
                voter_id=voter,
                details={"state": "issued", "style": "F-2", "mailed_on": sent.isoformat()},
            )
        replacement = life.reissue(session, number="5000026", cause="spoiled", by="clerk", at=NOW, prefix="8")
        assert replacement.number == REPLACEMENT
        session.add(
            message(
                1,
                subject="my ballot is a brown lake",
                sender="ottoline@post.example",
                name="Ottoline Brackwater",
                kinds=["spoiled_ballot"],
            )
        )
        session.add(
            message(2, subject="Ballot", sender="ottoline@post.example", name="Ottoline Brackwater", kinds=["question"])
        )
        session.flush()
        session.add(RawMail(message_id=1, raw=RAW))
        session.add(RawMail(message_id=2, raw=RAW))
        session.add(_request(1, election, message_id=1, state="waiting"))
        done = _request(2, election, message_id=2, state="done", voter="V-101", old="5000026", new=REPLACEMENT)
        session.add(done)
        mailing = Mailing(election_id=election, goes_on=date(2026, 9, 29), state="open")
        session.add(mailing)
        session.flush()
        session.add(
            Packet(
                mailing_id=mailing.id,
                request_id=done.id,
                received_at=done.received_at,
                voter_id="V-101",
                ballot_number=REPLACEMENT,
                style="F-2",
                contents=["instructions", "ballot"],
                queued_at=NOW,
            )
        )
        counted = {"kind": "opening", "state": "agreed", "number": 40, "change": 40}
        session.add(StockEntry(election_id=election, style="F-2", first_by="mail_room", first_at=NOW, **counted))
        session.add(Condition(name="mailbox", ok=False, text="The mail server does not answer.", at=NOW))
        session.add(
            Reply(
                request_id=2,
                election_id=election,
                message_id="<r2@fennmark.example>",
                template="reissue",
                language="en",
                to="ottoline@post.example",
                subject="Your ballot",
                text="Dear Percival Brackwater, a new ballot is on its way.",
                html="",
                state="failed",
                queued_at=NOW,
                next_try_at=NOW,
                error="mailbox full",
            )
        )


def _request(
    number: int, election: str, *, message_id: int, state: str, voter: str = "V-100", old: str = "", new: str = ""
) -> Request:
    done = state == "done"
    return Request(
        id=number,
        election_id=election,
        message_id=message_id,
        place=0,
        person="Ottoline Brackwater",
        standing="certain",
        voter_id=voter,
        kinds=["spoiled_ballot"],
        cause="spoiled",
        proposal="reissue",
        reasons=[{"rule": "reasons.spoiled", "text": "The ballot is out and another is wanted in time for the post."}],
        judged=judged(),
        language="en",
        who_claimed="V-100",
        who_p=0.9999,
        kind_claimed="spoiled_ballot",
        kind_p=0.97,
        reply_draft={
            "template": "reissue",
            "language": "en",
            "to": "ottoline@post.example",
            "subject": "Your ballot",
            "text": "Dear Ottoline Brackwater,\n\nwe will mail you a new ballot.",
        },
        state=state,
        received_at=NOW - timedelta(hours=2),
        decision="reissue" if done else None,
        decided_by="clerk" if done else None,
        decided_at=NOW if done else None,
        decision_note="Percival called" if done else None,
        voided_ballot=old or None,
        issued_ballot=new or None,
    )


# Routes are compiled with `ast.parse`, which in Python 3.11 fails now and then where two threads call it at once
# (python/cpython issue 106905); a server makes its pages once.
_PAGES_ARE_MADE = threading.Lock()


@dataclass
class Site:
    """The pages over a seeded database, and a signed-in client for each role."""

    database: Database
    clock: Clock
    settings: Settings

    def client(self, role: str | None = None) -> FlaskClient:
        with _PAGES_ARE_MADE:
            app = create_app(self.database, self.settings, now=self.clock)
        app.config["WTF_CSRF_ENABLED"] = False
        client = app.test_client()
        if role is not None:
            with self.database.write() as session:
                account = session.query(Account).filter_by(name=role).one()
                token = accounts.start_sign_in(session, account.id, at=self.clock.at)
            client.set_cookie("sign-in", token)
        return client

    def hire(self, name: str, role: Role) -> str:
        """One more account of a role, with the passphrase of all; its name."""
        with self.database.write() as session:
            session.add(
                Account(
                    name=name,
                    full_name="",
                    password_hash=hashed(PASSWORD),
                    roles=[role],
                    active=True,
                    created_at=NOW,
                )
            )
        return name

    def see(self, role: str | None, address: str) -> TestResponse:
        return self.client(role).get(address)


def site_over(file: Path, tmp_path: Path) -> Site:
    """The pages over a copy of a seeded database file, in `tmp_path`."""
    tmp_path.mkdir(exist_ok=True)
    here = tmp_path / "pages.sqlite3"
    shutil.copyfile(file, here)
    settings = Settings(
        data=tmp_path, database=str(here), mailbox="", outbox="", secret_file=tmp_path / "secret", https=False
    )
    return Site(Database(str(here)), Clock(), settings)


def seeded_file(file: Path, template: Path, password_hash: str, *, adopted: bool) -> Path:
    """Fill `file`, a copy of the migrated `template`."""
    shutil.copyfile(template, file)
    database = Database(str(file))
    add_accounts(database, password_hash)
    seed(database, adopted=adopted)
    database.close()
    return file
