"""The list, a request and clear cases together, worked through with single keys in a real browser."""

from __future__ import annotations

import pytest
from selenium.webdriver import ActionChains, Chrome, Keys
from selenium.webdriver.common.by import By

from replacements.store.tables import Ballot, Request
from replacements.web.pages.keys import KEYS
from tests.browser.looking import Looker
from tests.servers.browsing import next_page, until
from tests.web.invented_office import Site
from tests.web.many_requests import FIRST, add_clear_cases

LED = "[aria-keyshortcuts]"
LIST, CASE = "/requests/", f"/requests/{FIRST}"


@pytest.fixture
def clerk(browser: Chrome, address: str, site: Site) -> Looker:
    add_clear_cases(site.database, 3)
    with site.database.write() as session:
        session.get_one(Request, 1).state = "done"  # so that the first of the list is a clear case
    found = Looker(browser, address)
    found.sign_in(site, "clerk")
    return found


def _open(clerk: Looker, path: str) -> None:
    clerk.browser.get(clerk.address + path)
    until(lambda: clerk.browser.execute_script("return document.documentElement.dataset.keysReady"), "the keys")


def _press(clerk: Looker, *keys: str) -> None:
    """Each key by itself, to whatever has the focus: as a hand on the keyboard does it."""
    for key in keys:
        ActionChains(clerk.browser).send_keys(key).perform()


def _focused(clerk: Looker) -> str:
    return str(clerk.browser.switch_to.active_element.text)


def _state(site: Site, number: int) -> str:
    with site.database.read() as session:
        return session.get_one(Request, number).state


def test_from_the_list_to_an_approved_case_takes_three_keys(clerk: Looker, site: Site) -> None:
    _open(clerk, LIST)
    pressed = 0
    with next_page(clerk.browser):
        _press(clerk, "o")
        pressed += 1
    assert clerk.browser.current_url.endswith(CASE)
    until(lambda: clerk.browser.execute_script("return document.documentElement.dataset.keysReady"), "the keys")
    _press(clerk, "a")
    pressed += 1
    assert _focused(clerk) == "Approve as proposed"
    assert _state(site, FIRST) == "waiting"  # a letter decides nothing
    with next_page(clerk.browser):
        _press(clerk, Keys.ENTER)
        pressed += 1
    assert pressed <= 4
    with site.database.read() as session:
        request = session.get_one(Request, FIRST)
        assert (request.state, request.decided_by, request.decision) == ("done", "clerk", "reissue")
        assert session.get_one(Ballot, f"7{FIRST:06}").state == "voided"


def test_a_supervisor_undoes_an_approval_from_the_keyboard(clerk: Looker, site: Site) -> None:
    clerk.sign_in(site, "supervisor")
    _open(clerk, CASE)
    _press(clerk, "a")
    with next_page(clerk.browser):
        _press(clerk, Keys.ENTER)
    _open(clerk, CASE)
    _press(clerk, "u")
    place = clerk.browser.switch_to.active_element
    assert place.tag_name in ("input", "textarea", "button")
    assert _state(site, FIRST) == "done"
    if place.tag_name != "button":
        place.send_keys("approved by mistake")
    with next_page(clerk.browser):
        place.find_element(By.XPATH, "ancestor::form").submit()
    with site.database.read() as session:
        assert session.get_one(Ballot, f"7{FIRST:06}").state == "issued"


def test_the_keys_lead_down_the_list_and_back_up_it(clerk: Looker) -> None:
    _open(clerk, LIST)
    _press(clerk, "n", "n")
    assert _focused(clerk) == str(FIRST + 1)
    _press(clerk, "p")
    assert _focused(clerk) == str(FIRST)
    _press(clerk, "n")
    with next_page(clerk.browser):
        _press(clerk, "o")
    assert clerk.browser.current_url.endswith(f"/requests/{FIRST + 1}")


def test_whoever_types_types_and_nothing_else_happens(clerk: Looker) -> None:
    _open(clerk, LIST)
    _press(clerk, "s")
    field = clerk.browser.switch_to.active_element
    assert field.get_attribute("id") == "wanted"
    _press(clerk, *"ona?c")
    assert field.get_attribute("value") == "ona?c"
    assert clerk.browser.current_url == clerk.address + LIST


@pytest.mark.parametrize("held", [Keys.CONTROL, Keys.ALT, Keys.META])
def test_a_key_with_another_held_down_is_the_browsers(clerk: Looker, held: str) -> None:
    _open(clerk, LIST)
    clerk.browser.execute_script(
        "window.taken = []; addEventListener('keydown', (e) => window.taken.push([e.key, e.defaultPrevented]))"
    )
    ActionChains(clerk.browser).key_down(held).send_keys("p").key_up(held).perform()
    taken = clerk.browser.execute_script("return window.taken")
    assert [prevented for key, prevented in taken if key.lower() == "p"] in ([False], [])
    assert clerk.browser.current_url == clerk.address + LIST


def test_the_list_of_keys_opens_over_the_page_and_closes_again(clerk: Looker) -> None:
    _open(clerk, CASE)
    panel = clerk.browser.find_element(By.ID, "keys")
    assert not panel.is_displayed()
    _press(clerk, "?")
    assert panel.is_displayed()
    there = {one.get_attribute("aria-keyshortcuts") for one in clerk.browser.find_elements(By.CSS_SELECTOR, LED)}
    for letter, means in KEYS["One request"].values():  # no more and no less than what leads somewhere here
        assert (means in panel.text) == (letter in there), means
    _press(clerk, "n")  # leads nowhere while the list of keys is open
    assert clerk.browser.current_url.endswith(CASE)
    _press(clerk, Keys.ESCAPE)
    assert not panel.is_displayed()


def test_each_key_that_a_page_shows_leads_to_a_place_that_can_be_seen(clerk: Looker) -> None:
    _open(clerk, CASE)
    shown = clerk.browser.execute_script(
        "return [...document.querySelectorAll('[aria-keyshortcuts]:not(a)')].map((one) => one.ariaKeyShortcuts"
        " || one.getAttribute('aria-keyshortcuts'))"
    )
    assert {"a", "e", "h", "t", "w", "r", "y"} <= set(shown)
    assert len(shown) == len(set(shown))
    for key in shown:
        _open(clerk, CASE)
        _press(clerk, key)
        place = clerk.browser.switch_to.active_element
        assert place.tag_name != "body", key
        assert place.is_displayed(), key


def test_keys_that_are_switched_off_do_nothing(clerk: Looker) -> None:
    clerk.browser.get(clerk.address + "/keys/")
    with next_page(clerk.browser):
        clerk.browser.find_element(By.XPATH, "//button[text()='Switch them off']").click()
    clerk.browser.get(clerk.address + LIST)
    assert not clerk.browser.find_elements(By.CSS_SELECTOR, "script, [aria-keyshortcuts], dialog")
    _press(clerk, "o")
    assert clerk.browser.current_url == clerk.address + LIST


def test_clear_cases_are_approved_together_but_for_the_one_that_was_taken_out(clerk: Looker, site: Site) -> None:
    _open(clerk, LIST)
    with next_page(clerk.browser):
        _press(clerk, "c")
    boxes = clerk.browser.find_elements(By.NAME, "case")
    assert len(boxes) == 3
    boxes[1].click()
    _open_keys = "return document.documentElement.dataset.keysReady"
    until(lambda: clerk.browser.execute_script(_open_keys), "the keys")
    _press(clerk, "a")
    assert _focused(clerk) == "Approve those that are ticked"
    with next_page(clerk.browser):
        _press(clerk, Keys.ENTER)
    assert "2 of 2 approved" in clerk.browser.find_element(By.TAG_NAME, "main").text
    assert [_state(site, FIRST + n) for n in range(3)] == ["done", "waiting", "done"]


def test_what_a_letter_says_never_runs_beside_the_keys(browser: Chrome, address: str, site: Site) -> None:
    add_clear_cases(
        site.database, 1, text='<script>document.title="taken"</script><img src=x onerror="document.title=1">'
    )
    looker = Looker(browser, address)
    looker.sign_in(site, "clerk")
    for path in (LIST, CASE, "/requests/together/"):
        _open(looker, path)
        assert "taken" not in browser.title
        ran = browser.execute_script(
            "const s = document.createElement('script'); s.textContent = 'window.ran = 1';"
            " document.body.append(s); return Boolean(window.ran)"
        )
        assert not ran, path
