"""In a real browser, with the policy that forbids foreign scripts put aside: still nothing of a mail runs."""

from __future__ import annotations

from selenium.common.exceptions import NoAlertPresentException
from selenium.webdriver import Chrome
from sqlalchemy import select

from replacements.store.tables import Request
from tests.browser.looking import Looker
from tests.web.hostile import MARK, OTHERS, PAYLOADS, RUNS, take_in
from tests.web.invented_office import NOW, Site

SAMPLE = (*RUNS, *OTHERS, *PAYLOADS[12::9])


def _said(browser: Chrome) -> str | None:
    try:
        return str(browser.switch_to.alert.text)
    except NoAlertPresentException:
        return None


def test_no_word_of_a_mail_runs(browser: Chrome, address: str, site: Site) -> None:
    take_in(site.database, SAMPLE, at=NOW)
    with site.database.read() as session:
        requests = session.scalars(select(Request.id).where(Request.id > 2)).all()
    assert len(requests) == len(SAMPLE)
    Looker(browser, address).sign_in(site, "clerk")
    browser.execute_cdp_cmd("Page.enable", {})
    browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
    for path in (*(f"/requests/{number}" for number in requests), "/requests/?state=all"):
        browser.get(address + path)
        assert _said(browser) is None, path
        assert browser.current_url == address + path
        browser.execute_script("document.querySelectorAll('details').forEach((one) => one.open = true)")
        assert _said(browser) is None, path
        ours = "return [...document.scripts].every((one) => one.src.startsWith(location.origin + '/static/'))"
        assert browser.execute_script(ours)


def test_without_the_policy_a_script_of_a_page_would_run(browser: Chrome, address: str) -> None:
    """So that the test above can fail."""
    browser.execute_cdp_cmd("Page.enable", {})
    browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
    browser.get(f"{address}/sign-in")
    browser.execute_script("document.body.insertAdjacentHTML('beforeend', arguments[0])", RUNS[1])
    browser.set_script_timeout(5)
    assert _waits(browser) == MARK


def _waits(browser: Chrome) -> str | None:
    for _ in range(50):
        said = _said(browser)
        if said is not None:
            browser.switch_to.alert.accept()
            return said
    return None
