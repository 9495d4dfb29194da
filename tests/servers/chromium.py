"""A headless Chromium for tests.

`browser` is a WebDriver on a fresh, empty profile; it reaches this machine and nothing else (every other name fails to
resolve). A test that asks for it is skipped with the reason where Chromium or its driver is not installed.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.common.exceptions import WebDriverException
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--headless=new",
    "--no-sandbox",  # the tests may run as root, for whom Chromium has no sandbox
    "--disable-gpu",
    "--disable-quic",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",
    "--lang=en-US",
    "--window-size=1280,900",
)
PAGE_SECONDS = 30


def start_chromium(profile: Path) -> webdriver.Chrome:
    """Start Chromium on an empty profile folder, or skip the test saying what is missing."""
    program = next((found for name in NAMES if (found := shutil.which(name))), None)
    driver = shutil.which("chromedriver")
    if program is None or driver is None:
        pytest.skip("Chromium is not installed" if program is None else "chromedriver is not installed")
    options = Options()
    options.binary_location = program
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    try:
        browser = webdriver.Chrome(options=options, service=Service(driver))
    except WebDriverException as error:
        pytest.skip(f"Chromium does not start here: {(error.msg or '').splitlines()[:1]}")
    browser.set_page_load_timeout(PAGE_SECONDS)
    return browser


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[webdriver.Chrome]:
    """A headless Chromium with nothing in its profile; closed after the test."""
    started = start_chromium(tmp_path / "profile")
    yield started
    started.quit()
