"""In a real browser: the front page follows what happens, can be stopped, and takes nothing out of a reader's hands."""

from __future__ import annotations

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.support.wait import WebDriverWait

from replacements.store.tables import Request, SignIn
from replacements.web import live
from tests.browser.looking import Looker
from tests.web.invented_office import Site


@pytest.fixture
def front(browser: Chrome, address: str, site: Site, monkeypatch: pytest.MonkeyPatch) -> Chrome:
    monkeypatch.setattr(live, "LOOK_EVERY", 0.3)
    monkeypatch.setattr(live, "BACK_SOON", 300)
    Looker(browser, address).sign_in(site, "supervisor")
    browser.get(address + "/")
    _until(browser, "#following", "Kept up to date")
    return browser


def _until(browser: Chrome, where: str, words: str) -> None:
    WebDriverWait(browser, 30).until(lambda b: words in b.find_element(By.CSS_SELECTOR, where).text)


def _decide(site: Site, state: str) -> None:
    with site.database.write() as session:
        session.get_one(Request, 1).state = state


def test_what_happens_is_seen_and_said_without_loading_the_page(front: Chrome, site: Site) -> None:
    front.execute_script("window.same = true")
    _until(front, ".standing", "1\nThe oldest came")
    _decide(site, "declined")
    _until(front, ".standing", "0\nEverything is decided")
    _until(front, "#said", "0 wait for a clerk")
    assert front.execute_script("return window.same")


def test_the_focus_and_what_was_opened_stay(front: Chrome, site: Site) -> None:
    front.execute_script("document.getElementById('weeks-numbers').open = true")
    front.execute_script("document.querySelector('.day a[href*=\"state=second\"]').focus()")
    _decide(site, "second")
    _until(front, "#said", "1 for a second person")
    assert "state=second" in str(front.switch_to.active_element.get_attribute("href"))
    assert front.execute_script("return document.getElementById('weeks-numbers').open")


def test_it_can_be_stopped_and_followed_again(front: Chrome, site: Site) -> None:
    """WCAG 2.2, 2.2.2: what changes by itself can be stopped."""
    button = front.find_element(By.ID, "follow")
    button.click()
    _until(front, "#following", "Not kept up to date")
    _decide(site, "declined")
    front.execute_async_script("setTimeout(arguments[0], 1500)")
    assert "1\nThe oldest came" in front.find_element(By.CSS_SELECTOR, ".standing").text
    button.click()
    _until(front, ".standing", "0\nEverything is decided")


def test_a_stream_that_ends_is_opened_again(front: Chrome, site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "LONGEST", 0.0)
    front.refresh()
    _until(front, "#following", "Kept up to date")
    _decide(site, "declined")
    _until(front, ".standing", "0\nEverything is decided")


def test_who_is_signed_out_is_told_that_nothing_comes(front: Chrome, site: Site) -> None:
    with site.database.write() as session:
        for sign_in in session.query(SignIn):
            session.delete(sign_in)
    _until(front, "#following", "Not kept up to date: no answer")


def test_without_scripts_there_is_a_link(site: Site) -> None:
    page = site.see("clerk", "/").get_data(as_text=True)
    assert '<a href="/">Look again</a>' in page
    assert 'id="follow" hidden' in page
