"""An office in the middle of a large election: its roll, ballots, requests, ledger, mailings and replies, all invented.

Everything is put in by bulk, in the state that the service itself would have left it in.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterable, Iterator
from dataclasses import astuple
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import text
from sqlalchemy.orm import Session

from replacements.ballots.ledger import Event, append_many
from replacements.ballots.numbers import with_check_digit
from replacements.people.permissions import Role
from replacements.requests import letter_words, office
from replacements.rules.calendar import is_mailing_day
from replacements.rules.office import Rules
from replacements.store.bulk import insert_rows
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.senders import account_of
from replacements.store.tables import (
    Account,
    Ballot,
    Base,
    LetterWords,
    Look,
    Mailing,
    Message,
    Packet,
    RawMail,
    Reply,
    Request,
    RequestStep,
)
from replacements.summary.ledger_days import roll_forward
from tests.benchmarks.an_earlier_election import AGO, AnEarlierElection, put
from tests.benchmarks.an_earlier_election import ID as EARLIER
from tests.benchmarks.roll_generator import FIELDS, Generator
from tests.web.invented_office import RULES
from tests.web.many_requests import SENTENCE, letter

AT = datetime(2026, 10, 20, 14, 30, tzinfo=UTC)  # Tuesday morning at the office, two weeks before election day
BEGUN, OUT = datetime(2026, 9, 15, 12, tzinfo=UTC), date(2026, 9, 14)
CHUNK = 20_000
# How many of a hundred requests stand how: the office keeps up, and decides most on the day they come.
_STANDS = ("done",) * 78 + ("declined",) * 6 + ("filed",) * 8 + ("asked",) * 3 + ("second",) + ("waiting",) * 4
_KINDS = ("spoiled_ballot", "spoiled_ballot", "not_received", "question", "address_change", "other")
_PROPOSED = {"spoiled_ballot": "reissue", "not_received": "statement_first", "question": "answer", "other": "read"}
_CLERKS = ("clerk", "clerk-2", "clerk-3", "clerk-4")


class LargeOffice:
    """What was put in: `ballots` and `requests` by number, the first of each being the oldest. `earlier`: as many
    requests of an election a year before."""

    def __init__(
        self, database: Database, *, voters: int, ballots: int, requests: int, earlier: int = 0, seed: int = 1
    ) -> None:
        if not requests <= ballots <= voters:
            raise ValueError("each request is about a voter who has a ballot")
        self.database, self.chance = database, random.Random(seed)
        self.voters, self.ballots, self.requests = voters, ballots, requests
        self.ids: list[str] = []
        self.of_state: dict[str, list[int]] = {}
        migrate(database)
        self._open()
        self._roll(seed)
        if earlier:
            self._earlier(earlier)
        self._ballots()
        self._requests()
        self._brought()
        for election_id in (self.election, *([EARLIER] if earlier else [])):  # as the schedule does each hour
            roll_forward(database, election_id, self.rules.office.time_zone)
        letter_words.pack(database)
        _learn_the_sizes(database)

    def number(self, place: int) -> str:
        """The number of the ballot that a voter was sent first."""
        return with_check_digit(f"5{place:07d}")

    def replacement(self, place: int) -> str:
        return with_check_digit(f"8{place:07d}")

    def _open(self) -> None:
        with self.database.write() as session:
            force = office.load(session, RULES, at=BEGUN - timedelta(days=9))
            office.adopt(session, official="Registrar", by="supervisor", at=BEGUN - timedelta(days=8))
            for name in (*Role, *_CLERKS[1:]):
                roles = [name] if name in tuple(Role) else [Role.CLERK]
                session.add(Account(name=name, full_name="", password_hash="x", roles=roles, created_at=BEGUN))
        self.election, self.rules, self.sha256 = force.election_id, force.rules, force.sha256

    def _roll(self, seed: int) -> None:
        numbered = ((*astuple(voter), n) for n, voter in enumerate(Generator(seed).voters(self.voters), start=1))
        place = FIELDS.index("voter_id")
        for some in _chunks(numbered):
            self.ids += [row[place] for row in some]
            with self.database.write() as session:
                insert_rows(session, "voters", (*FIELDS, "number"), some)

    def _earlier(self, requests: int) -> None:
        AnEarlierElection(
            self.database,
            voters=self.ids[:requests],
            between=(BEGUN - AGO, AT - timedelta(hours=1) - AGO),
            mailings=[day - AGO for day in _mailing_days(self.rules)],
        )

    def _ballots(self) -> None:
        for places in _chunks(range(self.ballots)):
            rows = [self._ballot(self.number(n), n) for n in places]
            details = [{"state": "issued", "style": row["style"], "mailed_on": OUT.isoformat()} for row in rows]
            with self.database.write() as session:
                put(session, Ballot, rows)
                append_many(
                    session,
                    (
                        Event("imported", self.election, "import", BEGUN, row["number"], row["voter_id"], told)
                        for row, told in zip(rows, details, strict=True)
                    ),
                )

    def _brought(self) -> None:
        """The post has brought ballots back: three in ten from voters, and three of a hundred that found nobody."""
        for places in _chunks(range(self.requests, self.ballots)):
            events: list[Event] = []
            for place in places:
                state = self.chance.choices((None, "returned", "undeliverable"), (67, 30, 3))[0]
                if state is None:
                    continue
                at = BEGUN + timedelta(days=3) + (AT - timedelta(days=3) - BEGUN) * self.chance.random()
                told = {"from": "issued", "style": f"F-{place % 12}"}
                told |= {"on": at.date().isoformat()} if state == "returned" else {"post_reason": "unknown"}
                number, voter = self.number(place), self.ids[place]
                events.append(Event(state, self.election, "mail_room", at, number, voter, told))
            with self.database.write() as session:
                session.connection().execute(
                    text("UPDATE ballots SET state = :state WHERE number = :number"),
                    [{"number": one.ballot_number, "state": one.event} for one in events],
                )
                append_many(session, sorted(events, key=lambda one: one.at))

    def _ballot(self, number: str, place: int, **more: Any) -> dict[str, Any]:
        row = {
            "number": number,
            "election_id": self.election,
            "voter_id": self.ids[place],
            "style": f"F-{place % 12}",
            "state": "issued",
            "mailed_on": OUT,
            "replaces": None,
        }
        return row | more

    def _requests(self) -> None:
        days = _mailing_days(self.rules)
        with self.database.write() as session:
            put(session, Mailing, [self._mailing(n, day) for n, day in enumerate(days, start=1)])
        for numbers in _chunks(range(1, self.requests + 1), 5_000):
            with self.database.write() as session:
                self._some_requests(session, numbers, days)

    def _mailing(self, number: int, day: date) -> dict[str, Any]:
        gone = day < AT.date()
        at = datetime(day.year, day.month, day.day, 19, tzinfo=UTC)
        closed = {"state": "mailed", "closed_at": at, "closed_by": "mail_room", "mailed_at": at}
        open_ = {"state": "open", "closed_at": None, "closed_by": None, "mailed_at": None}
        return {"id": number, "election_id": self.election, "goes_on": day, **(closed if gone else open_)}

    def _received(self, number: int) -> datetime:
        return BEGUN + (AT - timedelta(hours=1) - BEGUN) * (number / self.requests)

    def _some_requests(self, session: Session, numbers: list[int], days: list[date]) -> None:
        made: dict[type[Base], list[dict[str, Any]]] = {}
        events: list[Event] = []
        voided: list[str] = []
        for number in numbers:
            rows = self._one(number)
            request = rows[Request]
            if request["issued_ballot"]:
                voided.append(request["voided_ballot"])
                events += self._reissued(number, request)
                day = next(day for day in days if day >= request["decided_at"].date())
                rows[Ballot] = self._ballot(
                    request["issued_ballot"], number - 1, replaces=request["voided_ballot"], mailed_on=day
                )
                rows[Packet] = {
                    "mailing_id": days.index(day) + 1,
                    "request_id": number,
                    "voter_id": request["voter_id"],
                    "ballot_number": request["issued_ballot"],
                    "style": f"F-{(number - 1) % 12}",
                    "received_at": request["received_at"],
                    "contents": ["instructions", "ballot"],
                    "state": "mailed" if day < AT.date() else "queued",
                    "queued_at": request["decided_at"],
                }
            for table, row in rows.items():
                made.setdefault(table, []).append(row)
            self.of_state.setdefault(request["state"], []).append(number)
        if voided:
            session.connection().execute(
                text("UPDATE ballots SET state = 'voided', void_reason = 'spoiled' WHERE number = :number"),
                [{"number": one} for one in voided],
            )
        for table in (Ballot, Message, RawMail, LetterWords, Request, RequestStep, Packet, Reply, Look):
            put(session, table, made.get(table, []))
        append_many(session, events)

    def _reissued(self, number: int, request: dict[str, Any]) -> Iterator[Event]:
        at, old, new = request["decided_at"], request["voided_ballot"], request["issued_ballot"]
        style = f"F-{(number - 1) % 12}"
        voided = {"from": "issued", "reason": "spoiled", "replaced_by": new, "style": style}
        yield Event("voided", self.election, "clerk", at, old, request["voter_id"], voided)
        told = {"reason": "spoiled", "replaces": old, "style": style}
        yield Event("reissued", self.election, "clerk", at, new, request["voter_id"], told)

    def _one(self, number: int) -> dict[type[Base], dict[str, Any]]:
        """A request with all that belongs to it, by table."""
        chance, received = self.chance, self._received(number)
        kind, state = chance.choice(_KINDS), chance.choice(_STANDS)
        voter, over = self.ids[number - 1], state in ("done", "declined", "filed")
        decided = received + timedelta(hours=chance.uniform(0.2, 1)) if over or state != "waiting" else None
        reissued = state == "done" and kind == "spoiled_ballot"
        proposal = _PROPOSED.get(kind, "send_form")
        clear = {"weight": 38.4, "evidence": {"name": "same", "birth_date": "same", "address": "same"}}
        weights = {"name": 15.1, "birth_date": 14.2, "address": 9.1}
        request = {
            "id": number,
            "election_id": self.election,
            "message_id": number,
            "mail_account": account_of(f"voter{number}@post.example"),
            "place": 0,
            "person": f"Voter {number}",
            "standing": chance.choice(("certain", "certain", "certain", "likely", "unclear")),
            "voter_id": voter,
            "kinds": [kind],
            "cause": "spoiled",
            "proposal": proposal,
            "reasons": [{"rule": "reasons.spoiled", "text": "The ballot is out and another is wanted."}],
            "two_people": state == "second",
            "judged": {
                "topics": ["deadline"] if kind == "question" else [],
                "form": "",
                "missing": [],
                "because": "The name, the birth date and the address are the same.",
                "may_answer": True,
                "candidates": [
                    {"voter_id": voter, "weights": weights, **clear},
                    {"voter_id": self.ids[chance.randrange(self.voters)], "weight": 2.2, "evidence": {}, "weights": {}},
                ][: chance.choice((1, 1, 2))],
                "in_time": {"mailed": received.date().isoformat(), "chance": 0.99, "last_good_day": "2026-10-24"},
                "ballot": self.number(number - 1),
                "rules": self.sha256,
            },
            "language": chance.choice(("en", "en", "en", "es")),
            "who_claimed": voter,
            "who_p": round(1 - 10 ** -(0.5 + number * 37 % 350 / 100), 4),
            "kind_claimed": kind,
            "kind_p": round(1 - 10 ** -(0.3 + number * 53 % 220 / 100), 3),
            "state": state,
            "version": 1 if state == "waiting" else 2,
            "received_at": received,
            "decision": None if decided is None else "declined" if state == "declined" else proposal,
            "decided_by": None if decided is None else chance.choice(_CLERKS),
            "decided_at": decided,
            "first_by": "clerk-2" if state == "second" else None,
            "voided_ballot": self.number(number - 1) if reissued else None,
            "issued_ballot": self.replacement(number) if reissued else None,
            "assigned_to": chance.choice((None, None, None, *_CLERKS)) if state == "waiting" else None,
            "held_until": None,
            "held_because": None,
        }
        if state == "waiting" and chance.random() < 0.1:
            request.update(held_until=AT + timedelta(days=1), held_because="The voter calls back.")
        if state == "waiting" and chance.random() < 0.02:
            request.update(reasons=[{"rule": "trade.threat", "text": "Read it at once."}], proposal="read")
        rows: dict[type[Base], dict[str, Any]] = {
            Message: self._message(number, kind, received),
            RawMail: {"message_id": number, "raw": letter(number)},
            LetterWords: {"message_id": number, "words": f"good morning. {SENTENCE.lower()} thank you.".encode()},
            Request: request,
        }
        if decided is not None and state != "filed":
            rows[Reply] = self._reply(number, proposal, decided)
            rows[RequestStep] = {"request_id": number, "at": received, "account": "clerk", "what": "taken"}
            rows[Look] = {
                "account": chance.choice(_CLERKS),
                "what": "request",
                "about": f"request {number}",
                "why": "",
                "at": received,
                "voter_id": voter,
            }
        return rows

    def _message(self, number: int, kind: str, received: datetime) -> dict[str, Any]:
        return {
            "id": number,
            "fingerprint": f"{number:064x}",
            "message_id": f"<{number}@post.example>",
            "sender": f"voter{number}@post.example",
            "sender_name": "",
            "subject": "My ballot",
            "arrived_at": received,
            "stored_at": received,
            "state": "read",
            "judgement": {
                "language": "en",
                "kinds": [{"kind": kind, "p": 0.99, "because": ["all over my ballot"]}],
                "notices": [{"code": "sender_unverified", "text": "Nothing says whether it is genuine."}],
            },
        }

    def _reply(self, number: int, proposal: str, at: datetime) -> dict[str, Any]:
        return {
            "request_id": number,
            "election_id": self.election,
            "message_id": f"<r{number}@fennmark.example>",
            "template": proposal,
            "language": "en",
            "to": f"voter{number}@post.example",
            "subject": "Your ballot",
            "text": "Dear voter, a new ballot is on its way. " * 10,
            "html": "",
            "state": "sent",
            "queued_at": at,
            "next_try_at": at,
            "sent_at": at + timedelta(minutes=2),
        }


def _mailing_days(rules: Rules) -> list[date]:
    days = [BEGUN.date() + timedelta(days=n) for n in range((AT.date() - BEGUN.date()).days + 1)]
    return [day for day in days if is_mailing_day(rules, day)]


def _chunks(rows: Iterable[Any], size: int = CHUNK) -> Iterator[list[Any]]:
    rest = iter(rows)
    while some := list(itertools.islice(rest, size)):
        yield some


def _learn_the_sizes(database: Database) -> None:
    """What PostgreSQL does by itself some minutes after a load. SQLite never learns them by itself: it is left so."""
    if not database.is_sqlite:
        with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("VACUUM ANALYZE"))
