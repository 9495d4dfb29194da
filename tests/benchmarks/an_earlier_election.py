"""The election of a year before, which the service ran too: what an office still has of it, all invented.

Its requests, ballots, mailings and ledger stay; letters, replies and the words of them were removed when their time was
over.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from typing import Any

from sqlalchemy import Table, insert
from sqlalchemy.orm import Session

from replacements.ballots.ledger import Event, append_many
from replacements.ballots.numbers import with_check_digit
from replacements.store.database import Database
from replacements.store.senders import account_of
from replacements.store.tables import Ballot, Base, Election, Mailing, Message, Packet, Request

ID = "2025-11-04-general"
AGO = timedelta(days=364)
FIRST_MAILING = 1_000
_KINDS = ("spoiled_ballot", "spoiled_ballot", "not_received", "question", "address_change", "other")


class AnEarlierElection:
    """Its requests lie between two moments, and are numbered up to 0, since those of the later one begin with 1. Each
    is by another of the `voters`.

    `mailings`: the days on which packets went out; the last is after the last request.
    """

    def __init__(
        self,
        database: Database,
        *,
        voters: Sequence[str],
        between: tuple[datetime, datetime],
        mailings: Sequence[date],
    ) -> None:
        self.voters, self.between, self.mailings = voters, between, mailings
        self.chance = Random(len(voters))
        with database.write() as session:
            held_on = mailings[-1] + timedelta(days=14)
            session.add(Election(id=ID, name="An earlier election", held_on=held_on, created_at=between[0]))
            session.flush()
            for n, day in enumerate(mailings):
                at = datetime.combine(day, time(19), UTC)
                closed = {"state": "mailed", "closed_at": at, "closed_by": "mail_room", "mailed_at": at}
                session.add(Mailing(id=FIRST_MAILING + n, election_id=ID, goes_on=day, **closed))
        for start in range(0, len(voters), 5_000):
            with database.write() as session:
                self._some(session, range(start, min(start + 5_000, len(voters))))

    def _some(self, session: Session, places: range) -> None:
        rows: dict[type[Base], list[dict[str, Any]]] = {Ballot: [], Message: [], Request: [], Packet: []}
        imported: list[Event] = []
        events: list[Event] = []
        for place in places:
            begun, over = self.between
            at = begun + (over - begun) * (place / len(self.voters))
            number, voter, style = place + 1 - len(self.voters), self.voters[place], f"F-{place % 12}"
            kind, old, new = self.chance.choice(_KINDS), with_check_digit(f"2{place:07d}"), None
            ballot = {"number": old, "election_id": ID, "voter_id": voter, "style": style, "mailed_on": begun.date()}
            rows[Ballot].append(ballot | {"state": "issued", "replaces": None})
            told = {"state": "issued", "style": style, "mailed_on": begun.date().isoformat()}
            imported.append(Event("imported", ID, "import", begun, old, voter, told))
            decided = at + timedelta(hours=self.chance.uniform(0.2, 1))
            if kind == "spoiled_ballot":
                new = with_check_digit(f"3{place:07d}")
                day = next(day for day in self.mailings if day >= decided.date())
                rows[Ballot][-1]["state"] = "voided"
                rows[Ballot].append(ballot | {"number": new, "state": "issued", "replaces": old, "mailed_on": day})
                rows[Packet].append(
                    {
                        "mailing_id": FIRST_MAILING + self.mailings.index(day),
                        "request_id": number,
                        "voter_id": voter,
                        "ballot_number": new,
                        "style": style,
                        "received_at": at,
                        "contents": ["instructions", "ballot"],
                        "state": "mailed",
                        "queued_at": decided,
                    }
                )
                told = {"reason": "spoiled", "style": style}
                voided = told | {"from": "issued", "replaced_by": new}
                events.append(Event("voided", ID, "clerk", decided, old, voter, voided))
                events.append(Event("reissued", ID, "clerk", decided, new, voter, told | {"replaces": old}))
            rows[Message].append(
                {
                    "id": number,
                    "fingerprint": f"e{place:063x}",
                    "message_id": f"<earlier{place}@post.example>",
                    "sender": "",
                    "sender_name": "",
                    "subject": "",
                    "arrived_at": at,
                    "stored_at": at,
                    "state": "read",
                }
            )
            rows[Request].append(
                {
                    "id": number,
                    "election_id": ID,
                    "message_id": number,
                    "mail_account": account_of(f"earlier{place}@post.example"),
                    "voter_id": voter,
                    "kinds": [kind],
                    "cause": "spoiled",
                    "proposal": "reissue" if new else "answer",
                    "reasons": [],
                    "judged": {},
                    "language": self.chance.choice(("en", "en", "en", "es")),
                    "state": "done" if new or kind != "other" else "filed",
                    "version": 2,
                    "received_at": at,
                    "decision": "reissue" if new else "answer",
                    "decided_by": "clerk",
                    "decided_at": decided,
                    "voided_ballot": old if new else None,
                    "issued_ballot": new,
                }
            )
        for table, some in rows.items():
            put(session, table, some)
        append_many(session, imported + events)


def put(session: Session, table: type[Base], rows: list[dict[str, Any]]) -> None:
    """Insert rows as they are."""
    made = table.__table__
    assert isinstance(made, Table)
    if rows:
        session.connection().execute(insert(made), rows)
