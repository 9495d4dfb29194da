"""The ledger and the requests as files, against NIST's own JSON schemas (tests/published/schemas/SOURCES.md)."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft4Validator, FormatChecker

from replacements.ballots import event_log
from replacements.ballots.ledger import BEFORE_THE_FIRST, append
from replacements.requests import interchange
from replacements.store.database import Database
from replacements.store.tables import Ballot, Election, Message, Request, VoterRow

SCHEMAS = Path(__file__).parent / "schemas"
ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)


def problems(name: str, document: Any) -> list[str]:
    schema = json.loads((SCHEMAS / name).read_text(encoding="utf-8"))
    Draft4Validator.check_schema(schema)
    return [error.message for error in Draft4Validator(schema, format_checker=FormatChecker()).iter_errors(document)]


@pytest.fixture
def office(database: Database) -> Database:
    with database.write() as session:
        session.add(Election(id=ELECTION, name="General election", held_on=date(2031, 11, 4), created_at=AT))
        session.flush()
        for number, event in (("1001", "imported"), ("1001", "voided"), ("7000011", "reissued"), (None, "odd_event")):
            append(
                session, event=event, election_id=ELECTION, by="kim", at=AT, ballot_number=number,
                voter_id="V1" if number else None, details={"style": "Ä", "state": "issued"},
            )  # fmt: skip
    return database


def log(database: Database, *, public: bool) -> dict[str, Any]:
    with database.read() as session:
        found = json.loads("".join(event_log.write(session, at=AT, public=public, version="1")))
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize("public", [False, True])
def test_the_ledger_is_a_valid_event_log(office: Database, public: bool) -> None:
    found = log(office, public=public)
    assert problems("sp_1500_101_v1.json", found) == []
    assert [event["Id"] for event in found["Device"][0]["Event"]] == ["imported", "voided", "reissued", "odd_event"]
    assert found["ElectionId"] == ELECTION


def test_an_empty_ledger_is_a_valid_event_log(database: Database) -> None:
    assert problems("sp_1500_101_v1.json", log(database, public=False)) == []


def test_whoever_has_the_log_can_verify_the_chain_without_us(office: Database) -> None:
    before = BEFORE_THE_FIRST
    for event in log(office, public=False)["Device"][0]["Event"]:
        assert sha256((before + event["Details"]).encode()).hexdigest() == event["Hash"]
        before = event["Hash"]


def test_a_log_for_the_public_names_no_voter(office: Database) -> None:
    assert "V1" not in json.dumps(log(office, public=True))
    assert "V1" in json.dumps(log(office, public=False))


def test_what_the_events_mean_is_valid_documentation() -> None:
    found = json.loads(event_log.documentation(at=AT, version="1"))
    assert problems("sp_1500_101_v1.json", found) == []
    types = {one["Type"] for one in found["EventTypeDescription"]}
    assert {event_log.described(one["Id"])[0] for one in found["EventIdDescription"]} <= types


def test_the_schema_refuses_what_it_should(office: Database) -> None:
    found = log(office, public=False)
    found["Device"][0]["Event"][0]["Disposition"] = "voided"
    assert problems("sp_1500_101_v1.json", found)


def test_requests_are_valid_voter_records_requests_each_with_what_became_of_it(office: Database) -> None:
    rows = [
        ("waiting", "reissue", None, ["spoiled_ballot"]),
        ("done", "reissue", "reissue", ["not_received", "question"]),
        ("declined", "read", "declined", ["address_change"]),
        ("done", "ask_identity", "ask_identity", ["spoiled_ballot"]),
    ]
    with office.write() as session:
        session.add(
            VoterRow(
                voter_id="V1", last_name="Marrow", first_name="Ina", middle_name="Q", suffix="Jr", style="A",
                birth_date="1960-02-29", street="7 Reed Path", unit="Apt 2", city="Eelpoint", state="NC", zip="27998",
                mail_street="PO Box 4", mail_city="Eelpoint", mail_state="NC", mail_zip="27998", mail_country="",
            )
        )  # fmt: skip
        session.add(Ballot(number="1001", election_id=ELECTION, voter_id="V1", style="A", state="issued"))
        for place, (state, proposal, decision, kinds) in enumerate(rows):
            message = Message(fingerprint=f"m{place}", arrived_at=AT, stored_at=AT)
            session.add(message)
            session.flush()
            session.add(
                Request(
                    election_id=ELECTION, message_id=message.id, voter_id="V1", kinds=kinds, cause="spoiled",
                    proposal=proposal, decision=decision, reasons=[], judged={}, language="es", state=state,
                    received_at=AT,
                )
            )  # fmt: skip
    with office.read() as session:
        found = [json.loads(line) for line in interchange.write(session, ELECTION, issuer="Office of Eelpoint")]
    assert [problems("sp_1500_102_v1_part.json", document) for document in found] == [[]] * 8
    assert [document["@type"].removeprefix("VRI.") for document in found[1::2]] == [
        "RequestAcknowledgement", "RequestSuccess", "RequestRejection", "RequestRejection",
    ]  # fmt: skip
    assert [document["Type"] for document in found[::2]] == [
        ["ballot-request"], ["ballot-request", "other"], ["other"], ["ballot-request"],
    ]  # fmt: skip
    assert found[7]["Error"] == [{"@type": "VRI.Error", "Name": "identity-lookup-failed"}]
