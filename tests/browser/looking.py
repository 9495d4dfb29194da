"""A page in a real browser, looked at as people do, light and dark, wide and narrow, by axe-core."""

from __future__ import annotations

import tarfile
from dataclasses import dataclass, field
from functools import cache

import pytest
from selenium.webdriver import Chrome

from replacements.people import accounts
from replacements.store.tables import Account
from tests.published.samples import FOLDER
from tests.servers.browsing import next_page
from tests.web.invented_office import Site

AXE = "axe-core-4.10.3.tgz"
# WCAG 2.2 at levels A and AA, and what axe-core calls best practice; the size of targets is off unless asked for.
RUN = """
const done = arguments[arguments.length - 1];
axe.run(document, {rules: {"target-size": {enabled: true}}, resultTypes: ["violations"]}).then(
  (found) => done(found.violations.flatMap((one) => one.nodes.map(
    (node) => `${one.id}: ${node.html.slice(0, 160)} | ${node.failureSummary.split("\\n")[1]}`))),
  (error) => done([String(error)]));
"""
NARROW = 320  # CSS pixels: a window of 1280 at 400 % (WCAG 2.2, 1.4.10)


@cache
def axe() -> str:
    """The script of axe-core, from its package."""
    if not (FOLDER / AXE).exists():
        pytest.skip("axe-core is not here; .ci/fetch_samples brings it")
    with tarfile.open(FOLDER / AXE) as packed:
        file = packed.extractfile("package/axe.min.js")
        assert file is not None
        return file.read().decode()


def media(browser: Chrome, **features: str) -> None:
    """What the reader's system asks for, as `prefers_color_scheme="dark"`; what is not named is as it is by default."""
    given = [{"name": name.replace("_", "-"), "value": value} for name, value in features.items()]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": given})


def width(browser: Chrome, pixels: int | None) -> None:
    """Make the page as wide as this; None: as the window is."""
    if pixels is None:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    else:
        size = {"width": pixels, "height": 800, "deviceScaleFactor": 1, "mobile": False}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


def violations(browser: Chrome) -> list[str]:
    """What axe-core finds wrong on the page as it stands, each with its rule and place."""
    if not browser.execute_script("return Boolean(window.axe)"):
        browser.execute_script(axe())
    return list(browser.execute_async_script(RUN))


def too_wide(browser: Chrome) -> bool:
    """Whether the page scrolls sideways as it stands; a table may do so within itself."""
    return bool(browser.execute_script("const d = document.documentElement; return d.scrollWidth > d.clientWidth"))


@dataclass
class Looker:
    """Somebody who goes from page to page, and notes what is wrong on each."""

    browser: Chrome
    address: str
    found: list[str] = field(default_factory=list)
    pages: int = 0

    def sign_in(self, site: Site, role: str) -> None:
        with site.database.write() as session:
            account = session.query(Account).filter_by(name=role).one()
            token = accounts.start_sign_in(session, account.id, at=site.clock.at)
        self.browser.get(f"{self.address}/sign-in")
        self.browser.add_cookie({"name": "sign-in", "value": token})

    def get(self, path: str, name: str = "", /) -> None:
        self.browser.get(f"{self.address}{path}")
        self.look(name or path)

    def post(self, path: str, name: str = "", /, *, look: bool = True, **fields: str) -> None:
        """Send a form, with the token of the form to sign out that every page has; look at what comes."""
        with next_page(self.browser):
            self.browser.execute_script(
                """
                const form = document.createElement("form");
                form.method = "post"; form.action = arguments[0];
                const token = document.querySelector("input[name=csrf_token]");
                const fields = {...arguments[1], csrf_token: token ? token.value : ""};
                for (const [name, value] of Object.entries(fields)) {
                  const field = document.createElement("input");
                  field.type = "hidden"; field.name = name; field.value = value; form.append(field);
                }
                document.body.append(form); form.submit();
                """,
                self.address + path,
                fields,
            )
        if look:
            self.look(name or path)

    def look(self, name: str) -> None:
        """All that is folded away is opened: what is hidden is not looked at."""
        self.pages += 1
        self.browser.execute_script("document.querySelectorAll('details').forEach((one) => one.open = true)")
        for scheme, pixels in (("light", None), ("dark", None), ("light", NARROW)):
            media(self.browser, prefers_color_scheme=scheme)
            width(self.browser, pixels)
            place = f"{name} ({scheme}{', at 400 %' if pixels else ''})"
            self.found += [f"{place}: {one}" for one in violations(self.browser)]
            self.found += [f"{place}: scrolls sideways"] if too_wide(self.browser) else []
        width(self.browser, None)
