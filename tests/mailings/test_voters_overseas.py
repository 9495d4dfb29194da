"""Voters overseas, military voters among them, are reached by the channel and until the day that the rules say."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfReader

from replacements.ballots.life import NotPossible
from replacements.mailings import stock
from replacements.mailings.closing import close
from replacements.mailings.documents import checklist_pdf, labels_pdf, pick_list_pdf
from replacements.mailings.printing_again import reprint
from replacements.mailings.signing import Counts, sign
from replacements.rules.mailing_sections import OverseasMailing
from replacements.rules.office import Rules
from replacements.store.database import Database
from replacements.store.tables import Ballot, Mailing, Packet

ELECTION = "2026-11-03-general-election"
CUT_OFF = datetime(2026, 10, 14, 18, 30, tzinfo=UTC)
Queue = Callable[..., Packet]
ABROAD: dict[str, Any] = {
    "overseas": True,
    "email": "wren@abroad.example",
    "mail_street": "PSC 3 Box 4120",
    "mail_city": "APO",
    "mail_state": "AE",
    "mail_zip": "09021",
}


def by(rules: Rules, **overseas: Any) -> Rules:
    mailing = rules.mailing.model_copy(update={"overseas": OverseasMailing(**overseas)})
    return rules.model_copy(update={"mailing": mailing})


def text_of(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages)


@pytest.mark.parametrize(
    ("overseas", "voter", "channel"),
    [
        ({}, ABROAD, "post"),
        ({"channel": "electronic"}, ABROAD, "electronic"),
        ({"channel": "electronic"}, {**ABROAD, "email": ""}, "post"),  # not to be reached otherwise
        ({"channel": "electronic"}, {"email": "wren@home.example"}, "post"),  # not overseas
        ({"by_post_until": date(2026, 10, 14)}, ABROAD, "post"),  # the last day is in time
        ({"by_post_until": date(2026, 10, 13)}, ABROAD, "electronic"),
        ({"by_post_until": date(2026, 10, 13)}, {**ABROAD, "email": ""}, "post"),
    ],
)
def test_the_channel_is_the_rules(
    office: Database, queue: Queue, rules: Rules, overseas: dict[str, Any], voter: dict[str, Any], channel: str
) -> None:
    with office.write() as session:
        packet = queue(session, "8000017", **voter)
        close(session, packet.mailing_id, rules=by(rules, **overseas), by="schedule", at=CUT_OFF)
        assert (packet.state, packet.channel) == ("frozen", channel)
        assert (packet.label is None) == (channel == "electronic")


def test_what_is_sent_electronically_is_listed_and_counted_apart(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        for person in ("mara", "joel"):
            stock.enter(session, ELECTION, "07-A", "counted", 10, by=person, at=CUT_OFF)
        mailing_id = queue(session, "8000017").mailing_id
        sent = queue(session, "8000025", **{**ABROAD, "mail_street": ""})  # no label is needed
        close(session, mailing_id, rules=by(rules, channel="electronic"), by="schedule", at=CUT_OFF)
        manifest = session.get_one(Mailing, mailing_id).manifest or {}
        assert (manifest["total"], manifest["ballots"], manifest["electronic"]) == (1, 1, 1)
        assert manifest["numbers"] == ["8000017", "8000025"]
        checklist = text_of(checklist_pdf(session, mailing_id, rules))
        assert "8000025" in checklist[checklist.index("Not by post") :]
        assert "8000017" not in checklist[checklist.index("Not by post") :]
        assert "8000025" not in text_of(labels_pdf(session, mailing_id, rules))
        assert "8000025" not in text_of(pick_list_pdf(session, mailing_id, rules))
        with pytest.raises(NotPossible, match="sent electronically"):
            reprint(session, sent.id, by="mara", at=CUT_OFF, reason="jam")
        refused = sign(session, mailing_id, account="mara", counts=Counts(1, 1, 1), at=CUT_OFF)
        assert "0 ballots sent electronically, but the manifest says 1" in refused.text
        for account in ("mara", "joel"):
            signed = sign(session, mailing_id, account=account, counts=Counts(1, 1, 1, electronic=1), at=CUT_OFF)
        assert signed.state == "mailed"
        assert session.get_one(Ballot, "8000025").mailed_on == date(2026, 10, 14)
        assert stock.overview(session, ELECTION)[0].used == 1  # no blank ballot was taken for it
