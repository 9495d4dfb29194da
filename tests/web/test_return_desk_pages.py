"""The pages of the return desk, without their script: one by one, by the list, brought back, undone, to be cured."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select

from replacements.ballots.numbers import with_check_digit
from replacements.store.tables import Ballot, DeskScan, LedgerEntry, Reply, VoterRow
from tests.web.invented_office import NOW, PERSONAL, REPLACEMENT, Site

LIVE, VOID = "5000018", "5000026"


@pytest.fixture
def desk(site: Site) -> FlaskClient:
    return site.client("return_desk")


def by_desk(site: Site) -> list[str]:
    with site.database.read() as session:
        entries = session.scalars(select(LedgerEntry).where(LedgerEntry.by == "return_desk").order_by(LedgerEntry.seq))
        return [entry.event for entry in entries]


def state(site: Site, number: str) -> str:
    with site.database.read() as session:
        return session.get_one(Ballot, number).state


def text(client: FlaskClient, address: str) -> str:
    return client.get(address).get_data(as_text=True)


def by_script(client: FlaskClient, number: str, **more: str) -> dict[str, object]:
    answer = client.post("/return-desk/scan", data={"number": number, "key": f"k{number}", **more})
    assert answer.mimetype == "application/json"
    return dict(answer.get_json())


def test_the_script_is_told_what_the_page_would_show(desk: FlaskClient) -> None:
    live, stop = by_script(desk, LIVE), by_script(desk, VOID)
    assert (live["kind"], live["headline"], live["lines"]) == (
        "live",
        "✓ LIVE – accept for checking",
        ["Live: accept for checking."],
    )
    assert (stop["kind"], stop["headline"]) == ("stop", "■ STOP – do not accept")
    assert REPLACEMENT in str(stop["lines"])
    page = text(desk, "/return-desk/")
    assert str(live["undo"]) in page
    assert str(stop["undo"]) in page
    assert not any(fact in page + str(live) + str(stop) for fact in PERSONAL)


def test_a_number_that_is_sent_again_because_its_answer_was_lost_is_recorded_once(
    site: Site, desk: FlaskClient
) -> None:
    assert by_script(desk, LIVE) == by_script(desk, LIVE)
    assert by_desk(site) == ["returned"]


def test_a_form_that_is_sent_twice_is_recorded_once(site: Site, desk: FlaskClient) -> None:
    for _ in range(2):
        desk.post("/return-desk/", data={"number": LIVE, "key": "a" * 32})
    assert by_desk(site) == ["returned"]
    assert "LIVE – accept" in text(desk, "/return-desk/")


def test_a_number_that_waited_for_the_connection_says_since_when(site: Site, desk: FlaskClient) -> None:
    by_script(desk, LIVE, waited="90")
    by_script(desk, VOID, waited="1")
    with site.database.read() as session:
        first, second = session.scalars(select(LedgerEntry).where(LedgerEntry.by == "return_desk")).all()
    assert json.loads(first.details)["scanned_at"] == (NOW - timedelta(seconds=90)).isoformat()
    assert "scanned_at" not in second.details


@pytest.mark.parametrize("waited", ["-5", "nan", "", "99999999999999999999"])
def test_an_odd_wait_breaks_nothing(desk: FlaskClient, waited: str) -> None:
    assert by_script(desk, LIVE, waited=waited)["kind"] == "live"


def test_a_mistyped_number_is_told_as_mistyped(desk: FlaskClient) -> None:
    right = with_check_digit("8123456")
    wrong = right[:-1] + str((int(right[-1]) + 3) % 10)
    assert by_script(desk, wrong)["kind"] == "misread"
    assert by_script(desk, right)["kind"] == "unknown"


def test_only_looking_keeps_nothing_in_the_list(site: Site, desk: FlaskClient) -> None:
    answer = by_script(desk, LIVE, look="1")
    assert (answer["kind"], answer["only_look"], answer["undo"]) == ("live", True, "")
    assert by_desk(site) == []
    assert state(site, LIVE) == "issued"


def test_a_scan_is_undone_with_its_reason(site: Site, desk: FlaskClient) -> None:
    undo = str(by_script(desk, LIVE)["undo"])
    assert LIVE in text(desk, undo)
    for empty in ({}, {"why": "Another reason (write it below)", "note": "  "}, {"why": "x"}):
        assert "Say why it is undone" in desk.post(undo, data=empty).get_data(as_text=True)
    assert state(site, LIVE) == "returned"
    assert desk.post(undo, data={"why": "The number was mistyped", "note": "8 for 6"}).status_code == 303
    assert state(site, LIVE) == "issued"
    page = text(desk, "/return-desk/")
    assert "(undone)" in page
    assert "Both are on record" in page
    assert "was undone before" in desk.post(undo, data={"why": "The number was mistyped"}).get_data(as_text=True)
    with site.database.read() as session:
        entry = session.scalars(select(LedgerEntry).where(LedgerEntry.event == "return_undone")).one()
        assert json.loads(entry.details)["note"] == "The number was mistyped – 8 for 6"
    boss = site.client("supervisor")
    assert "Ledger and record say the same" in text(boss, "/week/2026-09-28/2026-10-04/places")


def test_the_counts_of_a_list_add_up_and_agree_with_the_pile(site: Site, desk: FlaskClient) -> None:
    typed = f"{LIVE}\r\n{VOID}, 123\t{LIVE};\n\n  {'1' * 22}\n"
    sent = desk.post("/return-desk/list", data={"numbers": typed, "counted": "5", "key": "b" * 32})
    page = text(desk, sent.headers["Location"])
    sums = [int(n) for n in re.findall(r'<td class="amount">(\d+)</td></tr>', page)]
    assert sums == [1, 1, 1, 1, 1, 0, 5]  # live, again, stop, unknown, misread; not recorded; the list
    assert sum(sums[:-1]) == sums[-1]
    assert "✓ The counts agree" in page
    assert by_desk(site) == [
        "returned",
        "returned_after_void",
        "returned_unknown",
        "returned_again",
        "returned_misread",
    ]
    again = desk.post("/return-desk/list", data={"numbers": typed, "counted": "5", "key": "b" * 32})
    assert again.headers["Location"] == sent.headers["Location"]
    assert len(by_desk(site)) == 5


@pytest.mark.parametrize(("counted", "said"), [("3", "1 more in the pile"), ("1", "1 more in the list")])
def test_a_list_that_is_not_the_pile_is_told(desk: FlaskClient, counted: str, said: str) -> None:
    sent = desk.post("/return-desk/list", data={"numbers": f"{LIVE}\n{VOID}", "counted": counted})
    page = text(desk, sent.headers["Location"])
    assert "■ The counts do not agree" in page
    assert said in page


@pytest.mark.parametrize(
    "form",
    [
        {"numbers": " \n, ;"},
        {"numbers": "\n".join(map(str, range(501)))},
        {"numbers": LIVE, "counted": "many"},
        {"numbers": LIVE, "counted": "-1"},
    ],
)
def test_a_list_that_cannot_be_taken_is_kept_in_its_field_and_nothing_is_recorded(
    site: Site, desk: FlaskClient, form: dict[str, str]
) -> None:
    answer = desk.post("/return-desk/list", data=form)
    assert answer.status_code == 400
    page = answer.get_data(as_text=True)
    assert "Nothing was recorded" in page
    assert form["numbers"].strip().split("\n")[-1] in page
    assert by_desk(site) == []


def test_a_list_is_shown_to_whoever_entered_it(site: Site, desk: FlaskClient) -> None:
    sent = desk.post("/return-desk/list", data={"numbers": LIVE})
    assert site.see("supervisor", sent.headers["Location"]).status_code == 404


def test_what_the_post_brings_back_has_one_of_the_office_s_reasons(site: Site, desk: FlaskClient) -> None:
    page = text(desk, "/return-desk/brought-back")
    assert "moved, left no address" in page
    desk.post("/return-desk/brought-back", data={"number": LIVE, "reason": "I say so"})
    assert state(site, LIVE) == "issued"
    desk.post("/return-desk/brought-back", data={"number": LIVE, "reason": "vacant"})
    page = text(desk, "/return-desk/brought-back")
    assert "↩ BROUGHT BACK" in page
    assert "<option selected>vacant</option>" in page  # for the next one of the pile
    assert state(site, LIVE) == "undeliverable"
    with site.database.read() as session:
        entry = session.scalars(select(LedgerEntry).where(LedgerEntry.event == "undeliverable")).one()
        assert json.loads(entry.details)["post_reason"] == "vacant"


def lacks(client: FlaskClient, number: str, *parts: str) -> str:
    client.post("/return-desk/statements", data={"number": number, "lacking": list(parts)})
    return text(client, "/return-desk/statements")


def test_a_statement_that_lacks_something_waits_and_its_voter_is_told_what(site: Site, desk: FlaskClient) -> None:
    by_script(desk, LIVE)
    page = lacks(desk, LIVE, "signature", "signature of a witness", "something else")
    assert "The voter is told by mail" in page
    assert "signature, signature of a witness</td>" in page
    assert "Waiting for their voters: 1" in page
    assert state(site, LIVE) == "challenged"
    with site.database.read() as session:
        reply = session.scalars(select(Reply).where(Reply.template == "complete_statement")).one()
        assert (reply.to, reply.state, reply.language) == ("ottoline@post.example", "queued", "en")
        assert "- signature of a witness" in reply.text
        assert "Hello Ottoline Brackwater" in reply.text
    assert by_desk(site) == ["returned", "challenged", "cure_asked"]
    assert not any(fact in page for fact in PERSONAL)
    desk.post("/return-desk/statements/complete", data={"number": LIVE})
    assert state(site, LIVE) == "returned"
    assert "Waiting for their voters: 0" in text(desk, "/return-desk/statements")
    assert "Ledger and record say the same" in text(site.client("supervisor"), "/week/2026-09-28/2026-10-04/places")


@pytest.mark.parametrize("what", ["protected", "no address", "bad address"])
def test_where_no_mail_can_go_a_clerk_must_call_or_write(site: Site, desk: FlaskClient, what: str) -> None:
    with site.database.write() as session:
        voter = session.get_one(VoterRow, "V-100")
        voter.protected = what == "protected"
        voter.email = {"no address": "", "bad address": "a, b@c.example"}.get(what, voter.email)
    by_script(desk, LIVE)
    page = lacks(desk, LIVE, "signature")
    assert "a clerk must call or write" in page
    assert "■ Not by mail: call or write" in page
    with site.database.read() as session:
        assert session.scalars(select(Reply).where(Reply.template == "complete_statement")).all() == []
        assert state(site, LIVE) == "challenged"


def test_only_a_ballot_that_is_back_can_lack_something_and_something_must_be_named(
    site: Site, desk: FlaskClient
) -> None:
    assert "cannot be challenged" in lacks(desk, LIVE, "signature")
    by_script(desk, LIVE)
    assert "Say what the statement lacks" in lacks(desk, LIVE)
    assert "Not one of ours" in lacks(desk, "123", "signature")
    assert state(site, LIVE) == "returned"
    desk.post("/return-desk/statements/complete", data={"number": LIVE})
    assert "there is nothing to cure" in text(desk, "/return-desk/statements")


def test_a_second_challenge_tells_the_voter_again(site: Site, desk: FlaskClient) -> None:
    by_script(desk, LIVE)
    lacks(desk, LIVE, "signature")
    desk.post("/return-desk/statements/complete", data={"number": LIVE})
    lacks(desk, LIVE, "name")
    with site.database.read() as session:
        texts = session.scalars(select(Reply.text).where(Reply.template == "complete_statement")).all()
        assert len(texts) == 2
        assert session.scalars(select(DeskScan)).one().ballot_number == LIVE
