"""Many requests in the invented office, each with a voter, a ballot and a letter of its own, judged as clear cases."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from replacements.ballots import ledger
from replacements.requests import office
from replacements.store.database import Database
from replacements.store.tables import Ballot, RawMail, Request, VoterRow
from tests.web.invented_office import NOW, judged, message

FIRST = 1000  # the number of the first of them; its voter is V-1000, its ballot 7001000
SENTENCE = "Coffee went all over my ballot, please send me another one."


def letter(number: int, text: str = SENTENCE, subject: str = "My ballot") -> bytes:
    """The bytes of a plain letter."""
    return (
        f"From: voter{number}@post.example\r\nTo: ballots@fennmark.example\r\nSubject: {subject}\r\n"
        f"Date: Tue, 29 Sep 2026 09:10:00 -0400\r\nMessage-ID: <{number}@post.example>\r\n"
        f"Content-Type: text/plain; charset=utf-8\r\n\r\nGood morning. {text}\r\n\r\nThank you.\r\n"
    ).encode()


def add_clear_cases(database: Database, count: int, *, first: int = FIRST, text: str = SENTENCE) -> list[int]:
    """So many requests that nothing speaks against; their numbers."""
    numbers = list(range(first, first + count))
    with database.write() as session:
        force = office.in_force(session, at=NOW)
        assert force is not None
        for number in numbers:
            session.add(voter(number))
            session.add(
                Ballot(
                    number=f"7{number:06}",
                    election_id=force.election_id,
                    voter_id=f"V-{number}",
                    style="F-2",
                    state="issued",
                    mailed_on=date(2026, 9, 14),
                )
            )
        session.flush()
        for number in numbers:
            ledger.append(
                session,
                event="imported",
                election_id=force.election_id,
                by="import",
                at=NOW - timedelta(days=8),
                ballot_number=f"7{number:06}",
                voter_id=f"V-{number}",
                details={"state": "issued", "style": "F-2", "mailed_on": "2026-09-14"},
            )
            found = message(
                number, subject="My ballot", sender=f"voter{number}@post.example", name="", kinds=["spoiled_ballot"]
            )
            found.judgement = {
                "language": "en",
                "kinds": [{"kind": "spoiled_ballot", "p": 0.99, "because": ["all over my ballot"]}],
                "notices": [{"code": "sender_unverified", "text": "Nothing says whether it is genuine."}],
            }
            session.add(found)
        session.flush()
        for number in numbers:
            session.add(RawMail(message_id=number, raw=letter(number, text)))
            session.add(request(number, force.election_id, force.sha256))
    return numbers


def voter(number: int, **more: Any) -> VoterRow:
    row: dict[str, Any] = {
        "voter_id": f"V-{number}",
        "last_name": f"Marl{number}",
        "first_name": "Ismene",
        "birth_date": "1960-05-06",
        "street": f"{number} Sedge Row",
        "city": "Fennmark",
        "state": "OH",
        "zip": "45999",
        "style": "F-2",
        "language": "en",
        "number": number,
    }
    return VoterRow(**row | more)


def request(number: int, election_id: str, rules: str, **more: Any) -> Request:
    of_them = {
        "voter_id": f"V-{number}",
        "weight": 38.4,
        "evidence": {"name": "same", "birth_date": "same", "address": "same"},
        "weights": {"name": 15.1, "birth_date": 14.2, "address": 9.1},
    }
    row: dict[str, Any] = {
        "id": number,
        "election_id": election_id,
        "message_id": number,
        "person": f"Ismene Marl{number}",
        "standing": "certain",
        "voter_id": f"V-{number}",
        "kinds": ["spoiled_ballot"],
        "cause": "spoiled",
        "proposal": "reissue",
        "reasons": [{"rule": "reasons.spoiled", "text": "The ballot is out and another is wanted."}],
        "judged": {**judged(), "candidates": [of_them], "ballot": f"7{number:06}", "rules": rules},
        "language": "en",
        "who_claimed": f"V-{number}",
        "who_p": 0.9999,
        "kind_claimed": "spoiled_ballot",
        "kind_p": 0.99,
        "state": "waiting",
        "received_at": NOW - timedelta(hours=2) + timedelta(seconds=number - FIRST),
    }
    return Request(**row | more)
