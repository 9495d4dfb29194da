"""What everybody is told of the service, signed in or not, looked at by axe-core: behind, and working."""

from __future__ import annotations

from datetime import timedelta

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By

from tests.browser.looking import Looker
from tests.web.invented_office import Site
from tests.web.test_health_for_everybody import put_in_order


@pytest.fixture
def looker(browser: Chrome, address: str) -> Looker:
    browser.get(f"{address}/alive")
    browser.delete_all_cookies()
    return Looker(browser, address)


def test_who_is_not_signed_in_reads_it_and_finds_the_way_to_sign_in(looker: Looker, site: Site) -> None:
    looker.get("/health", "behind, for everybody")
    assert "The service is behind" in looker.browser.find_element(By.TAG_NAME, "main").text
    put_in_order(site)
    site.clock.at += timedelta(seconds=6)
    looker.get("/health", "working, for everybody")
    assert "The service is working." in looker.browser.find_element(By.TAG_NAME, "main").text
    assert not looker.found, "\n".join(looker.found)
    looker.browser.find_element(By.LINK_TEXT, "sign in").click()
    assert "/sign-in" in looker.browser.current_url
