"""Pictures of the five main pages, over the demo's invented county, for the README and for whoever reviews the look.

    python -m tests.browser.take_screenshots [FOLDER]

Without a FOLDER they go to tests/browser/pictures, from where the README shows them. Sets the demo up in a temporary
folder on a fixed day, decides a part of its requests, serves it on a free port, and writes front.png, request.png,
mailing.png, return-desk.png and week.png. The same fonts give the same bytes. Needs Chromium and its driver, and fonts
for every language that is shown (Debian: fonts-noto-cjk, fonts-dejavu-core).
"""

from __future__ import annotations

import base64
import logging
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Thread

import click
from rich.console import Console
from selenium.webdriver import Chrome, Keys
from selenium.webdriver.common.by import By
from selenium.webdriver.support.wait import WebDriverWait
from sqlalchemy import select
from werkzeug.serving import make_server

from replacements.demo.running import run_demo
from replacements.people import accounts
from replacements.requests import deciding
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Account, Ballot, Request
from replacements.web.app import create_app
from tests.servers.chromium import start_chromium

AT = datetime(2031, 10, 14, 14, 30, tzinfo=UTC)  # a Tuesday; the demo's election is set some weeks after it
WHO = "supervisor"
WIDTH, HIGHEST = 1280, 900  # pixels; a longer page is cut off
PICTURES = Path(__file__).with_name("pictures")
LARGEST = 200_000  # bytes of a picture
EVERY = 3  # of the reissues that wait, every third stays undecided


def decide_some(database: Database) -> None:
    """Approve most of the reissues, so that the mailing and the week have something in them."""
    with database.read() as session:
        waiting = session.scalars(
            select(Request).where(Request.proposal == "reissue", Request.two_people.is_(False)).order_by(Request.id)
        ).all()
    for place, request in enumerate(waiting):
        if place % EVERY:
            at = AT - timedelta(minutes=len(waiting) - place)
            deciding.approve(
                database, request.id, version=request.version, by="clerk", roles=("clerk",), at=at, action=None
            )


@contextmanager
def demo_served(folder: Path) -> Iterator[tuple[str, Database, str]]:
    """The demo's address, its database, and a token of somebody who has signed in."""
    settings = Settings.from_environment({}, data=folder)
    run_demo(settings, once=True, fresh=False, port=0, console=Console(quiet=True), now=lambda: AT)
    database = Database(settings.database)
    decide_some(database)
    with database.write() as session:
        account = session.scalars(select(Account).where(Account.name == WHO)).one()
        token = accounts.start_sign_in(session, account.id, at=AT)
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    server = make_server("127.0.0.1", 0, create_app(database, settings, now=lambda: AT), threaded=True)
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}", database, token
    finally:
        server.shutdown()
        thread.join(timeout=10)
        database.close()


def picture(browser: Chrome) -> bytes:
    """The whole page as PNG, as far down as HIGHEST."""
    size = browser.execute_cdp_cmd("Page.getLayoutMetrics", {})["cssContentSize"]
    clip = {"x": 0, "y": 0, "width": WIDTH, "height": min(size["height"], HIGHEST), "scale": 1}
    taken = browser.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True, "clip": clip})
    return base64.b64decode(taken["data"])


def take_all(browser: Chrome, address: str, database: Database, token: str, folder: Path) -> list[Path]:
    """Go through the pages as one would; the files that were written."""
    wanted = {"prefers-color-scheme": "light", "prefers-reduced-motion": "reduce"}
    features = [{"name": name, "value": value} for name, value in wanted.items()]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    browser.get(f"{address}/sign-in")
    browser.add_cookie({"name": "sign-in", "value": token})
    with database.read() as session:
        shown = session.scalars(
            select(Request.id).where(Request.state == "waiting", Request.proposal == "reissue").order_by(Request.id)
        ).first()
        stopped = session.scalars(select(Ballot.number).where(Ballot.state == "voided").order_by(Ballot.number)).first()
    pages = {"front": "/", "request": f"/requests/{shown}", "mailing": "/mailing", "week": "/week/"}
    written = []
    for name, page in pages.items():
        browser.get(address + page)
        status = browser.execute_script("return performance.getEntriesByType('navigation')[0].responseStatus")
        if status != 200:
            sys.exit(f"{page} answers {status}")
        if name == "front":  # it says so once its stream has answered
            WebDriverWait(browser, 20).until(lambda b: "Kept up to date" in b.find_element(By.ID, "following").text)
        written.append(folder / f"{name}.png")
        written[-1].write_bytes(picture(browser))
    browser.get(f"{address}/return-desk/")
    browser.find_element(By.ID, "number").send_keys(stopped or "1234567", Keys.ENTER)
    WebDriverWait(browser, 20).until(lambda b: "STOP" in b.find_element(By.ID, "answer").text or not stopped)
    written.append(folder / "return-desk.png")
    written[-1].write_bytes(picture(browser))
    return written


def main(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        browser = start_chromium(Path(scratch) / "profile")
        try:
            browser.set_window_size(WIDTH, 900)
            with demo_served(Path(scratch) / "demo") as (address, database, token):
                for file in take_all(browser, address, database, token, folder):
                    size = file.stat().st_size
                    click.echo(f"{file}: {size} bytes")
                    if size > LARGEST:
                        sys.exit(f"{file.name} is larger than {LARGEST} bytes")
        finally:
            browser.quit()


if __name__ == "__main__":
    if len(sys.argv) > 2:
        sys.exit("Usage: python -m tests.browser.take_screenshots [FOLDER]")
    main(Path(sys.argv[1]) if len(sys.argv) == 2 else PICTURES)
