"""Requests handed out in the words of NIST SP 1500-102, Voter Records Interchange, version 1 (JSON).

One JSON document a line, each by itself valid: a VoterRecordsRequest for every request about a voter on the roll, and
after it, under the same TransactionId, what became of it (RequestAcknowledgement, RequestSuccess, RequestRejection).
The standard knows no word for void, spoiled or reissue: a wish for a ballot is a `ballot-request`, everything else is
`other` with our own word in `OtherType`. The file holds names and addresses: it is for the office alone.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.store.tables import Election, Request, VoterRow

WISHES_FOR_A_BALLOT = frozenset({"spoiled_ballot", "not_received"})
# A request that was not carried out: which of the standard's errors it is. What is not listed is "other".
_ERRORS = {"ask_identity": "identity-lookup-failed", "statement_first": "incomplete", "no_ballot_out": "ineligible"}


def write(session: Session, election_id: str, *, issuer: str) -> Iterator[str]:
    """The lines, in the order of the requests; two a request. Requests about nobody on the roll are left out."""
    election = session.get(Election, election_id)
    if election is None:
        return
    rows = session.execute(
        select(Request, VoterRow)
        .join(VoterRow, VoterRow.voter_id == Request.voter_id)
        .where(Request.election_id == election_id)
        .order_by(Request.id)
        .execution_options(yield_per=500)
    )
    for request, voter in rows:
        for document in (_asked(request, voter, election, issuer), _answered(request)):
            yield json.dumps(document, ensure_ascii=False) + "\n"


def _asked(request: Request, voter: VoterRow, election: Election, issuer: str) -> dict[str, Any]:
    kinds = [str(kind) for kind in request.kinds]
    wishes = WISHES_FOR_A_BALLOT.intersection(kinds)
    others = [kind for kind in kinds if kind not in WISHES_FOR_A_BALLOT]
    found: dict[str, Any] = {
        "@type": "VRI.VoterRecordsRequest",
        "GeneratedDate": request.received_at.date().isoformat(),
        "Issuer": issuer,
        "RequestMethod": "voter-via-email",
        "Subject": _subject(voter),
        "TransactionId": str(request.id),
        "Type": [*(["ballot-request"] if wishes else []), *(["other"] if others or not wishes else [])],
    }
    if others:
        found["OtherType"] = " ".join(others)
    if wishes:
        found["BallotRequest"] = {
            "@type": "VRI.ElectionBasedBallotRequest",
            "BallotReceiptPreference": ["mail"],
            "Election": {"@type": "VRI.Election", "Name": election.name, "StartDate": election.held_on.isoformat()},
        }
    if language := request.language:
        found["SelectedLanguage"] = str(language)
    more = {"cause": request.cause, "voided ballot": request.voided_ballot, "issued ballot": request.issued_ballot}
    info = [
        {"@type": "VRI.AdditionalInfo", "Name": name, "StringValue": str(value)}
        for name, value in more.items()
        if value
    ]
    if info:
        found["AdditionalInfo"] = info
    return found


def _subject(voter: VoterRow) -> dict[str, Any]:
    name: dict[str, Any] = {"@type": "VRI.Name", "FirstName": voter.first_name, "LastName": voter.last_name}
    if voter.middle_name:
        name["MiddleName"] = [voter.middle_name]
    if voter.suffix:
        name["Suffix"] = voter.suffix
    subject: dict[str, Any] = {
        "@type": "VRI.Voter",
        "Name": name,
        "ResidenceAddress": _address(voter.street, voter.unit, voter.city, voter.state, voter.zip),
        "VoterId": [{"@type": "VRI.VoterId", "StringValue": voter.voter_id, "Type": "local-voter-registration-id"}],
    }
    born = _day(voter.birth_date)
    if born:
        subject["DateOfBirth"] = born
    if voter.mail_street:
        subject["MailingAddress"] = _address(
            voter.mail_street, voter.mail_unit, voter.mail_city, voter.mail_state, voter.mail_zip, voter.mail_country
        )
    return subject


def _address(street: str, unit: str, city: str, state: str, zip_code: str, country: str = "") -> dict[str, Any]:
    """The standard's most general class of address: the lines as they are on the roll, not taken to pieces."""
    found: dict[str, Any] = {
        "@type": "addr.GeneralAddressClass_type",
        "GeneralAddress": " ".join(part for part in (street, unit) if part),
    }
    if city:
        place = {"@type": "addr_type.PlaceName_type", "Value": city}
        found["CompletePlaceName"] = {"@type": "addr_type.CompletePlaceName_type", "PlaceName": [place]}
    found |= {"StateName": state} if state else {}
    found |= {"ZipCode": zip_code} if zip_code else {}
    found |= {"CountryName": country} if country else {}
    return found


def _answered(request: Request) -> dict[str, Any]:
    transaction = str(request.id)
    decision = request.decision or ""
    if request.state == "declined" or (request.state == "done" and decision in _ERRORS):
        error = {"@type": "VRI.Error", "Name": _ERRORS.get(decision or request.proposal, "other")}
        if error["Name"] == "other":
            error["OtherError"] = decision or "declined"
        return {"@type": "VRI.RequestRejection", "TransactionId": transaction, "Error": [error]}
    if request.state == "done":
        return {"@type": "VRI.RequestSuccess", "TransactionId": transaction, "Action": ["other"]}
    return {"@type": "VRI.RequestAcknowledgement", "TransactionId": transaction}


def _day(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        return ""
