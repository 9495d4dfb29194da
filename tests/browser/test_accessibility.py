"""Every page in every state that it can be in, looked at by axe-core in a real browser: WCAG 2.2, levels A and AA."""

from __future__ import annotations

from datetime import timedelta

import pytest
from selenium.webdriver import ActionChains, Chrome, Keys
from selenium.webdriver.common.by import By

from replacements.store.tables import Mailing, Message, RawMail, Request
from tests.browser.looking import Looker, media, too_wide
from tests.servers.browsing import next_page
from tests.web.invented_office import NOW, Site, message
from tests.web.many_requests import add_clear_cases
from tests.web.test_waiting_on_the_pages import ask_for_a_statement
from tests.web.test_what_every_page_carries import PAGES
from tests.web.two_elections import undecided, with_a_runoff

KOREAN = (
    "From: =?utf-8?b?6rmA66+87KeA?= <minji@post.example>\r\nSubject: =?utf-8?b?7Yis7ZGc7Jqp7KeA?=\r\n"
    "Content-Type: text/plain; charset=utf-8\r\n\r\n안녕하세요. 투표용지가 젖었습니다. 새 투표용지를 보내 주세요.\r\n"
    "김민지\r\n"
).encode()
LIVE, VOID = "5000018", "5000026"


@pytest.fixture
def looker(browser: Chrome, address: str, site: Site) -> Looker:
    found = Looker(browser, address)
    found.sign_in(site, "supervisor")
    return found


def clean(looker: Looker, pages: int) -> None:
    assert not looker.found, "\n".join(looker.found)
    assert looker.pages == pages


def _state(site: Site, **values: object) -> None:
    with site.database.write() as session:
        request = session.get_one(Request, 1)
        for name, value in values.items():
            setattr(request, name, value)


def test_the_front_page_and_the_list_of_requests(looker: Looker, site: Site) -> None:
    looker.get("/", "front page with things not in order")
    looker.get("/requests/")
    looker.get("/requests/?state=second", "list without anything in it")
    looker.post("/requests/search", "found", wanted="Brackwater")
    looker.post("/requests/search", "nothing found", wanted="zzzz")
    looker.get("/reissued/")
    looker.get("/health")
    looker.post("/health/sending", "sending paused", do="pause", why="The text is wrong")
    looker.sign_in(site, "observer")
    looker.get("/", "front page of an observer")
    looker.get("/requests/", "list of an observer")
    looker.get("/health", "health for an observer")
    looker.sign_in(site, "mail_room")
    looker.get("/", "front page of the mail room")
    looker.sign_in(site, "return_desk")
    looker.get("/", "front page of the return desk")
    clean(looker, 13)


def test_a_request_in_every_state(looker: Looker, site: Site) -> None:
    looker.get("/requests/1", "waits")
    looker.get("/requests/2", "done")
    looker.post("/requests/1/preview", "what would happen", version="1", action="ask_identity", note="unsure")
    looker.post("/requests/1/approve", "approved", version="1")
    _state(site, state="second", two_people=True, first_by="clerk", decision=None, voided_ballot=None)
    looker.get("/requests/1", "second person")
    _state(site, state="waiting", proposal="read", standing="unclear", two_people=False, first_by=None)
    looker.get("/requests/1", "to read")
    looker.get("/messages/1/pictures", "pictures, before a reason is given")
    looker.post("/messages/1/pictures", "pictures", why="to help the voter")
    with site.database.write() as session:
        session.add(
            message(3, subject="투표용지", sender="minji@post.example", name="김민지", kinds=["spoiled_ballot"])
        )
        session.flush()
        session.add(RawMail(message_id=3, raw=KOREAN))
        session.get_one(Message, 3).judgement = {"language": "ko", "kinds": [], "notices": []}
        session.get_one(Request, 1).message_id = 3
        session.get_one(Message, 1).judgement = {"language": "ko", "kinds": [], "notices": []}
    looker.get("/requests/1", "a letter in Korean")
    letter = looker.browser.find_element(By.CSS_SELECTOR, ".letter")
    assert letter.get_attribute("lang") == "ko"
    assert letter.get_attribute("dir") == "auto"
    looker.sign_in(site, "observer")
    looker.get("/requests/1", "a request of an observer")
    clean(looker, 10)


def test_what_waits_for_voters_and_a_second_election(looker: Looker, site: Site) -> None:
    ask_for_a_statement(site)
    looker.get("/requests/1", "asked")
    looker.get("/", "front page with a voter asked")
    with_a_runoff(site, adopted=False)
    looker.get("/", "front page, two elections, one not adopted")
    looker.get("/requests/")
    looker.get("/mailing", "mailings of two elections")
    looker.get("/rules/", "rules not adopted")
    _state(site, state="waiting")
    undecided(site)
    looker.get("/requests/1", "which election")
    clean(looker, 7)


def test_a_mailing_from_open_to_signed_off(looker: Looker, site: Site) -> None:
    looker.get("/mailing", "fills")
    looker.post("/stock", "a count by one person", style="F-2", kind="received", number="5", note="")
    looker.post("/mailings/1/close", "closed")
    looker.get("/", "front page with a mailing to sign off")
    looker.post("/mailings/1/sign", "signed by one", picked="1", labelled="1", sealed="1")
    looker.sign_in(site, "mail_room")
    looker.get("/mailings/1", "closed, for the mail room")
    looker.post("/mailings/1/sign", "mailed", picked="1", labelled="1", sealed="1")
    with site.database.read() as session:
        assert session.get_one(Mailing, 1).state == "mailed"
    looker.sign_in(site, "observer")
    looker.get("/mailings/1", "mailed, for an observer")
    looker.get("/mailing", "nothing in it yet")
    clean(looker, 9)


def test_the_return_desk(looker: Looker) -> None:
    looker.get("/return-desk/", "nothing scanned")
    for number, name in ((LIVE, "live"), (VOID, "stop"), (LIVE, "again"), ("1234567", "unknown"), ("x", "misread")):
        looker.post("/return-desk/", name, number=number, key=f"key-{name}")
    looker.get("/return-desk/scans/1/undo")
    looker.get("/return-desk/list")
    looker.post("/return-desk/list", "answers to a list", numbers=f"{LIVE}\n{VOID}\n77", key="ab" * 16, counted="4")
    looker.get("/return-desk/brought-back")
    looker.post("/return-desk/brought-back", "brought back", reason="Unclaimed", number=VOID, key="cd" * 16)
    looker.get("/return-desk/statements")
    looker.post("/return-desk/statements", "a statement on the list", number=LIVE, lacking="signature")
    clean(looker, 13)


def test_the_record_and_the_office(looker: Looker, site: Site) -> None:
    looker.get("/week/")
    for part in ("", "/2026-10-04/places", "/2026-10-04/proposals"):
        looker.get(f"/week/2026-09-28{part}")
    for part in ("", "/2026-08-09/places", "/2026-08-09/proposals"):
        looker.get(f"/week/2026-08-03{part}", "a week without anything")
    looker.get("/ledger/")
    looker.post("/ledger/verify", "the ledger is whole")
    looker.post("/ledger/head", "a signed head")
    looker.post("/ledger/compare", "a head that does not fit", entries="2", digest="0" * 64)
    looker.get("/rules/")
    looker.get("/texts/")
    looker.get("/texts/en/reissue")
    looker.get("/texts/ko/answer.deadline", "a text in Korean")
    looker.post("/texts/en/reissue", "a text with mistakes", subject="", body="x {{ nothing }}", reason="", seen="0")
    looker.get("/people/")
    looker.post("/people/", "an account with mistakes", name="x", password="short", roles="clerk")
    looker.get("/my-password")
    looker.get("/my-sign-ins")
    looker.get("/people/1/sign-ins")
    clean(looker, 21)


def test_what_is_seen_when_something_is_wrong(looker: Looker, site: Site) -> None:
    looker.get("/nowhere", "nothing there")
    looker.get("/requests/1/approve", "only takes forms")
    site.clock.at = NOW + timedelta(days=40)
    looker.get("/sign-in")
    looker.post("/sign-in", "wrong password", name="clerk", password="wrong")
    site.clock.at = NOW
    looker.sign_in(site, "clerk")
    looker.get("/people/", "not one's own")
    looker.browser.delete_all_cookies()
    looker.browser.get(f"{looker.address}/sign-in")
    looker.browser.execute_script("document.querySelector('[name=csrf_token]').value = 'old'")
    looker.post("/sign-in", "a form too old", name="clerk", password="wrong")
    clean(looker, 6)


def test_every_address_that_the_pages_have(looker: Looker) -> None:
    """Whatever page is added is looked at here, if nowhere else."""
    for address in PAGES:
        looker.get(address)
    clean(looker, len(PAGES))


def test_every_page_is_reached_and_used_by_keyboard_alone(looker: Looker, site: Site) -> None:
    """WCAG 2.2, 2.1.1, 2.1.2, 2.4.3, 2.4.7, 2.4.11: each stop can be seen, none is a trap, none lies under another."""
    browser = looker.browser
    for path in ("/", "/requests/", "/requests/1", "/mailing", "/return-desk/", "/week/", "/ledger/", "/people/"):
        browser.get(looker.address + path)
        browser.execute_script("document.activeElement.blur(); window.scrollTo(0, 0)")
        wanted = browser.execute_script(
            "return [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea,"
            ' summary, [tabindex="0"]\')].filter((one) => one.checkVisibility() && !one.disabled).length'
        )
        dates = len(browser.find_elements(By.CSS_SELECTOR, "input[type=date]"))  # each has stops of its own inside
        stops: set[str] = set()
        for _ in range(wanted + 4 * dates + 3):
            ActionChains(browser).send_keys(Keys.TAB).perform()
            seen = browser.execute_script(
                """
                const one = document.activeElement;
                if (one === document.body) return null;
                window.numbered = window.numbered || new Map();
                if (!window.numbered.has(one)) window.numbered.set(one, window.numbered.size);
                const box = one.getBoundingClientRect(), style = getComputedStyle(one);
                const over = document.elementFromPoint(box.x + box.width / 2, box.y + Math.min(box.height, 40) / 2);
                return {which: String(window.numbered.get(one)), html: one.outerHTML.slice(0, 90),
                        outline: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
                        on: !over || one.contains(over) || over.contains(one) || one.matches("input[type=checkbox]")};
                """
            )
            if seen is None:
                continue
            stops.add(seen["which"])
            assert seen["outline"], (path, seen["html"])
            assert seen["on"], (path, seen["html"])
        assert len(stops) >= wanted, (path, len(stops), wanted)


def test_the_skip_link_leads_into_the_content(looker: Looker) -> None:
    browser = looker.browser
    browser.get(f"{looker.address}/requests/")
    browser.find_element(By.TAG_NAME, "body").send_keys(Keys.TAB)
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    browser.switch_to.active_element.send_keys(Keys.TAB)
    assert browser.execute_script("return document.querySelector('main').contains(document.activeElement)")


def test_nothing_is_told_by_a_ground_alone_where_the_system_gives_the_colours(looker: Looker) -> None:
    """WCAG 2.2, 1.4.1 and 1.4.11, in forced colours: where one is in the menu, what presses, what is not in order."""
    browser = looker.browser
    media(browser, forced_colors="active")
    looker.post("/return-desk/", look=False, number=VOID, key="forced")
    browser.get(looker.address + "/")
    edge = "const s = getComputedStyle(document.querySelector(arguments[0])); return s[arguments[1]]"
    here = browser.execute_script(edge, ".top nav a[aria-current]", "borderBottomColor")
    there = browser.execute_script(edge, ".top nav a:not([aria-current])", "borderBottomColor")
    assert here != there
    for part, side in ((".say.stop", "borderLeftStyle"), (".standing .pressing", "borderBottomStyle")):
        assert browser.execute_script(edge, part, side) == "solid"
    assert not too_wide(browser)
    media(browser)


def test_nothing_moves_for_who_wants_no_movement(looker: Looker) -> None:
    """WCAG 2.2, 2.3.3: no page animates, and none scrolls smoothly."""
    media(looker.browser, prefers_reduced_motion="reduce")
    for path in ("/", "/requests/1", "/return-desk/"):
        looker.browser.get(looker.address + path)
        moving = looker.browser.execute_script(
            "return [...document.querySelectorAll('*')].filter((one) => { const s = getComputedStyle(one);"
            " return s.animationName !== 'none' || parseFloat(s.transitionDuration) > 0"
            " || s.scrollBehavior === 'smooth' }).map((one) => one.tagName)"
        )
        assert moving == []
    media(looker.browser)


def test_a_mailing_on_paper_has_its_list_and_no_buttons(looker: Looker) -> None:
    looker.browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    looker.browser.get(f"{looker.address}/mailings/1")
    shown = "return [...document.querySelectorAll(arguments[0])].filter((one) => one.checkVisibility()).length"
    assert looker.browser.execute_script(shown, "main table") > 0
    assert looker.browser.execute_script(shown, "button, nav") == 0
    looker.browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_the_work_on_requests_held_handed_over_and_done_together(looker: Looker, site: Site) -> None:
    numbers = add_clear_cases(site.database, 4)
    looker.get("/requests/?whose=nobody&standing=certain&kind=spoiled_ballot", "narrowed down")
    looker.get("/requests/?kind=complaint&held=only", "nothing fits")
    looker.post(f"/requests/{numbers[0]}/assign", "given", to="clerk", seen="", note="Ask Ida about the address.")
    with site.database.read() as session:
        seen = session.get_one(Request, numbers[1]).version
    until = (NOW + timedelta(days=2)).date().isoformat()
    looker.post(f"/requests/{numbers[1]}/hold", "on hold", version=str(seen), until=until, note="A form is coming.")
    looker.get("/requests/?held=only", "those on hold")
    looker.get("/", "front page with one on hold")
    looker.get("/requests/together/", "clear cases")
    boxes = looker.browser.find_elements(By.NAME, "case")
    assert boxes
    looker.browser.execute_script("arguments[0].value = arguments[0].value.replace('/', '/9')", boxes[-1])
    with next_page(looker.browser):
        looker.browser.find_element(By.CSS_SELECTOR, "form[action='/requests/together/'] button").click()
    looker.look("what came of each, one of them changed meanwhile")
    looker.get("/requests/together/", "no clear case left or one")
    looker.get(f"/requests/{numbers[0]}")
    looker.browser.find_element(By.TAG_NAME, "body").send_keys("?")
    looker.look("the keys of the page")
    looker.get("/keys/")
    clean(looker, 12)
