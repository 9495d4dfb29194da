"""The page of a request shows what approving it would do at this moment: the ballot, the reply, the second person."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape

import pytest

from replacements.store.tables import Ballot, Mailing, Message, Packet, Reply, Request, VoterRow
from tests.web.invented_office import Site


def _page(site: Site, number: int = 1, role: str = "clerk") -> str:
    return unescape(site.see(role, f"/requests/{number}").get_data(as_text=True))


def _shown(page: str) -> str:
    found = re.search(r'name="reply_shown" value="([^"]*)"', page)
    assert found is not None
    return found.group(1)


def _sent(site: Site) -> Reply:
    with site.database.read() as session:
        return session.query(Reply).filter_by(request_id=1).one()


def _set(site: Site, **fields: object) -> None:
    with site.database.write() as session:
        request = session.get_one(Request, 1)
        for name, value in fields.items():
            setattr(request, name, value)


def test_the_reply_that_is_shown_is_the_reply_that_goes(site: Site) -> None:
    shown = _shown(_page(site))
    assert "Tuesday, September 29" in shown
    site.client("clerk").post("/requests/1/approve", data={"version": "1", "reply_text": shown, "reply_shown": shown})
    assert _sent(site).text.split() == shown.split()


def test_after_the_mailing_has_closed_the_reply_names_the_next_one(site: Site) -> None:
    with site.database.write() as session:
        session.get_one(Mailing, 1).state = "closed"
    assert "Wednesday, September 30" in _shown(_page(site))


@pytest.mark.parametrize(
    ("mailing", "packet", "words"),
    [
        ("open", "queued", "We have stopped the new ballot"),
        ("closed", "frozen", "too late to stop the new ballot"),
        ("mailed", "mailed", "too late to stop the new ballot"),
        ("closed", "pulled", "We have stopped the new ballot"),
    ],
)
def test_who_withdraws_is_told_whether_the_replacement_has_left_already(
    site: Site, mailing: str, packet: str, words: str
) -> None:
    """Request 2 is the same voter's, and its replacement is in the mailing."""
    _set(site, voter_id="V-101", proposal="stop_reissue", kinds=["withdrawal"])
    with site.database.write() as session:
        session.get_one(Mailing, 1).state = mailing
        session.query(Packet).one().state = packet
    assert words in " ".join(_shown(_page(site)).split())


def test_an_untouched_reply_is_filled_anew_where_the_mailing_closed_meanwhile(site: Site) -> None:
    shown = _shown(_page(site))
    site.clock.at += timedelta(hours=6)
    site.client("clerk").post("/requests/1/approve", data={"version": "1", "reply_text": shown, "reply_shown": shown})
    assert "Wednesday, September 30" in _sent(site).text


def test_a_clerks_own_words_about_a_mailing_that_closed_meanwhile_do_not_go(site: Site) -> None:
    shown = _shown(_page(site))
    site.clock.at += timedelta(hours=6)
    words = {"version": "1", "reply_text": shown + " Best wishes.", "reply_shown": shown}
    page = site.client("clerk").post("/requests/1/approve", data=words, follow_redirects=True).get_data(as_text=True)
    assert "has changed since you opened the page" in page
    with site.database.read() as session:
        assert session.get_one(Request, 1).state == "waiting"
        assert session.get_one(Ballot, "5000018").state == "issued"


def test_the_ballot_that_would_be_void_is_named_beside_the_button(site: Site) -> None:
    page = " ".join(re.sub("<[^>]+>", "", _page(site)).split())
    assert "Ballot 5000018, style F-2, of Ottoline Brackwater, will be void." in page


def test_who_comes_second_sees_what_the_first_person_agreed_to_and_its_reply(site: Site) -> None:
    _set(site, proposal="ask_identity", state="second", decision="reissue", first_by="clerk", two_people=True)
    page = _page(site, role="supervisor")
    assert "To be agreed to: Void the ballot and send a replacement" in page
    assert "We are sending you a new ballot" in _shown(page)
    assert "I agree, as the second person" in page


def test_a_ballot_replaced_since_the_request_was_judged_asks_for_a_second_person_before_anybody_presses(
    site: Site,
) -> None:
    assert "Two people must agree" not in _page(site)
    with site.database.read() as session:
        judged = dict(session.get_one(Request, 1).judged)
    _set(site, judged=judged | {"ballot": "5000000"})
    assert "replaced after this request was judged. Two people must agree by now" in _page(site)


def test_a_reissue_without_a_live_ballot_cannot_be_approved(site: Site) -> None:
    with site.database.write() as session:
        session.get_one(Ballot, "5000018").state = "voided"
    page = _page(site)
    assert "no live ballot that could be replaced" in page
    assert "Approve as proposed" not in page


def test_a_message_that_only_waits_to_be_read_is_not_approved_but_read(site: Site) -> None:
    _set(site, proposal="read")
    page = _page(site)
    assert "I have read it: nothing more to do" in page
    assert "Approve as proposed" not in page


def test_a_reply_in_another_language_can_be_read_in_english_too(site: Site) -> None:
    _set(site, language="es")
    page = _page(site)
    assert 'lang="es"' in page
    assert "The same in English, for you to read" in page
    assert "We are sending you a new ballot" in page
    assert "We are sending you a new ballot" not in _shown(page)


def test_another_voter_is_shown_with_the_ballot_that_would_be_void_before_it_is(site: Site) -> None:
    form = {"version": "1", "action": "reissue", "voter_id": "V-101", "note": "He called."}
    page = " ".join(site.client("clerk").post("/requests/1/preview", data=form).get_data(as_text=True).split())
    for told in ("Percival Brackwater", "Nov 30, 1983", "12 Nightjar Close", "80000019"):
        assert told in page
    assert "Agree to this, as the first person" in page


def test_namesakes_are_shown_with_what_tells_them_apart_though_the_message_says_nothing_of_it(site: Site) -> None:
    with site.database.write() as session:
        session.get_one(VoterRow, "V-101").first_name = "Ottoline"
        request = session.get_one(Request, 1)
        same = {"weight": 14.0, "evidence": {"name": "same"}, "weights": {"name": 14.0}}
        request.judged = request.judged | {"candidates": [{"voter_id": v, **same} for v in ("V-100", "V-101")]}
    page = _page(site)
    assert "Feb 17, 1951" in page
    assert "Nov 30, 1983" in page
    assert page.count("tells them apart") == 1  # they live together, and have one name
    hidden = _page(site, role="observer")
    assert "tells them apart" not in hidden
    assert "1983" not in hidden


@pytest.mark.parametrize("role", ["clerk", "observer"])
def test_what_may_be_a_threat_and_what_the_mailing_waits_for_come_first(site: Site, role: str) -> None:
    with site.database.write() as session:
        for number, proposal, rule in ((3, "answer", "trade.reviewed_text"), (4, "read", "trade.threat")):
            session.add(
                Request(
                    id=number,
                    election_id=session.get_one(Request, 1).election_id,
                    message_id=2,
                    place=number,
                    kinds=["other"],
                    proposal=proposal,
                    reasons=[{"rule": rule, "text": ""}],
                    judged={},
                    state="waiting",
                    received_at=session.get_one(Request, 1).received_at - timedelta(hours=5 - number),
                )
            )
        session.get_one(Message, 2).judgement = {"notices": [{"code": "threat", "text": ""}]}
    listed = site.see(role, "/requests/").get_data(as_text=True)
    places = [listed.index(f'href="/requests/{number}"') for number in (4, 1, 3)]
    assert places == sorted(places)
    assert "threat?" in listed
    pressing = site.see(role, "/requests/?state=waiting&proposal=for_mailing").get_data(as_text=True)
    assert re.findall(r'href="/requests/(\d+)"', pressing) == ["1"]
    front = site.see(role, "/").get_data(as_text=True)
    assert "may be a threat: read at once" in front
    assert "Closes Tue, Sep 29, 2:00 pm, in 3 h 30 min" in front
    assert ('href="/requests/4">Begin with the first' in front) == (role == "clerk")


def test_the_mail_room_finds_the_mailing_to_sign_off_before_the_one_that_fills(site: Site) -> None:
    client = site.client("mail_room")
    client.post("/mailings/1/close")
    page = client.get("/mailing").get_data(as_text=True)
    assert "Mailing of Tue, Sep 29, 2026" in page
    assert "Packets sealed" in page
    assert "Being filled: Wed, Sep 30" in page
    assert "mailing to be signed off: Tue, Sep 29, 2026" in client.get("/").get_data(as_text=True)


def test_days_of_the_week_that_have_not_begun_are_left_open(site: Site) -> None:
    page = site.see("supervisor", "/week/").get_data(as_text=True)
    assert "not over yet" in page
    assert page.count("not yet</span>") == 5
