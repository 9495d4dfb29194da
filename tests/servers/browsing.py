"""From one page to the next in a real browser: waiting for what comes, however busy the machine is."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from selenium.common.exceptions import WebDriverException
from selenium.webdriver.remote.webdriver import WebDriver

T = TypeVar("T")


def until(look: Callable[[], T | None], what: str, seconds: float = 60) -> T:
    """Wait for something to be there; fail saying what was missed."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = look()
        if found:
            return found
        time.sleep(0.3)
    raise AssertionError(f"not seen within {seconds:g} seconds: {what}")


@contextmanager
def next_page(browser: WebDriver) -> Iterator[None]:
    """What is done inside leads to another page; it is there afterwards."""
    browser.execute_script("document.documentElement.dataset.left = 'yes'")
    yield
    there = "return document.readyState === 'complete' && !document.documentElement.dataset.left"

    def arrived() -> bool:
        try:
            return bool(browser.execute_script(there))
        except WebDriverException:  # between two pages
            return False

    until(arrived, "the next page")
