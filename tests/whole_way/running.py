"""An office's service as real programs: the pages, and where asked for a Celery worker with its schedule."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path

from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webdriver import WebDriver

from replacements.demo.setting_up import ADDRESS, rules_text
from tests.servers.browsing import next_page
from tests.servers.ports import free_port, wait_for

FILES = Path(__file__).parents[1] / "requests" / "files"
PROGRAMS = Path(sys.executable).parent
PASSPHRASE = "seven quiet herons wade"
STAFF = {
    "clara": "clerk",
    "sue": "supervisor",
    "mona": "mail_room",
    "rita": "return_desk",
}


@dataclass
class RunningOffice:
    """Programs, their settings, and what the test does at their edges."""

    folder: Path
    settings: Mapping[str, str]
    port: int = field(default_factory=free_port)
    programs: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def environment(self) -> dict[str, str]:
        kept = {k: v for k, v in os.environ.items() if not k.startswith("REPLACEMENTS_")}
        return kept | {"REPLACEMENTS_DATA": str(self.folder / "var")} | dict(self.settings)

    def command(self, *arguments: str) -> str:
        """One `replacements …` command; its output. Fails the test where the command fails."""
        done = subprocess.run(
            [PROGRAMS / "replacements", *arguments], env=self.environment, capture_output=True, text=True, timeout=120
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def set_up(self) -> None:
        """Rules adopted, roll and ballots loaded, staff known."""
        self.folder.mkdir(parents=True, exist_ok=True)
        rules = self.folder / "office.toml"
        rules.write_text(rules_text(datetime.now(UTC).astimezone().date()), encoding="utf-8")
        self.command("rules", "adopt", str(rules), "--by", "the registrar")
        self.command("roll", "import", str(FILES / "roll.csv"))
        self.command("ballots", "import", str(FILES / "ballots.csv"))
        for name, role in STAFF.items():
            self.command("accounts", "create", name, "--role", role, "--passphrase", PASSPHRASE)

    def start(self, *, celery: bool) -> None:
        self._run("pages", [PROGRAMS / "replacements", "serve", "--port", str(self.port)])
        if celery:
            schedule = str(self.folder / "beat")
            self._run("worker", [PROGRAMS / "celery", "-A", "worker", "worker", "-B", "-s", schedule, "-c", "1"])
        assert wait_for(self.port, self.programs[0]), (self.folder / "pages.log").read_text()

    def _run(self, name: str, command: list[str | Path]) -> None:
        with (self.folder / f"{name}.log").open("wb") as log:
            self.programs.append(
                subprocess.Popen(
                    command,
                    env=self.environment,
                    stdout=log,
                    stderr=subprocess.STDOUT,
                    cwd=Path(__file__).parents[2],
                    start_new_session=True,
                )
            )

    def stop(self) -> None:
        for program in self.programs:
            if program.poll() is None:
                os.killpg(program.pid, signal.SIGTERM)
        for program in self.programs:
            try:
                program.wait(20)
            except subprocess.TimeoutExpired:
                os.killpg(program.pid, signal.SIGKILL)
                program.wait()


def spoiled_mail() -> bytes:
    """The plain case: a voter with all facts who made a mistake on her ballot."""
    message = EmailMessage()
    now = format_datetime(datetime.now(UTC))
    domain = ADDRESS.rpartition("@")[2]
    message["Authentication-Results"] = f"mx.{domain}; spf=pass; dkim=pass; dmarc=pass header.from=post.example"
    message["Received"] = f"from mail.post.example by mx.{domain}; {now}"
    message["From"] = "Ada Quillfeather <ada.q@post.example>"
    message["To"] = ADDRESS
    message["Subject"] = "tea on my ballot"
    message["Date"] = now
    message["Message-ID"] = "<tea-1@post.example>"
    message.set_content(
        "Hello,\n\nI filled in the wrong oval and then knocked a cup of tea over my ballot. "
        "Could you please send me another one?\n\n"
        "Ada Quillfeather\n14 Otter Bank Rd, Eelpoint\nborn March 7, 1958\n"
    )
    return message.as_bytes()


def bounce_of(reply: EmailMessage) -> bytes:
    """What the voter's mail server sends back where it has no such mailbox (RFC 3464)."""
    now = format_datetime(datetime.now(UTC))
    header = "".join(f"{name}: {reply[name]}\n" for name in ("From", "To", "Subject", "Message-ID"))
    return (
        f"Return-Path: <>\nReceived: from mx.post.example by mx.{ADDRESS.rpartition('@')[2]}; {now}\n"
        f"From: MAILER-DAEMON@mx.post.example\nTo: {ADDRESS}\nSubject: Undelivered mail\nDate: {now}\n"
        "Message-ID: <bounce-1@mx.post.example>\nMIME-Version: 1.0\n"
        "Content-Type: multipart/report; report-type=delivery-status; boundary=r\n\n"
        "--r\nContent-Type: text/plain\n\nThere is no such mailbox here.\n"
        "--r\nContent-Type: message/delivery-status\n\nReporting-MTA: dns; mx.post.example\n\n"
        f"Final-Recipient: rfc822; {reply['To']}\nAction: failed\nStatus: 5.1.1\n"
        f"--r\nContent-Type: text/rfc822-headers\n\n{header}\n--r--\n"
    ).encode()


def sign_in(browser: WebDriver, url: str, name: str) -> None:
    browser.delete_all_cookies()
    browser.get(f"{url}/sign-in")
    browser.find_element(By.ID, "name").send_keys(name)
    browser.find_element(By.ID, "password").send_keys(PASSPHRASE)
    press(browser, "Sign in")


def press(browser: WebDriver, label: str) -> None:
    """Press the button with these words, and wait for the page that comes."""
    button = browser.find_element(By.XPATH, f"//main//button[normalize-space()='{label}']")
    with next_page(browser):
        button.click()


def page_text(browser: WebDriver) -> str:
    return browser.find_element(By.TAG_NAME, "main").text
