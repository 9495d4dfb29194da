"""What a mail holds is text on every page that shows it, whatever it holds and wherever it stands in the mail."""

from __future__ import annotations

import html
import re
from html.parser import HTMLParser

from sqlalchemy import select

from replacements.store.tables import Message, Request
from tests.web.hostile import MARK, PAYLOADS, RUNS, take_in
from tests.web.invented_office import NOW, Site

# Where words of a mail may stand in a tag of ours; anywhere else they could do something.
MAY_HOLD_WORDS = {"value", "alt", "aria-label", "title"}
NEVER = {"iframe", "object", "embed", "base", "template", "math"}


class Tags(HTMLParser):
    """The tags of a page, and what is wrong with them."""

    def __init__(self, scripts: tuple[str, ...]) -> None:
        super().__init__()
        self.scripts = scripts
        self.wrong: list[str] = []
        self.words = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        bad = MARK in tag or tag in NEVER or (tag == "meta" and "http-equiv" in given)
        bad = bad or (tag == "script" and str(given.get("src")).split("?")[0] not in self.scripts)
        for name, value in attrs:
            bad = bad or name.startswith("on") or name == "style" or MARK in name
            if name not in MAY_HOLD_WORDS:
                text = (value or "").strip().lower()
                bad = bad or MARK in text or text.startswith(("javascript:", "data:text", "vbscript:", "//"))
        if bad:
            self.wrong.append(str(self.get_starttag_text()))

    def handle_data(self, data: str) -> None:
        self.words += data


def test_there_are_a_hundred_ways_and_more() -> None:
    assert len(set(PAYLOADS)) >= 100
    assert all(MARK in payload for payload in PAYLOADS)


def test_a_mail_through_intake_is_text_on_every_page_that_shows_it(site: Site) -> None:
    messages = take_in(site.database, PAYLOADS, at=NOW)
    with site.database.read() as session:
        states = set(session.scalars(select(Message.state).where(Message.id.in_(messages))))
        requests = session.scalars(select(Request.id).where(Request.message_id.in_(messages))).all()
    assert states <= {"read", "filed"}
    assert len(requests) >= 100
    clerk, boss = site.client("clerk"), site.client("supervisor")
    pages = [("/requests/" + str(number), clerk) for number in requests]
    leaf = "/requests/?state=all"
    while leaf:
        pages.append((leaf, clerk))
        further = re.search(r'href="([^"]+)" rel="next"', clerk.get(leaf).get_data(as_text=True))
        leaf = html.unescape(further.group(1)) if further else ""
    pages += [
        ("/", boss),
        ("/reissued/", boss),
        ("/mailing", boss),
        ("/week/", boss),
        ("/week/2026-09-28/2026-10-04/places", boss),
        ("/week/2026-09-28/2026-10-04/proposals", boss),
        ("/ledger/", boss),
    ]
    pages += [("/health", boss), ("/rules/", boss), ("/texts/", boss), ("/people/", boss), ("/return-desk/", boss)]
    shown = 0
    for number in messages[::4]:
        assert clerk.post(f"/messages/{number}/pictures", data={"why": "to help the voter"}).status_code == 303
        pages.append((f"/messages/{number}/pictures", clerk))
    for address, client in pages:
        answer = client.get(address)
        assert answer.status_code == 200, address
        tags = Tags(("/static/live.js", "/static/desk.js", "/static/keys.js"))
        tags.feed(answer.get_data(as_text=True))
        tags.close()
        assert tags.wrong == [], address
        shown += MARK in tags.words
    assert shown >= len(requests)  # the words do stand on the pages, as words


def test_a_preview_of_what_would_happen_shows_no_more_than_words(site: Site) -> None:
    [number] = take_in(site.database, PAYLOADS[1:2], at=NOW)
    with site.database.write() as session:
        request = session.scalars(select(Request).where(Request.message_id == number)).one()
        session.get_one(Message, number).sender = "back@post.example"  # no mail could go to the address that it names
        request.judged = request.judged | {"may_answer": True}
    form = {"version": str(request.version), "action": "ask_identity", "note": PAYLOADS[1]}
    answer = site.client("clerk").post(f"/requests/{request.id}/preview", data=form)
    tags = Tags(())
    tags.feed(answer.get_data(as_text=True))
    assert answer.status_code == 200
    assert tags.wrong == []


def test_what_is_looked_up_comes_back_as_words(site: Site) -> None:
    client = site.client("clerk")
    for payload in PAYLOADS:
        tags = Tags(("/static/keys.js",))
        tags.feed(client.post("/requests/search", data={"wanted": payload}).get_data(as_text=True))
        assert tags.wrong == [], payload


def test_the_eye_of_these_tests_sees_each_of_the_ways() -> None:
    for way in RUNS:
        tags = Tags(())
        tags.feed(f"<p>{way}</p>")
        tags.close()
        assert tags.wrong, way
