"""A security key in a real browser: Chromium's own virtual authenticator (WebDriver, WebAuthn level 2, 11)."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from selenium.webdriver import Chrome, Keys
from selenium.webdriver.common.by import By
from selenium.webdriver.common.virtual_authenticator import VirtualAuthenticatorOptions

from replacements.requests import office
from tests.servers.browsing import next_page, until
from tests.web.invented_office import NOW, PASSWORD, RULES, Site


@pytest.fixture
def named(address: str) -> str:
    """The same pages by a name: a key is for a domain, and an address of numbers is none."""
    return address.replace("127.0.0.1", "localhost")


@pytest.fixture
def with_key(browser: Chrome) -> Iterator[Chrome]:
    """The browser with a key plugged in that is touched at once."""
    options = VirtualAuthenticatorOptions()
    options.protocol = VirtualAuthenticatorOptions.Protocol.CTAP2
    options.transport = VirtualAuthenticatorOptions.Transport.USB
    options.is_user_consenting = True
    browser.add_virtual_authenticator(options)
    yield browser
    browser.remove_virtual_authenticator()


def give_password(browser: Chrome, address: str) -> None:
    browser.get(f"{address}/sign-in")
    until(lambda: browser.switch_to.active_element.get_attribute("id") == "name", "the cursor in the first field")
    with next_page(browser):
        browser.switch_to.active_element.send_keys("supervisor", Keys.TAB, PASSWORD, Keys.ENTER)


def press(browser: Chrome, text: str) -> None:
    """The button of that text, by keyboard."""
    button = browser.find_element(By.XPATH, f"//button[text()='{text}']")
    until(button.is_displayed, f"the button {text}")
    with next_page(browser):
        button.send_keys(Keys.ENTER)


def test_a_key_is_set_up_where_the_rules_ask_and_signs_in_the_next_time(
    with_key: Chrome, named: str, site: Site
) -> None:
    with site.database.write() as session:
        office.load(session, f'{RULES}\n[people]\nsecond_factor = ["supervisor"]\n', at=NOW)
        office.adopt(session, official="Registrar Hollis Penn", by="supervisor", at=NOW)
    give_password(with_key, named)
    assert with_key.find_element(By.TAG_NAME, "h1").text == "Set up a second factor"
    press(with_key, "Set up a key")
    assert with_key.find_element(By.TAG_NAME, "h1").text == "Recovery codes"
    assert len(with_key.find_elements(By.CSS_SELECTOR, "main ol code")) == 10
    press(with_key, "Sign out")
    give_password(with_key, named)
    assert with_key.find_element(By.TAG_NAME, "h1").text == "Second factor"
    press(with_key, "Use the key")
    assert with_key.current_url == f"{named}/"


def test_without_a_key_that_fits_one_is_told_so_and_can_type_a_code(with_key: Chrome, named: str, site: Site) -> None:
    give_password(with_key, named)
    with_key.get(f"{named}/second-factor/")
    with_key.find_element(By.ID, "password-key").send_keys(PASSWORD)
    press(with_key, "Set up a key")
    press(with_key, "Sign out")
    with_key.remove_all_credentials()
    give_password(with_key, named)
    button = with_key.find_element(By.XPATH, "//button[text()='Use the key']")
    until(button.is_displayed, "the button")
    button.send_keys(Keys.ENTER)
    said = with_key.find_element(By.CSS_SELECTOR, "[data-purpose] [role=status]")
    until(lambda: "use a code" in said.text, "what to do instead")
    assert with_key.find_element(By.ID, "code").is_displayed()
