"""The page on which supervisors change what replies say."""

from __future__ import annotations

from html import unescape

import pytest
from flask.testing import FlaskClient

from replacements.people.permissions import Role
from replacements.replies.sources import languages, names, own
from replacements.requests.judging import Action
from replacements.store.tables import LedgerEntry, ReplyText, Request
from tests.web.invented_office import PERSONAL, Site
from tests.web.test_what_every_page_carries import outline

ADDRESS = "/texts/en/reissue"
REISSUE = own("en", "reissue")
assert REISSUE is not None
WARMER = REISSUE.body.replace("We are sending you a new ballot.", "No worries, a new ballot is coming.")


@pytest.fixture
def second(site: Site) -> FlaskClient:
    """Another supervisor, signed in."""
    return site.client(site.hire("sybil", Role.SUPERVISOR))


def sent(client: FlaskClient, do: str = "keep", **changed: str) -> tuple[int, str]:
    form = {"do": do, "subject": REISSUE.subject, "body": WARMER, "reason": "Warmer", "seen": "0"} | changed
    answer = client.post(ADDRESS, data=form)
    return answer.status_code, unescape(answer.get_data(as_text=True))


def draft(site: Site) -> str:
    return unescape(site.see("clerk", "/requests/1").get_data(as_text=True))


def test_an_edited_text_is_used_in_the_next_draft_once_another_supervisor_has_approved_it(
    site: Site, second: FlaskClient
) -> None:
    writer = site.client("supervisor")
    assert sent(writer)[0] == 303
    assert "We are sending you a new ballot." in draft(site)
    page = unescape(writer.get(ADDRESS).get_data(as_text=True))
    assert "Another supervisor must approve it" in page
    assert writer.post("/texts/versions/1", data={"do": "approve"}).status_code == 303
    assert "We are sending you a new ballot." in draft(site)
    page = unescape(second.get(ADDRESS).get_data(as_text=True))
    assert "[− We are sending you −]" in page
    assert "[+ No worries, +]" in page
    second.post("/texts/versions/1", data={"do": "approve"})
    assert "No worries, a new ballot is coming." in draft(site)
    with site.database.read() as session:
        events = [(e.event, e.by) for e in session.query(LedgerEntry).filter(LedgerEntry.event.like("reply_text%"))]
    assert events == [("reply_text_written", "supervisor"), ("reply_text_approved", "sybil")]
    assert "Version 1" in writer.get("/texts/").get_data(as_text=True)


def test_a_refused_text_is_shown_again_with_every_reason_and_nothing_is_lost(site: Site) -> None:
    code, page = sent(
        site.client("supervisor"),
        subject="Your ballot",
        body="Dear [name], {{ steps }} <b>now</b>",
        reason="My own words",
    )
    assert code == 400
    for told in ("Not kept", "“[name]”", "“<b>”", "{{ old_ballot_rule }} is missing", "{{ in_time }} is missing"):
        assert told in page
    for typed in ("Dear [name], {{ steps }} <b>now</b>", "My own words", 'value="Your ballot"'):
        assert typed in page
    with site.database.read() as session:
        assert session.query(ReplyText).count() == 0


def test_checking_shows_the_typed_words_with_a_real_request_and_keeps_nothing(site: Site) -> None:
    code, page = sent(site.client("supervisor"), do="look", reason="")
    assert code == 200
    assert "The text passes every check. Nothing is kept yet." in page
    assert "No worries, a new ballot is coming." in page
    assert "Hello Ottoline Brackwater," in page
    assert "request 1" in page or "request 2" in page
    assert "<ol><li>Mark it. Take your time.</li>" in page
    assert "Reads at school grade" in page
    with site.database.read() as session:
        assert session.query(ReplyText).count() == 0


def test_an_observer_sees_texts_with_an_invented_voter_only(site: Site) -> None:
    page = unescape(site.see("observer", ADDRESS).get_data(as_text=True))
    assert "an invented voter" in page
    assert "Wren Applegarth" in page
    assert not [word for word in PERSONAL if word in page]
    assert "<textarea" not in page


def test_whoever_comes_second_is_told_and_keeps_their_words(site: Site, second: FlaskClient) -> None:
    sent(site.client("supervisor"))
    code, page = sent(second, body=WARMER.replace("No worries", "Do not worry"))
    assert code == 400
    assert "Somebody else wrote a version meanwhile" in page
    assert "Do not worry" in page
    assert 'name="seen" value="1"' in page


def test_declining_needs_a_reason_and_older_versions_stay_to_be_compared(site: Site, second: FlaskClient) -> None:
    sent(site.client("supervisor"))
    second.post("/texts/versions/1", data={"do": "decline", "note": ""})
    assert "waits for a second supervisor" in second.get(ADDRESS).get_data(as_text=True)
    second.post("/texts/versions/1", data={"do": "decline", "note": "Too familiar"})
    page = unescape(second.get(ADDRESS).get_data(as_text=True))
    assert "Too familiar" in page
    assert "waits for a second supervisor" not in page
    old = unescape(second.get(f"{ADDRESS}/1").get_data(as_text=True))
    assert "[+ No worries" in old
    assert "This is the version in use" in second.get(f"{ADDRESS}/0").get_data(as_text=True)
    assert second.get(f"{ADDRESS}/2").status_code == 404


def test_back_to_the_projects_own_text(site: Site, second: FlaskClient) -> None:
    writer = site.client("supervisor")
    sent(writer)
    second.post("/texts/versions/1", data={"do": "approve"})
    assert writer.post(f"{ADDRESS}/original", data={"seen": "1", "reason": "Complaints"}).status_code == 303
    assert "No worries" in draft(site)
    second.post("/texts/versions/2", data={"do": "approve"})
    assert "We are sending you a new ballot." in draft(site)
    assert "the project's own text again, since version 2" in unescape(writer.get(ADDRESS).get_data(as_text=True))


def test_every_text_opens_in_every_language_with_its_words_marked_in_that_language(site: Site) -> None:
    client = site.client("supervisor")
    for language in languages():
        for name in names():
            answer = client.get(f"/texts/{language}/{name.replace('/', '.')}")
            assert answer.status_code == 200, (language, name)
            page = outline(answer.get_data(as_text=True))
            areas = page.all("textarea")
            assert [a["lang"] for a in areas] == [language] * (name != "answer/several"), name


@pytest.mark.parametrize(
    "address",
    ["/texts/fr/reissue", "/texts/en/weather", "/texts/en/..reissue", "/texts/en/terms", "/texts/versions/reissue"],
)
def test_what_is_no_text_is_not_there(site: Site, address: str) -> None:
    assert site.see("supervisor", address).status_code == 404
    assert site.client("supervisor").post("/texts/versions/99", data={"do": "approve"}).status_code == 404


def test_what_somebody_types_is_never_markup(site: Site) -> None:
    _, page = sent(site.client("supervisor"), body="<script>alert(1)</script>{{ 7*7 }}", reason='"><img src=x>')
    raw = site.client("supervisor").post(
        ADDRESS, data={"do": "look", "subject": "<i>", "body": "<script>alert(1)</script>", "reason": "", "seen": "0"}
    )
    assert "<script" not in raw.get_data(as_text=True)
    assert "Not kept" in page


def test_the_preview_takes_the_newest_request_that_the_reply_would_go_to(site: Site) -> None:
    with site.database.write() as session:
        request = session.get_one(Request, 1)
        request.proposal = Action.ANSWER.value
        request.judged = request.judged | {"topics": ["pen"]}
        request.language = "es"
    client = site.client("supervisor")
    assert "/requests/1" in client.get("/texts/es/answer.pen").get_data(as_text=True).split("How it reads")[1]
    assert "invented voter" in client.get("/texts/es/answer.witness").get_data(as_text=True)
