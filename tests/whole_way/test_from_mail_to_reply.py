"""The whole way: a mail goes in, a clerk approves on the page, the old ballot is stopped, the new one is on a label,
the reply comes back in the thread. Once on the embedded default, once over the wire with every real server."""

from __future__ import annotations

import io
import mailbox
import re
import urllib.request
from collections.abc import Callable
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pytest
from pypdf import PdfReader
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webdriver import WebDriver

from tests.servers.browsing import next_page, until
from tests.servers.databases import PostgresServer
from tests.servers.dovecot import DovecotServer
from tests.servers.smtp import SmtpServer
from tests.whole_way.running import RunningOffice, bounce_of, page_text, press, sign_in, spoiled_mail


def download(browser: WebDriver, url: str) -> bytes:
    """What a link of the page leads to, with the browser's sign-in."""
    cookies = "; ".join(f"{c['name']}={c['value']}" for c in browser.get_cookies())
    with urllib.request.urlopen(urllib.request.Request(url, headers={"Cookie": cookies}), timeout=30) as answer:
        body: bytes = answer.read()
        return body


def text_of(message: EmailMessage) -> str:
    body = message.get_body(("plain",))
    assert body is not None
    return str(body.get_content())


def at_the_desk(browser: WebDriver, office: RunningOffice, number: str) -> str:
    """Scan a number, by keyboard only; the answer in large type."""
    browser.get(f"{office.url}/return-desk")
    browser.switch_to.active_element.send_keys(number, Keys.ENTER)

    def answer() -> str:
        text: str = browser.find_element(By.CSS_SELECTOR, ".answer").text
        return text if number in text and "NOT YET" not in text else ""

    return until(answer, f"the desk's answer about {number}")


def walk(
    browser: WebDriver,
    office: RunningOffice,
    replies: Callable[[], list[EmailMessage]],
    deliver: Callable[[bytes], object],
) -> None:
    """From the waiting request to the voter's mail, and back where it cannot be delivered."""
    sign_in(browser, office.url, "clara")

    def waiting_request() -> str | None:
        browser.get(f"{office.url}/requests")
        links = browser.find_elements(By.CSS_SELECTOR, "main a[href*='/requests/']")
        found = [href for link in links if re.search(r"/requests/\d+$", href := link.get_attribute("href") or "")]
        return found[0] if found else None

    browser.get(until(waiting_request, "the request on the page"))
    assert "another" in page_text(browser)
    press(browser, "Approve as proposed")
    decided = page_text(browser)
    match = re.search(r"New ballot\s+(\d+)", decided)
    assert match, decided
    new_number = match.group(1)

    sign_in(browser, office.url, "rita")
    stopped = at_the_desk(browser, office, "5100001")
    assert "STOP" in stopped
    assert new_number in stopped

    sign_in(browser, office.url, "sue")
    browser.get(f"{office.url}/mailing")
    press(browser, "Close it now")
    sign_in(browser, office.url, "mona")
    browser.get(f"{office.url}/mailing")
    link = browser.find_element(By.PARTIAL_LINK_TEXT, "abel").get_attribute("href")
    assert link
    text = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(download(browser, link))).pages)
    assert new_number in text
    assert "14 OTTER BANK RD" in text
    for name in ("mona", "sue"):
        if name == "sue":
            sign_in(browser, office.url, name)
            browser.get(f"{office.url}/mailing")
        for counted in ("picked", "labelled", "sealed"):
            browser.find_element(By.ID, counted).send_keys("1")
        press(browser, "Sign")
    assert "ailed" in page_text(browser)

    def both() -> list[EmailMessage] | None:
        found = replies()
        found.sort(key=lambda m: "5100001" not in text_of(m))  # the one that names the old ballot was written first
        return found if len(found) == 2 else None

    approved, mailed = until(both, "two replies: approved, and mailed")
    for reply in (approved, mailed):
        assert reply["To"] == "ada.q@post.example"
        assert reply["In-Reply-To"] == "<tea-1@post.example>"
        assert "<tea-1@post.example>" in reply["References"]
        assert reply["Auto-Submitted"] == "auto-replied"
    assert "5100001" in text_of(approved)
    assert new_number in text_of(mailed)
    sign_in(browser, office.url, "rita")
    assert "LIVE" in at_the_desk(browser, office, new_number)
    assert "NOT ONE OF OURS" in at_the_desk(browser, office, "99999")
    assert "The ledger holds" in office.command("ledger", "verify")
    assert "balance" in office.command("reconcile")

    deliver(bounce_of(mailed))
    sign_in(browser, office.url, "clara")

    def came_back() -> str | None:
        browser.get(office.url)
        links = browser.find_elements(By.PARTIAL_LINK_TEXT, "came back undelivered")
        return links[0].get_attribute("href") if links else None

    browser.get(until(came_back, "the bounce on the first page"))
    with next_page(browser):
        browser.find_element(By.CSS_SELECTOR, "main th a[href*='/requests/']").click()
    assert "came back undelivered: there is no such mailbox" in page_text(browser)


def test_the_whole_way_on_the_embedded_default(browser: WebDriver, tmp_path: Path) -> None:
    office = RunningOffice(tmp_path / "office", {})
    office.set_up()
    incoming = mailbox.Maildir(str(office.folder / "var" / "mailbox"), create=True)
    sent = office.folder / "var" / "sent"

    def replies() -> list[EmailMessage]:
        if not sent.exists():
            return []
        return [
            message_from_bytes(path.read_bytes(), policy=policy.default)
            for sub in ("new", "cur")
            for path in sorted((sent / sub).glob("*"))
        ]

    office.start(celery=False)
    try:
        incoming.add(spoiled_mail())
        walk(browser, office, replies, incoming.add)
    finally:
        office.stop()


def test_the_whole_way_over_the_wire(
    browser: WebDriver,
    tmp_path: Path,
    postgres_server: PostgresServer,
    dovecot: DovecotServer,
    smtp_server: SmtpServer,
    redis_url: str,
) -> None:
    database = postgres_server.new_database()
    office = RunningOffice(
        tmp_path / "office",
        {
            "REPLACEMENTS_DATABASE": database,
            "REPLACEMENTS_REDIS": redis_url,
            "REPLACEMENTS_MAILBOX": dovecot.url,
            "REPLACEMENTS_MAILBOX_PASSWORD": dovecot.password,
            "REPLACEMENTS_CA_FILE": dovecot.ca_file,
            "REPLACEMENTS_OUTBOX": smtp_server.url,
        },
    )
    office.set_up()
    office.start(celery=True)
    try:
        dovecot.append(spoiled_mail())
        walk(browser, office, lambda: [d.message for d in smtp_server.delivered], dovecot.append)
    except AssertionError as error:
        log = (office.folder / "worker.log").read_text(encoding="utf-8", errors="replace")
        pytest.fail(f"{error}\n--- worker ---\n{log[-3000:]}")
    finally:
        office.stop()
        postgres_server.drop(database)
