"""The return desk in a real browser: by keyboard only, with a scanner's speed, while the connection comes and goes."""

from __future__ import annotations

import base64
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium.webdriver import Chrome, Keys
from selenium.webdriver.common.by import By
from sqlalchemy import select

from replacements.store.tables import Ballot, LedgerEntry
from tests.servers.browsing import next_page, until
from tests.web.invented_office import PASSWORD, REPLACEMENT, Site

LIVE, VOID = "5000018", "5000026"
# Where set, each step leaves a picture there for whoever wants to see it.
PICTURES = os.environ.get("DESK_PICTURES", "")


@pytest.fixture
def desk(browser: Chrome, address: str) -> Iterator[Chrome]:
    """Signed in as the return desk, on its page, the cursor in the number field. Nothing here was clicked."""
    browser.get(f"{address}/sign-in")
    until(lambda: browser.switch_to.active_element.tag_name == "input", "a field with the cursor")
    with next_page(browser):
        browser.switch_to.active_element.send_keys("return_desk", Keys.TAB, PASSWORD, Keys.ENTER)
    open_desk(browser, address)
    yield browser
    online(browser)
    browser.execute_script("sessionStorage.clear()")


def open_desk(browser: Chrome, address: str) -> None:
    browser.get(f"{address}/return-desk/")
    until(lambda: browser.execute_script("return document.documentElement.dataset.desk === 'ready'"), "the script")


def keys(browser: Chrome, *typed: str) -> None:
    """Type into whatever has the cursor, as a scanner does."""
    browser.switch_to.active_element.send_keys(*typed)


def answer(browser: Chrome) -> str:
    return browser.find_element(By.ID, "answer").text


def scan(browser: Chrome, number: str, expected: str) -> str:
    keys(browser, number, Keys.ENTER)
    until(lambda: expected in answer(browser), f"{expected} for {number}, not {answer(browser)!r}")
    assert browser.switch_to.active_element.get_attribute("id") == "number"
    assert browser.switch_to.active_element.get_attribute("value") == ""
    return answer(browser)


def offline(browser: Chrome) -> None:
    browser.execute_cdp_cmd("Network.enable", {})
    conditions = {"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0}
    browser.execute_cdp_cmd("Network.emulateNetworkConditions", conditions)


def online(browser: Chrome) -> None:
    conditions = {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
    browser.execute_cdp_cmd("Network.emulateNetworkConditions", conditions)


def picture(browser: Chrome, name: str) -> None:
    if PICTURES:
        shot = browser.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True})
        (Path(PICTURES) / f"{name}.png").write_bytes(base64.b64decode(shot["data"]))


def by_desk(site: Site) -> list[str]:
    with site.database.read() as session:
        rows = session.scalars(select(LedgerEntry).where(LedgerEntry.by == "return_desk").order_by(LedgerEntry.seq))
        return [entry.event for entry in rows]


def test_the_desk_is_worked_without_a_mouse(desk: Chrome, site: Site) -> None:
    scan(desk, LIVE, "LIVE – accept for checking")
    picture(desk, "live")
    assert REPLACEMENT in scan(desk, VOID, "STOP")
    picture(desk, "stop")
    scan(desk, "1234567", "NOT ONE OF OURS")
    picture(desk, "unknown")
    scan(desk, f"{REPLACEMENT[:-1]}0", "READ IT AGAIN")
    picture(desk, "misread")
    scan(desk, LIVE, "SCANNED TWICE")
    picture(desk, "twice")
    assert len(desk.find_elements(By.CSS_SELECTOR, "#scans tbody tr")) == 5
    events = ["returned", "returned_after_void", "returned_unknown", "returned_misread", "returned_again"]
    assert by_desk(site) == events
    desk.refresh()
    assert by_desk(site) == events  # loading the page again takes nothing in
    assert len(desk.find_elements(By.CSS_SELECTOR, "#scans tbody tr")) == 5


def test_a_mistake_is_undone_without_a_mouse(desk: Chrome, site: Site) -> None:
    scan(desk, LIVE, "LIVE")
    for _ in range(12):  # through the buttons and the switch to the first link of the list
        keys(desk, Keys.TAB)
        if desk.switch_to.active_element.text == "Undo":
            break
    with next_page(desk):
        keys(desk, Keys.ENTER)
    desk.find_element(By.ID, "why").send_keys("The number was m", Keys.TAB, "8 for 6")
    picture(desk, "undo")
    with next_page(desk):
        keys(desk, Keys.ENTER)
    assert "Undone" in desk.find_element(By.CSS_SELECTOR, ".say.good").text
    with site.database.read() as session:
        assert session.get_one(Ballot, LIVE).state == "issued"


def test_a_pile_scanned_faster_than_it_is_answered_is_answered_in_its_order(desk: Chrome, site: Site) -> None:
    numbers = [f"{n}" for n in range(7_000_001, 7_000_013)]
    keys(desk, *(part for number in numbers for part in (number, Keys.ENTER)))
    until(lambda: len(by_desk(site)) == len(numbers), "every number of the pile on the ledger")
    until(lambda: numbers[-1] in answer(desk) and "NOT ONE" in answer(desk), "the last answer")
    shown = [cell.text for cell in desk.find_elements(By.CSS_SELECTOR, "#scans tbody th")]
    assert shown == numbers[::-1]


def test_what_is_scanned_while_the_connection_is_away_is_kept_and_never_called_live(desk: Chrome, site: Site) -> None:
    scan(desk, VOID, "STOP")
    offline(desk)
    for number in (LIVE, "1234567", REPLACEMENT):
        scan(desk, number, "NOT YET LOOKED UP")
        assert "LIVE" not in answer(desk)
    waiting = desk.find_element(By.ID, "waiting")
    until(lambda: len(waiting.find_elements(By.TAG_NAME, "li")) == 3, "three numbers kept on the page")
    assert [row.text for row in waiting.find_elements(By.TAG_NAME, "li")] == [
        f"{number} – not yet looked up" for number in (LIVE, "1234567", REPLACEMENT)
    ]
    until(lambda: "3 numbers kept on this page" in desk.find_element(By.ID, "line").text, "how many are kept")
    picture(desk, "away")
    assert by_desk(site) == ["returned_after_void"]
    online(desk)
    until(lambda: "LIVE – accept" in answer(desk), "the last answer")
    assert by_desk(site) == ["returned_after_void", "returned", "returned_unknown", "returned"]
    line = desk.find_element(By.ID, "line").text
    assert "The connection is back: 3 numbers looked up now, 2 live." in line
    assert "find these envelopes first: 1234567 (Not one of ours)" in line
    assert not waiting.is_displayed()
    picture(desk, "back")
    scan(desk, "1234567", "NOT ONE OF OURS")
    assert "find these envelopes first" in desk.find_element(By.ID, "line").text  # until somebody has found them
    desk.find_element(By.ID, "found").send_keys(Keys.ENTER)
    assert desk.find_element(By.ID, "line").text == ""
    assert desk.switch_to.active_element.get_attribute("id") == "number"


def test_what_is_kept_survives_loading_the_page_again(desk: Chrome, address: str, site: Site) -> None:
    offline(desk)
    scan(desk, LIVE, "NOT YET LOOKED UP")
    until(lambda: "1 number kept" in desk.find_element(By.ID, "line").text, "how many are kept")
    online(desk)
    with site.database.read() as session:
        seen = len(session.scalars(select(LedgerEntry)).all())
    assert seen > 0
    desk.execute_script("window.stop()")
    open_desk(desk, address)
    until(lambda: "returned" in by_desk(site), "the number on the ledger")
    assert by_desk(site) == ["returned"]  # once, whether or not the first page sent it as well


def test_an_answer_that_is_lost_on_the_way_does_not_take_the_ballot_in_twice(desk: Chrome, site: Site) -> None:
    desk.execute_script(
        "const real = window.fetch; let lost = 0;"
        "window.fetch = async (...all) => { const answer = await real(...all);"
        "if (lost++ < 1) throw new TypeError('lost'); return answer; };"
    )
    keys(desk, LIVE, Keys.ENTER)
    until(lambda: "LIVE – accept" in answer(desk), "the answer of the second try")
    assert "twice" not in answer(desk).lower()
    assert by_desk(site) == ["returned"]


def test_who_is_signed_out_loses_no_number(desk: Chrome, address: str, site: Site) -> None:
    desk.execute_script(
        "document.cookie"
    )  # the sign-in cookie is for the server alone: it is taken away as it would be
    cookie = desk.get_cookie("sign-in")
    assert cookie is not None
    desk.delete_cookie("sign-in")
    scan(desk, LIVE, "NOT YET LOOKED UP")
    until(lambda: "signed out" in desk.find_element(By.ID, "line").text, "that one is signed out")
    assert by_desk(site) == []
    desk.add_cookie({"name": "sign-in", "value": cookie["value"]})
    until(lambda: "LIVE – accept" in answer(desk), "the answer after signing in again")
    assert by_desk(site) == ["returned"]


def test_a_form_that_is_too_old_is_renewed_by_itself(desk: Chrome, site: Site) -> None:
    desk.execute_script("document.querySelector('#desk [name=csrf_token]').value = 'of yesterday'")
    scan(desk, LIVE, "LIVE – accept")
    assert by_desk(site) == ["returned"]


def test_a_scanner_reaches_the_field_wherever_the_cursor_is(desk: Chrome, site: Site) -> None:
    keys(desk, Keys.TAB, Keys.TAB, Keys.TAB)
    assert desk.switch_to.active_element.get_attribute("id") == "sound"
    scan(desk, LIVE, "LIVE – accept")
    assert by_desk(site) == ["returned"]


def test_sounds_are_off_until_wanted_and_the_browser_remembers(desk: Chrome, address: str) -> None:
    played = "return document.documentElement.dataset.played || ''"
    assert not desk.find_element(By.ID, "sound").is_selected()
    scan(desk, LIVE, "LIVE")
    assert desk.execute_script(played) == ""
    keys(desk, Keys.TAB, Keys.TAB, Keys.TAB, Keys.SPACE)
    assert desk.find_element(By.ID, "sound").is_selected()
    open_desk(desk, address)
    assert desk.find_element(By.ID, "sound").is_selected()
    scan(desk, VOID, "STOP")
    assert desk.execute_script(played) == "stop"


def test_the_answer_is_announced_and_told_by_more_than_its_colour(desk: Chrome) -> None:
    """WCAG 2.2: 1.4.1, 4.1.3."""
    box = desk.find_element(By.ID, "answer")
    assert box.get_attribute("role") == "alert"
    assert desk.find_element(By.ID, "line").get_attribute("role") == "status"
    seen = set()
    for number, expected in ((LIVE, "✓ LIVE"), (VOID, "■ STOP"), ("1234567", "? NOT ONE OF OURS")):
        scan(desk, number, expected)
        style, width = box.value_of_css_property("border-top-style"), box.value_of_css_property("border-top-width")
        seen.add((style, width))
        size = box.find_element(By.CSS_SELECTOR, ".verdict").value_of_css_property("font-size")
        assert float(size.removesuffix("px")) >= 35  # read from a step away
    assert len(seen) == 3


def test_at_four_times_the_size_nothing_is_cut_off(desk: Chrome) -> None:
    """WCAG 2.2, 1.4.10: 1280 pixels at 400 % are 320 CSS pixels wide."""
    size = {"width": 320, "height": 256, "deviceScaleFactor": 4, "mobile": False}
    desk.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    for number, expected in ((VOID, "STOP"), (LIVE, "LIVE"), ("1234567", "NOT ONE"), ("1" * 22, "READ IT AGAIN")):
        scan(desk, number, expected)
        assert desk.execute_script("return document.documentElement.scrollWidth") <= 320, number
        top = desk.execute_script("return document.getElementById('answer').getBoundingClientRect().top")
        assert top < 256, (number, top)  # it came into sight by itself, the cursor still in the field
        picture(desk, f"narrow-{expected.split()[0].lower()}")


def test_the_page_works_where_scripts_are_switched_off(desk: Chrome, address: str, site: Site) -> None:
    desk.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    desk.get(f"{address}/return-desk/")
    for number, expected in ((LIVE, "LIVE – accept"), (VOID, "STOP")):
        desk.find_element(By.ID, "number").send_keys(number, Keys.ENTER)

        def answered(expected: str = expected) -> bool:
            boxes = desk.find_elements(By.CSS_SELECTOR, "#answer:not([hidden])")
            return bool(boxes) and expected in boxes[0].text

        until(answered, expected)
    assert by_desk(site) == ["returned", "returned_after_void"]
    assert not desk.find_element(By.ID, "sound-choice").is_displayed()
    desk.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
