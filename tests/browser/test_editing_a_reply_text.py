"""In a real browser: a supervisor changes a reply text, is refused, mends it, and a second one approves it."""

from __future__ import annotations

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By

from replacements.people.permissions import Role
from tests.browser.test_a_day_at_the_office import _sign_in, _text
from tests.servers.browsing import next_page
from tests.web.invented_office import Site

CAUTION = "{{ old_ballot_rule }}"


@pytest.fixture
def second(site: Site) -> str:
    """Another supervisor's account."""
    return site.hire("sybil", Role.SUPERVISOR)


def _press(browser: Chrome, words: str) -> None:
    with next_page(browser):
        browser.find_element(By.XPATH, f"//button[normalize-space()='{words}']").click()


def _follow(browser: Chrome, words: str) -> None:
    with next_page(browser):
        browser.find_element(By.PARTIAL_LINK_TEXT, words).click()


def _type(browser: Chrome, field: str, words: str) -> None:
    found = browser.find_element(By.ID, field)
    found.clear()
    found.send_keys(words)


def _typed(browser: Chrome, field: str) -> str:
    return browser.find_element(By.ID, field).get_property("value")  # type: ignore[return-value]


def _drafted(browser: Chrome, address: str) -> str:
    """The reply that would go with request 1 now."""
    browser.get(f"{address}/requests/1")
    return str(browser.find_element(By.NAME, "reply_shown").get_attribute("value"))


def test_a_text_is_refused_mended_approved_by_another_and_used_in_the_next_draft(
    browser: Chrome, address: str, site: Site, second: str
) -> None:
    _sign_in(browser, address, "supervisor")
    _follow(browser, "Reply texts")
    with next_page(browser):
        browser.find_element(By.CSS_SELECTOR, "a[href='/texts/en/reissue']").click()
    before = _typed(browser, "body")
    assert CAUTION in before
    _type(browser, "body", before.replace(CAUTION, "").replace("{{ in_time }}", "[when it is back]"))
    _type(browser, "reason", "Shorter")
    _press(browser, "Keep it for a second supervisor")
    told = browser.find_element(By.CSS_SELECTOR, ".say.stop").text
    assert "Not kept" in told
    for reason in (f"{CAUTION} is missing", "{{ in_time }} is missing", "“[when it is back]”"):
        assert reason in told
    assert "[when it is back]" in _typed(browser, "body")
    assert _typed(browser, "reason") == "Shorter"

    mended = before.replace("We are sending you a new ballot.", "It happens to many. We are sending you a new ballot.")
    _type(browser, "body", mended)
    _press(browser, "Check and show it")
    assert "passes every check" in browser.find_element(By.CSS_SELECTOR, ".say.good").text
    preview = browser.find_element(By.XPATH, "//section[h2='How it reads']").text
    assert "request 1" in preview
    assert "Hello Ottoline Brackwater," in preview
    assert "It happens to many." in preview
    _press(browser, "Keep it for a second supervisor")
    assert "once another supervisor has approved it" in _text(browser)
    assert not browser.find_elements(By.XPATH, "//button[starts-with(normalize-space(), 'Approve')]")
    assert "It happens to many." not in _drafted(browser, address)

    browser.delete_all_cookies()
    _sign_in(browser, address, second)
    browser.get(f"{address}/texts/")
    _follow(browser, "Reissue, English, version 1")
    assert browser.find_element(By.CSS_SELECTOR, "ins").text == "[+ It happens to many. +]"
    _press(browser, "Approve version 1")
    assert "replies are written with it from now on" in _text(browser)
    assert "It happens to many." in _drafted(browser, address)


def test_the_pages_of_texts_fit_a_narrow_screen_and_are_worked_with_keys_and_touch(
    browser: Chrome, address: str
) -> None:
    """WCAG 2.2, 1.4.10 and 2.5.8: 320 CSS pixels wide, 24 by 24 for what is pressed."""
    _sign_in(browser, address, "supervisor")
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": 320, "height": 800, "deviceScaleFactor": 1, "mobile": False}
    )
    for page in ("texts/", "texts/en/reissue", "texts/ko/answer.deadline", "texts/vi/phrases.steps/0"):
        browser.get(f"{address}/{page}")
        browser.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
        assert browser.execute_script("return document.documentElement.scrollWidth") <= 320, page
        for control in browser.find_elements(
            By.CSS_SELECTOR, "main button, summary, textarea, input:not([type=hidden]), a.cell"
        ):
            if control.is_displayed():
                assert min(control.size["width"], control.size["height"]) >= 24, (page, control.text)
