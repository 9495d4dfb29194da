"""The ledger handed out as an election event log: NIST SP 1500-101, Election Event Logging, version 1 (JSON).

One event per entry. `Hash` is the entry's hash in the chain and `Details` its canonical form, so that whoever has the
file can verify it without us: each hash is SHA-256 over the hash before it and the details after it. A log for the
public leaves out `Details`, where voters' ids stand; its hashes are the same.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots.ledger import BEFORE_THE_FIRST, ROWS_AT_A_TIME, canonical_entry, moment
from replacements.store.tables import LedgerEntry

MAKER, MODEL = "the election office", "replacement mail ballots"
_TYPES = {
    "ballot": "what happens to a ballot",
    "return-desk": "an envelope at the return desk",
    "mailing": "packets and mailings",
    "exchange": "files exchanged with the office's own system",
    "office": "the office's rules, accounts and readings",
    "other": "anything else",
}
# event: (type, what it says)
_EVENTS = {
    "imported": ("exchange", "a ballot taken over from the office's own system"),
    "import_changed": ("exchange", "a ballot changed in the office's own system"),
    "handed_over": ("exchange", "voids and reissues handed over to the office's own system"),
    "handover_acknowledged": ("exchange", "the office's own system answered a hand-over"),
    "voided": ("ballot", "a ballot voided"),
    "suspended": ("ballot", "a ballot suspended, since a replacement was issued"),
    "reissued": ("ballot", "a replacement ballot issued"),
    "reinstated": ("ballot", "a ballot reinstated, its replacement taken back"),
    "mailed": ("ballot", "a ballot mailed"),
    "undeliverable": ("ballot", "a ballot brought back by the post"),
    "accepted": ("ballot", "a returned ballot accepted"),
    "challenged": ("ballot", "a returned ballot challenged"),
    "cured": ("ballot", "a challenged ballot cured"),
    "cure_asked": ("ballot", "what a statement lacks, and whether the voter was told by mail"),
    "returned": ("return-desk", "a ballot came back"),
    "returned_after_void": ("return-desk", "a void ballot came back and was stopped"),
    "returned_again": ("return-desk", "a ballot was scanned again"),
    "returned_unknown": ("return-desk", "a number that is no ballot of this election"),
    "returned_misread": ("return-desk", "a number that was read wrongly"),
    "brought_back": ("return-desk", "a packet that the post brought back; no ballot was changed"),
    "return_undone": ("return-desk", "a scan undone, and what it had changed"),
    "scan_undone": ("return-desk", "a scan undone that had changed nothing"),
    "mailing_closed": ("mailing", "a mailing closed"),
    "packet_pulled": ("mailing", "a packet taken out of a mailing"),
    "packet_queued_again": ("mailing", "a pulled packet queued again"),
    "label_reprinted": ("mailing", "a label printed again"),
    "labels_printed": ("mailing", "all labels of a mailing printed"),
    "mailing_signed": ("mailing", "a mailing counted and signed by one of two people"),
    "mailing_mailed": ("mailing", "a mailing signed by two people: its ballots are mailed"),
    "stock_counted": ("mailing", "stock counted"),
    "stock_entered": ("mailing", "blank ballots counted by one of two people"),
    "stock_differs": ("mailing", "two counts of blank ballots that differ; nothing was booked"),
    "stock_booked": ("mailing", "blank ballots booked as two people counted them"),
    "rules_adopted": ("office", "rules adopted by an official"),
    "election_closed": ("office", "an election closed by an official"),
    "election_reopened": ("office", "a closed election opened again by an official"),
    "election_chosen": ("office", "a person said which election a request is about"),
    "reply_text_written": ("office", "a reply text written, to be approved by somebody else"),
    "reply_text_approved": ("office", "a reply text approved: it is in force"),
    "reply_text_declined": ("office", "a reply text not wanted"),
    "reading_corrected": ("office", "the reading of a message corrected"),
    "request_withdrawn": ("office", "a request withdrawn by the voter"),
    "request_reminded": ("office", "a voter reminded of what a request still lacks"),
    "request_lapsed": ("office", "a request closed by the office's rules, since no answer came in time"),
    "account_made": ("office", "an account made for a member of staff"),
    "account_switched_off": ("office", "an account switched off, and signed out everywhere"),
    "account_switched_on": ("office", "an account switched on again"),
    "account_roles_changed": ("office", "what an account may do changed"),
    "account_password_set": ("office", "a new password set for an account by somebody else"),
    "account_address_changed": ("office", "an account's mail address changed"),
    "account_provider_name_changed": ("office", "an account's name at the sign-in service changed"),
    "account_signed_out": ("office", "one sign-in of an account, or all, ended by somebody else"),
    "account_second_factor_removed": ("office", "an account's second factor taken off by somebody else"),
    "second_factor_set_up": ("office", "a second factor set up by the account's owner"),
    "second_factor_removed": ("office", "a second factor taken off by the account's owner"),
    "recovery_codes_made": ("office", "new recovery codes made by the account's owner"),
    "restored": ("office", "the office restored from a backup; what came after it is not on this ledger"),
    "purged": ("office", "mail and texts removed, since their retention period has ended"),
}
# What was only seen and told has no outcome.
_NO_OUTCOME = frozenset(
    {"returned_again", "returned_unknown", "returned_misread", "returned_after_void", "brought_back"}
)


def described(event: str) -> tuple[str, str]:
    """(type, description) of an event; one that is not listed is told by its own name."""
    return _EVENTS.get(event, ("other", event.replace("_", " ")))


def write(session: Session, *, at: datetime, public: bool, version: str) -> Iterator[str]:
    """The log as pieces of JSON text, an event at a time: a ledger of millions is never held as a whole."""
    elections = session.scalars(select(LedgerEntry.election_id).distinct().limit(2)).all()
    log: dict[str, Any] = {"@type": "EventLogging.ElectionEventLog", "GeneratedTime": moment(at)}
    if len(elections) == 1:
        log["ElectionId"] = elections[0]
    log["Details"] = "for the public: without voters' ids" if public else "whole"
    device = {
        "@type": "EventLogging.Device",
        "Id": "ledger",
        "Type": "other",
        "OtherType": MODEL,
        "Manufacturer": MAKER,
        "Model": MODEL,
        "Version": version,
        "HashType": "sha-256",
        "Details": f"hash = SHA-256(hash before + canonical entry), hexadecimal; before the first: {BEFORE_THE_FIRST}",
    }
    yield f'{_open(log)},"Device":[{_open(device)},"Event":['
    rows = session.scalars(select(LedgerEntry).order_by(LedgerEntry.seq).execution_options(yield_per=ROWS_AT_A_TIME))
    before = ""
    for entry in rows:
        yield before + json.dumps(_event(entry, public), ensure_ascii=False)
        before = ",\n"
        session.expunge(entry)
    yield "]}]}\n"


def documentation(*, at: datetime, version: str) -> str:
    """What the log's events and types mean, in the form that the same standard has for it."""
    found = {
        "@type": "EventLogging.ElectionEventLogDocumentation",
        "DeviceManufacturer": MAKER,
        "DeviceModel": MODEL,
        "DeviceVersion": version,
        "GeneratedDate": at.date().isoformat(),
        "EventIdDescription": [
            {"@type": "EventLogging.EventIdDescription", "Id": event, "Description": words}
            for event, (_, words) in sorted(_EVENTS.items())
        ],
        "EventTypeDescription": [
            {"@type": "EventLogging.EventTypeDescription", "Type": name, "Description": words}
            for name, words in _TYPES.items()
        ],
    }
    return json.dumps(found, indent=1, ensure_ascii=False) + "\n"


def _event(entry: LedgerEntry, public: bool) -> dict[str, str]:
    kind, words = described(entry.event)
    found = {
        "@type": "EventLogging.Event",
        "Id": entry.event,
        "Sequence": str(entry.seq),
        "TimeStamp": entry.at,
        "Type": kind,
        "Disposition": "na" if entry.event in _NO_OUTCOME else "success",
        "UserId": entry.by,
        "Description": f"{words} ({entry.ballot_number})" if entry.ballot_number else words,
        "Hash": entry.hash,
    }
    if not public:
        found["Details"] = canonical_entry(entry)
    return found


def _open(data: dict[str, Any]) -> str:
    """A JSON object that goes on: without its closing brace."""
    return json.dumps(data, ensure_ascii=False)[:-1]
