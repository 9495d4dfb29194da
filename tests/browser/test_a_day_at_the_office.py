"""In a real browser: a clerk's decision, and what every page owes to whoever sees or moves otherwise."""

from __future__ import annotations

from selenium.webdriver import Chrome, Keys
from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.wait import WebDriverWait

from replacements.store.tables import Ballot, Packet, Request
from tests.servers.browsing import next_page
from tests.web.invented_office import PASSWORD, Site


def _sign_in(browser: Chrome, address: str, name: str) -> None:
    browser.get(f"{address}/sign-in")
    field = _field_with_the_focus(browser)
    with next_page(browser):
        field.send_keys(name, Keys.TAB, PASSWORD, Keys.ENTER)
    assert "Today" in browser.title


def _focused(browser: Chrome) -> WebElement:
    return browser.switch_to.active_element


def _field_with_the_focus(browser: Chrome) -> WebElement:
    """The field that the page itself puts the cursor into, once it has: a busy machine takes a moment."""
    WebDriverWait(browser, 20).until(lambda b: b.switch_to.active_element.tag_name == "input")
    return _focused(browser)


def _text(browser: Chrome) -> str:
    return browser.find_element(By.TAG_NAME, "main").text


def test_a_clerk_signs_in_opens_a_request_and_approves_it(browser: Chrome, address: str, site: Site) -> None:
    _sign_in(browser, address, "clerk")
    for link in ("Work through them", "1"):
        with next_page(browser):
            browser.find_element(By.LINK_TEXT, link).click()
    assert browser.find_element(By.TAG_NAME, "mark").text == "coffee went all over"
    assert not browser.find_elements(By.CSS_SELECTOR, "main img")
    with next_page(browser):
        browser.find_element(By.XPATH, "//button[text()='Approve as proposed']").click()
    assert browser.find_elements(By.CSS_SELECTOR, ".say.good")
    with site.database.read() as session:
        request = session.get_one(Request, 1)
        old = session.get_one(Ballot, "5000018")
        new = session.query(Ballot).filter_by(replaces="5000018").one()
        assert (request.state, request.decided_by, request.issued_ballot) == ("done", "clerk", new.number)
        assert (old.state, new.state) == ("voided", "issued")
        assert session.query(Packet).filter_by(ballot_number=new.number).one().state == "queued"
        assert new.number in _text(browser)


def test_a_clerk_who_comes_second_is_told_plainly(browser: Chrome, address: str, site: Site) -> None:
    _sign_in(browser, address, "clerk")
    browser.get(f"{address}/requests/1")
    with site.database.write() as session:
        session.get_one(Request, 1).version += 1
    with next_page(browser):
        browser.find_element(By.XPATH, "//button[text()='Approve as proposed']").click()
    assert browser.find_elements(By.CSS_SELECTOR, ".say.stop")
    assert "Someone else decided this meanwhile" in _text(browser)
    with site.database.read() as session:
        assert session.get_one(Ballot, "5000018").state == "issued"


def test_every_page_fits_a_narrow_screen(browser: Chrome, address: str) -> None:
    """WCAG 2.2, 1.4.10: no scrolling in two directions at 320 CSS pixels; wide tables scroll within themselves."""
    _sign_in(browser, address, "supervisor")
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": 320, "height": 800, "deviceScaleFactor": 1, "mobile": False}
    )
    pages = (
        "",
        "requests/",
        "requests/1",
        "reissued/",
        "mailing",
        "return-desk/",
        "return-desk/list",
        "return-desk/brought-back",
        "return-desk/statements",
        "week/",
        "week/2026-09-28/2026-10-04/places",
        "week/2026-09-28/2026-10-04/proposals",
        "ledger/",
        "rules/",
        "people/",
    )
    for page in (*pages, "health", "my-password", "messages/1/pictures"):
        browser.get(f"{address}/{page}")
        width = browser.execute_script("return document.documentElement.scrollWidth")
        assert width <= 320, (page, width)


def test_what_is_pressed_is_large_enough_to_hit(browser: Chrome, address: str) -> None:
    """WCAG 2.2, 2.5.8: 24 by 24 CSS pixels; links within a sentence are exempt."""
    _sign_in(browser, address, "supervisor")
    for page in (
        "",
        "requests/",
        "requests/1",
        "mailing",
        "return-desk/",
        "return-desk/statements",
        "people/",
        "rules/",
    ):
        browser.get(f"{address}/{page}")
        browser.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
        for control in browser.find_elements(
            By.CSS_SELECTOR, "button, summary, select, textarea, nav a, label.choice, input:not([type=hidden])"
        ):
            parent_label = control.get_attribute("type") in ("checkbox", "radio")  # its label is pressed with it
            if control.is_displayed() and not parent_label:
                size = control.size
                assert min(size["width"], size["height"]) >= 24, (page, control.text, size)


def test_the_focus_can_be_seen_and_the_first_stop_leads_past_the_menu(browser: Chrome, address: str) -> None:
    """WCAG 2.2, 2.4.1 and 2.4.7."""
    _sign_in(browser, address, "clerk")
    browser.find_element(By.TAG_NAME, "body").send_keys(Keys.TAB)
    first = _focused(browser)
    assert first.text == "Go to the content"
    assert first.value_of_css_property("outline-style") == "solid"
    assert first.location["x"] >= 0
