"""Clear cases decided together: only what nothing speaks against, each as if singly, and each with what came of it."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime, timedelta, timezone
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.orm import Session

from replacements.proposals.types import Action
from replacements.reading.types import Kind
from replacements.requests import bulk
from replacements.requests import office as offices
from replacements.requests.bulk import AT_MOST, sentence
from replacements.store.tables import (
    Ballot,
    Correction,
    LedgerEntry,
    Look,
    Message,
    Packet,
    RawMail,
    Reply,
    Request,
    RollImport,
    VoterChange,
    VoterRow,
)
from tests.web.invented_office import NOW, Site
from tests.web.many_requests import FIRST, SENTENCE, add_clear_cases, letter, request

OFFICE = timezone(timedelta(hours=-4))
BOX = re.compile(r'name="case" value="([^"]+)"')


def _page(client: FlaskClient) -> str:
    answer = client.get("/requests/together/")
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


def _boxes(page: str) -> dict[int, str]:
    return {int(value.split("/")[0]): value for value in BOX.findall(page)}


def _send(client: FlaskClient, boxes: list[str]) -> str:
    return client.post("/requests/together/", data={"case": boxes}, follow_redirects=True).get_data(as_text=True)


def _live(site: Site, number: int) -> str:
    with site.database.read() as session:
        return session.get_one(Ballot, f"7{number:06}").state


def test_each_case_shows_who_what_agreed_what_they_wrote_what_happens_and_where_it_goes(site: Site) -> None:
    add_clear_cases(site.database, 2)
    page = _page(site.client("clerk"))
    assert set(_boxes(page)) == {FIRST, FIRST + 1}
    for told in (
        "Ismene Marl1000",
        "birth date: same",
        SENTENCE,
        'Ballot <span class="number">7001000</span> will be void',
        "1000 Sedge Row",
        "Fennmark OH 45999",
        "The reply in full",
    ):
        assert told in page, told
    assert "Good morning" not in page  # one sentence, the one that decided


def test_those_that_are_ticked_are_done_each_as_if_singly_and_the_others_stay(site: Site) -> None:
    add_clear_cases(site.database, 3)
    client = site.client("clerk")
    boxes = _boxes(_page(client))
    page = _send(client, [boxes[FIRST], boxes[FIRST + 2]])
    assert "2 of 2 approved" in page
    assert [_live(site, FIRST + n) for n in range(3)] == ["voided", "issued", "voided"]
    with site.database.read() as session:
        for number in (FIRST, FIRST + 2):
            found = session.get_one(Request, number)
            assert (found.state, found.decided_by, found.version) == ("done", "clerk", 2)
            assert session.query(Packet).filter_by(request_id=number).count() == 1
            assert session.query(Reply).filter_by(request_id=number).count() == 1
            assert session.query(LedgerEntry).filter_by(ballot_number=f"7{number:06}", event="voided").count() == 1
        assert session.get_one(Request, FIRST + 1).state == "waiting"


def test_one_that_changed_meanwhile_is_left_and_the_others_are_done(site: Site) -> None:
    add_clear_cases(site.database, 4)
    client = site.client("clerk")
    boxes = _boxes(_page(client))
    site.client("supervisor").post(f"/requests/{FIRST}/decline", data={"version": "1", "note": "Called."})
    with site.database.write() as session:
        session.get_one(VoterRow, f"V-{FIRST + 1}").street = "9 Other Lane"  # the packet would go elsewhere than shown
        session.get_one(Request, FIRST + 2).two_people = True
    page = _send(client, list(boxes.values()))
    assert "1 of 4 approved" in page
    assert page.count("Changed meanwhile:") == 2
    assert "Refused:" in page
    assert "Two people must agree" in page
    assert [_live(site, FIRST + n) for n in range(4)] == ["issued", "issued", "issued", "voided"]


def test_approving_the_same_page_twice_voids_nothing_twice(site: Site) -> None:
    add_clear_cases(site.database, 2)
    client = site.client("clerk")
    boxes = list(_boxes(_page(client)).values())
    _send(client, boxes)
    assert "0 of 2 approved" in _send(client, boxes)
    with site.database.read() as session:
        assert session.query(Ballot).filter(Ballot.replaces.like("7%")).count() == 2


def test_at_most_so_many_are_shown_and_more_are_refused_whole(site: Site) -> None:
    add_clear_cases(site.database, AT_MOST + 5)
    client = site.client("clerk")
    boxes = _boxes(_page(client))
    assert sorted(boxes) == list(range(FIRST, FIRST + AT_MOST))  # the oldest first
    more = [f"{FIRST + n}/1/x" for n in range(AT_MOST + 1)]
    assert "Nothing was decided" in _send(client, more)
    assert _live(site, FIRST) == "issued"


@pytest.mark.parametrize("box", ["", "1", "x/1/y", "1000/1/", "1000/1/0123", "1000/²/x", "99999999999/1/x"])
def test_a_box_that_was_never_on_the_page_decides_nothing(site: Site, box: str) -> None:
    add_clear_cases(site.database, 1)
    _send(site.client("clerk"), [box])
    assert _live(site, FIRST) == "issued"


def test_what_is_shown_is_on_record_as_a_look_at_each(site: Site) -> None:
    add_clear_cases(site.database, 2)
    _page(site.client("clerk"))
    with site.database.read() as session:
        looks = {(look.account, look.about, look.voter_id) for look in session.query(Look)}
    assert looks == {("clerk", f"request {n}", f"V-{n}") for n in (FIRST, FIRST + 1)}


def _of_request(**values: Any) -> Callable[[Session, Request], None]:
    def change(_session: Session, found: Request) -> None:
        for name, value in values.items():
            setattr(found, name, value)

    return change


def _of_voter(**values: Any) -> Callable[[Session, Request], None]:
    def change(session: Session, found: Request) -> None:
        row = session.get_one(VoterRow, found.voter_id)
        for name, value in values.items():
            setattr(row, name, value)

    return change


def _of_judged(**values: Any) -> Callable[[Session, Request], None]:
    def change(_session: Session, found: Request) -> None:
        found.judged = {**found.judged, **values}

    return change


def _of_reading(**values: Any) -> Callable[[Session, Request], None]:
    def change(session: Session, found: Request) -> None:
        row = session.get_one(Message, found.message_id)
        row.judgement = {**(row.judgement or {}), **values}

    return change


def _raw(raw: bytes | None) -> Callable[[Session, Request], None]:
    def change(session: Session, found: Request) -> None:
        session.delete(session.get_one(RawMail, found.message_id))
        session.flush()
        if raw is not None:
            session.add(RawMail(message_id=found.message_id, raw=raw))

    return change


def _another_open(session: Session, found: Request) -> None:
    row = session.get_one(Message, 2)
    session.add(
        request(5000, found.election_id, "", message_id=row.id, place=4, voter_id=found.voter_id, state="asked")
    )


def _of_same_message(session: Session, found: Request) -> None:
    session.add(
        request(5000, found.election_id, "", message_id=found.message_id, place=1, voter_id="V-101", state="declined")
    )


def _corrected(session: Session, found: Request) -> None:
    session.add(Correction(message_id=found.message_id, kinds=["question"], cause=None, account="clerk", at=NOW))


def _moved(session: Session, found: Request) -> None:
    made = RollImport(at=NOW, form="x", lines=2, added=0, changed=1, removed=0, refused=0, highest=0)
    session.add(made)
    session.flush()
    session.add(VoterChange(voter_id=found.voter_id, import_id=made.id, at=NOW, field="style", was="F-1", became="F-2"))


def _replaced(session: Session, found: Request) -> None:
    session.get_one(Ballot, found.judged["ballot"]).replaces = "5000018"


PICTURE = letter(FIRST).replace(
    b"Content-Type: text/plain; charset=utf-8\r\n\r\n",
    b'MIME-Version: 1.0\r\nContent-Type: multipart/mixed; boundary="zz"\r\n\r\n--zz\r\n\r\n'
    + SENTENCE.encode()
    + b"\r\n"
    b'--zz\r\nContent-Type: image/png; name="b.png"\r\nContent-Disposition: attachment; filename="b.png"\r\n\r\n',
)
UNSURE: dict[str, Callable[[Session, Request], None]] = {
    "standing likely": _of_request(standing="likely"),
    "standing unclear": _of_request(standing="unclear"),
    "nobody fits": _of_request(standing="none", voter_id=None),
    "no standing": _of_request(standing=None),
    **{
        f"proposed: {action}": _of_request(proposal=action.value)
        for action in Action
        if action not in (Action.REISSUE,)
    },
    "two people": _of_request(two_people=True),
    "waits for a second person": _of_request(state="second", first_by="supervisor"),
    "asked": _of_request(state="asked"),
    "on hold": _of_request(held_until=NOW + timedelta(days=1)),
    "with somebody else": _of_request(assigned_to="supervisor"),
    "taken back before": _of_request(decision_note="Taken back: she found it."),
    "no cause": _of_request(cause=None),
    "no kind": _of_request(kinds=[]),
    "two kinds": _of_request(kinds=["spoiled_ballot", "question"]),
    "a reply came back": _of_request(reasons=[{"rule": "trade.undelivered", "text": "It came back."}]),
    "voter not on the present roll": _of_voter(number=None),
    "voter inactive": _of_voter(status="inactive"),
    "address confidential": _of_voter(protected=True),
    "identification required": _of_voter(id_required=True),
    "judged by other rules": _of_judged(rules="0" * 64),
    "judged by no rules": _of_judged(rules=None),
    "election undecided": _of_judged(election_by="undecided"),
    "another ballot than judged": _of_judged(ballot="5000018"),
    "nobody to answer": _of_judged(may_answer=False),
    "another open request": _another_open,
    "another of the same message": _of_same_message,
    "corrected": _corrected,
    "roll changed since": _moved,
    "replaced before": _replaced,
    "a picture": _raw(PICTURE),
    "no letter": _raw(None),
    "empty letter": _raw(letter(FIRST).partition(b"Good morning")[0]),
    "message asks for more": _of_reading(
        kinds=[{"kind": k, "p": 0.99, "because": []} for k in ("spoiled_ballot", "address_change")]
    ),
    "reading not sure": _of_reading(kinds=[{"kind": "spoiled_ballot", "p": 0.94, "because": []}]),
    "nothing read": _of_reading(kinds=[]),
    **{
        f"noticed: {code}": _of_reading(notices=[{"code": code, "text": "x"}])
        for code in (
            "threat",
            "sender_failed",
            "hidden_text",
            "many_people",
            "ballot_already_sent",
            "conflict",
            "new_one",
        )
    },
}


@pytest.mark.parametrize("what", sorted(UNSURE))
def test_whatever_is_unsure_is_never_among_them_nor_decided_with_them(site: Site, what: str) -> None:
    add_clear_cases(site.database, 1)
    client = site.client("clerk")
    boxes = _boxes(_page(client))
    assert FIRST in boxes  # so it is this one thing that keeps it out
    with site.database.write() as session:
        UNSURE[what](session, session.get_one(Request, FIRST))
    assert FIRST not in _boxes(_page(client))
    with site.database.read() as session:
        version = session.get_one(Request, FIRST).version
    number, _, seen = boxes[FIRST].split("/")
    assert "0 of 1 approved" in _send(client, [f"{number}/{version}/{seen}"])
    assert _live(site, FIRST) == "issued"


@pytest.mark.parametrize(
    "at",
    [
        datetime(2026, 10, 26, 12, tzinfo=OFFICE),  # hardly back in time
        datetime(2026, 10, 31, 12, tzinfo=OFFICE),  # asked for by mail too late
        datetime(2026, 11, 4, 9, tzinfo=OFFICE),  # after the election
    ],
)
def test_after_a_deadline_nothing_is_clear(site: Site, at: datetime) -> None:
    add_clear_cases(site.database, 1)
    assert _boxes(_page(site.client("clerk")))
    site.clock.at = at
    assert not _boxes(_page(site.client("clerk")))


def test_while_no_official_has_adopted_the_rules_nothing_is_clear(unadopted_site: Site) -> None:
    add_clear_cases(unadopted_site.database, 1)
    assert not _boxes(_page(unadopted_site.client("clerk")))


def test_a_plain_answer_about_a_voter_who_is_certain_is_among_them_and_touches_no_ballot(site: Site) -> None:
    add_clear_cases(site.database, 1)
    with site.database.write() as session:
        found = session.get_one(Request, FIRST)
        found.proposal, found.kinds, found.cause = "answer", ["question"], None
        found.judged = {**found.judged, "topics": ["deadline"]}
        row = session.get_one(Message, FIRST)
        row.judgement = {"language": "en", "notices": [], "kinds": [{"kind": "question", "p": 0.99, "because": []}]}
    client = site.client("clerk")
    assert "1 of 1 approved" in _send(client, list(_boxes(_page(client)).values()))
    assert _live(site, FIRST) == "issued"


@pytest.fixture
def clear(site: Site) -> bulk.Facts:
    """What is known of a case that nothing speaks against."""
    add_clear_cases(site.database, 1)
    with site.database.read() as session:
        found = session.get_one(Request, FIRST)
        force = offices.of(session, found.election_id, at=NOW)
        assert force is not None
        row = session.get_one(Message, FIRST)
        facts = bulk.gather(session, found, row, force, at=NOW, mailed=date(2026, 9, 29))
    assert bulk.doubts(facts, by="clerk", at=NOW) == []
    return facts


PURE: list[dict[str, Any]] = [
    {"standing": "likely"},
    {"standing": None},
    {"two_people": True},
    {"state": "second"},
    {"state": "done"},
    {"held_until": NOW + timedelta(minutes=1)},
    {"assigned_to": "somebody"},
    {"kinds": ["question", "spoiled_ballot"]},
    *({"proposal": action.value} for action in Action if action is not Action.REISSUE),
    *({"kinds": [kind.value]} for kind in Kind if kind is not Kind.SPOILED_BALLOT),
]


@given(chosen=st.lists(st.sampled_from(PURE), min_size=1, max_size=4))
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_mixture_with_one_doubt_in_it_is_clear(clear: bulk.Facts, chosen: list[dict[str, Any]]) -> None:
    """However many unsure things come together, none makes up for another."""
    changed = {name: value for values in chosen for name, value in values.items()}
    as_it_was = {name: getattr(clear.request, name) for name in changed}
    try:
        for name, value in changed.items():
            setattr(clear.request, name, value)
        assert bulk.doubts(clear, by="clerk", at=NOW)
    finally:
        for name, value in as_it_was.items():
            setattr(clear.request, name, value)


@pytest.mark.parametrize(
    ("text", "phrases", "told"),
    [
        ("Hello. I spilled tea on it! Thanks.", ["spilled tea"], "I spilled tea on it!"),
        ("안녕하세요. 커피를 쏟았습니다. 감사합니다.", ["커피를 쏟"], "커피를 쏟았습니다."),
        ("您好。选票弄脏了。谢谢。", ["弄脏"], "选票弄脏了。"),
        ("No end here", ["nowhere"], "No end here"),
        ("A line\nbroken in two is one. Next.", ["broken in"], "A line broken in two is one."),
        ("", [], ""),
        ("x" * 500, ["x"], "x" * 240 + "…"),
    ],
)
def test_one_sentence_is_the_one_that_holds_the_words_that_decided(text: str, phrases: list[str], told: str) -> None:
    assert sentence(text, phrases) == told
