"""The pages about signing in, sign-ins and looks, in each state, looked at by axe-core: WCAG 2.2, levels A and AA."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from selenium.webdriver import Chrome, Keys
from selenium.webdriver.common.by import By

from replacements.people.second_factor import app_of
from replacements.requests import office
from tests.browser.looking import Looker
from tests.browser.take_screenshots import picture
from tests.servers.browsing import next_page, until
from tests.web.invented_office import NOW, PASSWORD, RULES, Site

# Where set, each page leaves a picture there for whoever wants to see it.
PICTURES = os.environ.get("ACCESS_PICTURES", "")


class Showing(Looker):
    def look(self, name: str) -> None:
        super().look(name)
        if PICTURES:
            Path(PICTURES, f"{self.pages:02} {name.replace('/', ' ')}.png").write_bytes(picture(self.browser))


@pytest.fixture
def strict(browser: Chrome, address: str, site: Site) -> Showing:
    """The rules say that supervisors must give a second factor; the pages go by a name, so that keys are offered."""
    with site.database.write() as session:
        office.load(session, f'{RULES}\n[people]\nsecond_factor = ["supervisor"]\n', at=NOW)
        office.adopt(session, official="Registrar Hollis Penn", by="supervisor", at=NOW)
    return Showing(browser, address.replace("127.0.0.1", "localhost"))


def give_password(looker: Looker) -> None:
    looker.browser.get(f"{looker.address}/sign-in")
    with next_page(looker.browser):
        looker.browser.find_element(By.ID, "name").send_keys("supervisor", Keys.TAB, PASSWORD, Keys.ENTER)


def key_shown(looker: Looker) -> str:
    return looker.browser.find_element(By.CSS_SELECTOR, "dd code").text.replace(" ", "")


def test_the_pages_of_the_second_factor_and_of_looks(strict: Showing, site: Site) -> None:
    looker = strict
    give_password(looker)
    until(lambda: looker.browser.find_element(By.ID, "key").is_displayed(), "the offer of a key")
    looker.look("a second factor must be set up")
    looker.post("/second-factor/app", "an app to be set up")
    looker.post("/second-factor/app/prove", "the wrong code", code="000000")
    code = app_of(key_shown(looker)).at(site.clock.at)
    looker.post("/second-factor/app/prove", "recovery codes", code=code)
    looker.get("/second-factor/", "my second factor")
    looker.post("/second-factor/codes", "a wrong password", password="no")
    looker.get("/my-sign-ins")
    looker.get("/my-password")
    looker.get("/requests/1")
    looker.get("/people/", "people, one with a second factor")
    looker.get("/looks/")
    looker.post("/looks/", "no looks found", voter_id="nobody")
    looker.post("/sign-out", look=False)
    give_password(looker)
    looker.look("the code is asked for")
    looker.post("/second-factor/", "a wrong code", code="000000")
    assert not looker.found, "\n".join(looker.found)
    assert looker.pages == 14
