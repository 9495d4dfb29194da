from __future__ import annotations

from datetime import timedelta

import pytest
from flask.testing import FlaskClient

from replacements.store.tables import Ballot, LedgerEntry, Mailing, Packet, Reply, Request
from tests.web.invented_office import REPLACEMENT, Site


def _after(client: FlaskClient, address: str, **form: str) -> str:
    """Send a form and read the page that it leads to."""
    return client.post(address, data=form, follow_redirects=True).get_data(as_text=True)


def _request(site: Site, number: int = 1) -> Request:
    with site.database.read() as session:
        found = session.get_one(Request, number)
        session.expunge(found)
        return found


def test_approving_voids_the_old_ballot_and_shows_the_new_one_in_the_next_mailing(site: Site) -> None:
    page = _after(site.client("clerk"), "/requests/1/approve", version="1", reply_text="")
    request = _request(site)
    assert request.state == "done"
    assert request.issued_ballot is not None
    assert request.issued_ballot in page
    assert "Voided" in page
    mailing = site.see("mail_room", "/mailing").get_data(as_text=True)
    assert request.issued_ballot in mailing
    assert request.issued_ballot in site.see("observer", "/reissued/").get_data(as_text=True)


def test_the_one_who_comes_second_is_told_that_someone_else_decided(site: Site) -> None:
    first, second = site.client("clerk"), site.client("supervisor")
    _after(first, "/requests/1/decline", version="1", note="Called, found it.")
    page = _after(second, "/requests/1/approve", version="1")
    assert "Someone else decided this meanwhile" in page
    with site.database.read() as session:
        assert session.get_one(Ballot, "5000018").state == "issued"


def test_a_change_needs_a_note_and_keeps_it(site: Site) -> None:
    client = site.client("clerk")
    assert "say why" in _after(client, "/requests/1/change", version="1", action="come_in", note=" ")
    assert _request(site).state == "waiting"
    _after(client, "/requests/1/change", version="1", action="come_in", note="She lives next door.")
    request = _request(site)
    assert (request.decision, request.decision_note) == ("come_in", "She lives next door.")


def test_an_action_that_does_not_exist_is_no_change(site: Site) -> None:
    _after(site.client("clerk"), "/requests/1/change", version="1", action="burn_it", note="x")
    assert _request(site).version == 1


def test_another_voter_than_proposed_takes_a_second_person(site: Site) -> None:
    clerk, boss = site.client("clerk"), site.client("supervisor")
    form = {"action": "reissue", "voter_id": "V-101", "note": "The brother wrote from her account."}
    page = _after(clerk, "/requests/1/change", version="1", **form)
    assert _request(site).state == "second"
    assert "The second person must be somebody else" in page
    assert "I agree, as the second person" in boss.get("/requests/1").get_data(as_text=True)


def test_asking_is_a_decision_that_waits_for_the_voter(site: Site) -> None:
    page = _after(
        site.client("clerk"),
        "/requests/1/change",
        version="1",
        action="ask_identity",
        note="The signature looks different.",
    )
    assert _request(site).state == "asked"
    assert "Waiting for the voter" in page


def test_declining_needs_a_reason(site: Site) -> None:
    client = site.client("clerk")
    _after(client, "/requests/1/decline", version="1", note="")
    assert _request(site).state == "waiting"
    _after(client, "/requests/1/decline", version="1", note="Not ours.")
    assert _request(site).state == "declined"


def test_a_reply_in_the_clerks_own_words_goes_out_as_written(site: Site) -> None:
    client = site.client("clerk")
    own = "Dear voter,\r\n\r\nyour new ballot leaves today."
    _after(client, "/requests/1/approve", version="1", reply_text=own)
    with site.database.read() as session:
        reply = session.query(Reply).filter_by(request_id=1).one()
        assert reply.text == "Dear voter,\n\nyour new ballot leaves today."


def test_a_supervisor_takes_a_reissue_back_while_the_mailing_is_open(site: Site) -> None:
    _after(site.client("clerk"), "/requests/1/approve", version="1")
    boss = site.client("supervisor")
    assert "Take the reissue back" in boss.get("/requests/1").get_data(as_text=True)
    assert "Take the reissue back" not in site.see("clerk", "/requests/1").get_data(as_text=True)
    version = str(_request(site).version)
    _after(boss, "/requests/1/take-back", version=version, note="She found the first one unspoiled.")
    with site.database.read() as session:
        assert session.get_one(Ballot, "5000018").state == "issued"
    assert _request(site).state == "waiting"


def test_nothing_is_voided_while_no_official_has_adopted_the_rules(unadopted_site: Site) -> None:
    client = unadopted_site.client("clerk")
    assert "Approve as proposed" not in client.get("/requests/1").get_data(as_text=True)
    assert "adopted" in _after(client, "/requests/1/approve", version="1")
    with unadopted_site.database.read() as session:
        assert session.get_one(Ballot, "5000018").state == "issued"


def test_a_form_without_a_version_is_refused(site: Site) -> None:
    assert site.client("clerk").post("/requests/1/approve", data={}).status_code == 400


@pytest.mark.parametrize("paper", ["labels", "pick-list", "checklist", "manifest"])
def test_papers_are_printed_when_the_mailing_is_closed(site: Site, paper: str) -> None:
    client = site.client("mail_room")
    assert client.get(f"/mailings/1/{paper}.pdf").status_code == 409
    _after(client, "/mailings/1/close")
    answer = client.get(f"/mailings/1/{paper}.pdf")
    assert answer.status_code == 200
    assert answer.data.startswith(b"%PDF")


def test_two_people_count_and_sign_and_then_the_mailing_is_out(site: Site) -> None:
    first, second = site.client("mail_room"), site.client("supervisor")
    _after(first, "/mailings/1/close")
    three = {"picked": "1", "labelled": "1", "sealed": "1"}
    assert "2 packets sealed, but the manifest says 1" in _after(first, "/mailings/1/sign", **{**three, "sealed": "2"})
    assert "Enter what you counted" in _after(first, "/mailings/1/sign", picked="1", sealed="1")
    assert "second person" in _after(first, "/mailings/1/sign", **three)
    assert "You have signed" in _after(first, "/mailings/1/sign", **three)
    assert "the mailing is out" in _after(second, "/mailings/1/sign", **three)
    with site.database.read() as session:
        assert session.get_one(Mailing, 1).state == "mailed"
        assert session.get_one(Ballot, "80000019").mailed_on is not None


def test_a_jammed_label_is_printed_again_and_that_is_on_record(site: Site) -> None:
    client = site.client("mail_room")
    assert client.post("/packets/1/label").status_code == 409
    _after(client, "/mailings/1/close")
    assert client.post("/packets/1/label").status_code == 409  # not without a reason
    assert client.post("/packets/1/label", data={"reason": "jam"}).data.startswith(b"%PDF")
    assert client.post("/mailings/1/labels", data={"sheet": "1", "reason": "jam"}).data.startswith(b"%PDF")
    assert client.post("/mailings/1/labels", data={"sheet": "2", "reason": "jam"}).status_code == 409
    assert "label_reprinted".replace("_", " ") in site.see("supervisor", "/ledger/").get_data(as_text=True)


def test_a_pulled_ballot_that_still_counts_goes_with_the_next_mailing_once(site: Site) -> None:
    client = site.client("mail_room")
    assert "not pulled" in _after(client, "/packets/1/again")
    said = _after(client, "/packets/1/pull", note="The envelope tore.", then="out")
    assert "in no mailing now" in said
    assert "/packets/1/again" in said
    _after(client, "/packets/1/again")
    _after(client, "/packets/1/again")
    with site.database.read() as session:
        packets = session.query(Packet).order_by(Packet.id).all()
        assert [(p.ballot_number, p.state) for p in packets] == [(REPLACEMENT, "pulled"), (REPLACEMENT, "queued")]
        assert [e.event for e in session.query(LedgerEntry).order_by(LedgerEntry.seq)][-1] == "packet_queued_again"


def test_a_packet_is_pulled_with_a_reason(site: Site) -> None:
    client = site.client("mail_room")
    assert "Say why" in _after(client, "/packets/1/pull", note="")
    _after(client, "/packets/1/pull", note="The voter is in the office.")
    with site.database.read() as session:
        assert session.get_one(Packet, 1).state == "pulled"


def test_a_pulled_packet_goes_with_the_next_mailing_and_the_signature_of_before_is_void(site: Site) -> None:
    client = site.client("mail_room")
    _after(client, "/mailings/1/close")
    _after(client, "/mailings/1/sign", picked="1", labelled="1", sealed="1")
    said = _after(client, "/packets/1/pull", note="The envelope tore.")
    assert "no longer count" in said
    assert "0 of two people signed" in said
    assert "It goes with the mailing of Wednesday, September 30" in said
    with site.database.read() as session:
        assert [(p.mailing_id, p.state) for p in session.query(Packet).order_by(Packet.id)] == [
            (1, "pulled"),
            (2, "queued"),
        ]


def test_every_page_says_that_a_mailing_is_not_signed_until_it_is(site: Site) -> None:
    first, second = site.client("mail_room"), site.client("supervisor")
    pages = [(role, address) for role in ("clerk", "supervisor", "observer") for address in ("/", "/health", "/rules/")]
    pages += [("return_desk", "/return-desk/"), ("clerk", "/requests/1"), ("mail_room", "/mailing/filling")]
    says = "The mailing of Tue, Sep 29, 2026 is closed and not signed off"
    assert not any(says in site.see(role, address).get_data(as_text=True) for role, address in pages)
    _after(first, "/mailings/1/close")
    assert all(says in site.see(role, address).get_data(as_text=True) for role, address in pages)
    assert says not in site.see(None, "/sign-in").get_data(as_text=True)
    three = {"picked": "1", "labelled": "1", "sealed": "1"}
    _after(first, "/mailings/1/sign", **three)
    assert "1 of two people signed" in site.see("return_desk", "/").get_data(as_text=True)
    _after(second, "/mailings/1/sign", **three)
    assert not any(says in site.see(role, address).get_data(as_text=True) for role, address in pages)


def test_a_shortage_of_ballots_is_seen_before_the_mailing(site: Site) -> None:
    form = {"style": "F-2", "kind": "counted", "number": "0"}
    assert "second person must count" in _after(site.client("mail_room"), "/stock", **form)
    assert "Ballot style F-2" not in site.see("clerk", "/").get_data(as_text=True)
    assert "Both counts agree" in _after(site.client("supervisor"), "/stock", **form)
    assert "Ballot style F-2" in site.see("clerk", "/").get_data(as_text=True)
    assert "short by 1" in site.see("mail_room", "/mailing").get_data(as_text=True)


def test_the_second_person_is_not_shown_what_the_first_counted(site: Site) -> None:
    _after(site.client("mail_room"), "/stock", style="F-2", kind="counted", number="7531")
    page = site.see("supervisor", "/mailing").get_data(as_text=True)
    assert "Counted by one person" in page
    assert "7531" not in page
    assert "you counted 7530" in _after(site.client("supervisor"), "/stock", style="F-2", kind="counted", number="7530")


def test_what_waited_longest_comes_first_and_its_age_is_on_the_first_page(site: Site) -> None:
    site.clock.at += timedelta(hours=20)
    with site.database.write() as session:
        session.get_one(Request, 2).state = "waiting"
        session.get_one(Request, 2).received_at = site.clock.at - timedelta(minutes=5)
    page = site.see("clerk", "/").get_data(as_text=True)
    assert "The oldest came 22 h ago" in page
    listed = site.see("clerk", "/requests/").get_data(as_text=True)
    assert listed.index('href="/requests/1"') < listed.index('href="/requests/2"')


def test_another_decision_is_shown_with_its_reply_before_it_is_taken_and_looking_changes_nothing(site: Site) -> None:
    client = site.client("clerk")
    form = {"version": "1", "note": "She lives next door."}
    page = _after(client, "/requests/1/preview", action="come_in", **form)
    assert "Nothing is done yet" in page
    assert "To ottoline@post.example" in page
    assert "7 Weir Lane" in page
    second = _after(client, "/requests/1/preview", action="reissue", voter_id="V-101", **form)
    assert "Two people must agree" in second
    assert "No reply goes out" in _after(client, "/requests/1/preview", action="drop", **form)
    with site.database.read() as session:
        assert session.get_one(Request, 1).version == 1
        assert session.get_one(Ballot, "5000018").state == "issued"
        assert session.query(Ballot).count() == 3
        assert session.query(Reply).filter_by(request_id=1).count() == 0


def test_what_cannot_be_done_is_said_before_anybody_confirms_it(site: Site) -> None:
    page = _after(
        site.client("clerk"), "/requests/1/preview", version="1", action="reissue", voter_id="V-999", note="Guess."
    )
    assert "no longer on the roll" in page


def test_after_todays_mailing_is_closed_the_next_one_is_tomorrows(site: Site) -> None:
    client = site.client("mail_room")
    assert "Mailing of Tue, Sep 29, 2026" in client.get("/mailing").get_data(as_text=True)
    _after(client, "/mailings/1/close")
    assert "Mailing of Wed, Sep 30, 2026" in client.get("/mailing/filling").get_data(as_text=True)
    assert "Mailing of Wed, Sep 30, 2026" in site.see("clerk", "/mailing").get_data(as_text=True)
    front = client.get("/").get_data(as_text=True)
    assert "Wed, Sep 30, 2026, 2:00 pm" in front
    assert "mailing to be signed off: Tue, Sep 29, 2026" in front
