"""A clerk says what a message really asks: it is kept to teach by, and changes nothing else."""

from __future__ import annotations

import json

import pytest
from sqlalchemy import delete, select

from replacements.store.database import Database
from replacements.store.tables import Correction, LedgerEntry, RawMail, Request
from tests.web.invented_office import PERSONAL, Site

FORM = "The reading was wrong</summary>"


def _page(site: Site, role: str, number: int = 1) -> str:
    return site.see(role, f"/requests/{number}").get_data(as_text=True)


def _correct(site: Site, role: str = "clerk", **form: object) -> str:
    answer = site.client(role).post("/requests/1/reading", data=form, follow_redirects=True)
    return answer.get_data(as_text=True)


def _kept(database: Database) -> list[Correction]:
    with database.read() as session:
        return list(session.scalars(select(Correction).order_by(Correction.id)))


def _box(page: str, kind: str) -> str:
    """What the page says of one box."""
    (box,) = (label for label in page.split("<label") if f'name="kinds" value="{kind}"' in label)
    return box


def test_the_form_is_folded_and_ticked_as_the_message_was_read(site: Site) -> None:
    page = _page(site, "clerk")
    assert page.count(FORM) == 1
    assert page.split(FORM)[0].rsplit("<details", 1)[1].startswith("><summary")  # folded
    assert page.count('name="kinds"') == 10
    assert " checked" in _box(page, "spoiled_ballot")
    assert " checked" not in _box(page, "question")
    assert '<option value="spoiled" selected>' in page
    assert "changes nothing here" in page


def test_what_a_clerk_says_is_kept_with_name_and_moment_and_recorded(site: Site) -> None:
    page = _correct(site, kinds=["question", "not_received"], cause="lost")
    (kept,) = _kept(site.database)
    assert (kept.message_id, kept.kinds, kept.cause) == (1, ["not_received", "question"], "lost")
    assert (kept.account, kept.at) == ("clerk", site.clock.at)
    assert "Corrected by clerk" in page
    assert " checked" in _box(page, "question")
    assert " checked" not in _box(page, "spoiled_ballot")
    with site.database.read() as session:
        entry = session.scalars(select(LedgerEntry).where(LedgerEntry.event == "reading_corrected")).one()
    assert entry.by == "clerk"
    assert json.loads(entry.details) == {"message": 1, "kinds": ["not_received", "question"], "cause": "lost"}


def test_a_correction_leaves_the_request_as_it_is(site: Site) -> None:
    before = _page(site, "clerk")
    with site.database.read() as session:
        was = session.get_one(Request, 1)
    _correct(site, kinds=["other"])
    with site.database.read() as session:
        now = session.get_one(Request, 1)
    for field in ("version", "state", "kinds", "cause", "proposal", "decision", "voter_id", "reply_draft"):
        assert getattr(now, field) == getattr(was, field), field
    assert 'name="version" value="1"' in before
    assert 'name="version" value="1"' in _page(site, "clerk")


def test_the_last_word_counts_and_the_first_stays_on_record(site: Site) -> None:
    _correct(site, kinds=["other"])
    page = _correct(site, "supervisor", kinds=["question"])
    assert [c.kinds for c in _kept(site.database)] == [["other"], ["question"]]
    assert "Corrected by supervisor" in page
    assert "Corrected by clerk" not in page


def test_a_cause_of_a_message_that_wants_no_ballot_is_left_out_and_said(site: Site) -> None:
    page = _correct(site, kinds=["question"], cause="spoiled")
    assert "The cause was left out" in page
    assert _kept(site.database)[0].cause is None


@pytest.mark.parametrize(
    "form", [{}, {"kinds": ["dragons"]}, {"kinds": ["spoiled_ballot"], "cause": "dragons"}, {"cause": "lost"}]
)
def test_nothing_is_kept_of_a_form_that_names_no_kind_or_an_unknown_one(site: Site, form: dict[str, object]) -> None:
    assert "Nothing was kept" in _correct(site, **form)
    assert _kept(site.database) == []


def test_a_request_that_is_not_there_cannot_be_corrected(site: Site) -> None:
    site.client("clerk").post("/requests/999/reading", data={"kinds": ["other"]})
    assert _kept(site.database) == []


@pytest.mark.parametrize("role", ["observer", "mail_room", "return_desk"])
def test_who_may_not_decide_may_not_correct(site: Site, role: str) -> None:
    answer = site.client(role).post("/requests/1/reading", data={"kinds": ["other"]})
    assert answer.status_code == 403
    assert _kept(site.database) == []


def test_an_observer_sees_that_it_was_corrected_but_no_form_and_no_word_of_the_voter(site: Site) -> None:
    _correct(site, kinds=["question"])
    page = _page(site, "observer")
    assert "Corrected by clerk" in page
    assert FORM not in page
    assert [word for word in PERSONAL if word.lower() in page.lower()] == []


def test_a_message_whose_mail_is_purged_asks_for_no_correction(site: Site) -> None:
    with site.database.write() as session:
        session.execute(delete(RawMail).where(RawMail.message_id == 1))
    assert FORM not in _page(site, "clerk")


def test_a_decided_request_can_still_be_corrected(site: Site) -> None:
    assert FORM in _page(site, "clerk", 2)
