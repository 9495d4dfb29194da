"""An office whose mailbox is on a server: its settings, and what it has stored so far."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Protocol

import pytest
from sqlalchemy import select

from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Condition, RawMail
from tests.requests.conftest import MONDAY
from worker import jobs
from worker.jobs import Work


class MailServer(Protocol):
    """What the tests ask of a private server, of whichever make."""

    @property
    def url(self) -> str: ...
    @property
    def password(self) -> str: ...
    @property
    def ca_file(self) -> str: ...


@dataclass
class MailOffice:
    """The jobs of an office that reads this mailbox."""

    work: Work

    def fetch(self) -> int:
        return jobs.fetch_mail(self.work)

    def stored(self) -> list[bytes]:
        """Every message that is stored, in the order of storing."""
        with self.work.database.read() as session:
            return list(session.scalars(select(RawMail.raw).order_by(RawMail.message_id)))

    def told(self, name: str = "mailbox") -> tuple[bool, str]:
        """What the health page says of this job."""
        with self.work.database.read() as session:
            found = session.get(Condition, name)
            return (found.ok, found.text) if found is not None else (True, "")

    def with_settings(self, **changed: object) -> MailOffice:
        return MailOffice(replace(self.work, settings=replace(self.work.settings, **changed)))  # type: ignore[arg-type]


class Clock:
    """What time it is, as the test says."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at


@pytest.fixture
def clock() -> Clock:
    return Clock(MONDAY)


OfficeOf = Callable[..., MailOffice]


@pytest.fixture
def mail_office(sqlite_database: Database, tmp_path: Path) -> OfficeOf:
    """`mail_office(server, url="", **settings)`: an office that reads the server's INBOX, or `url`."""

    def made(server: MailServer, url: str = "", **settings: str) -> MailOffice:
        base = Settings.from_environment({}, data=tmp_path)
        mine = {"mailbox": url or server.url, "mailbox_password": server.password, "ca_file": server.ca_file}
        return MailOffice(Work(sqlite_database, replace(base, **(mine | settings))))  # type: ignore[arg-type]

    return made


def soon(is_so: Callable[[], bool], seconds: float = 20.0) -> float:
    """Wait until it is so, and return how many seconds that took; fails where it takes longer than `seconds`."""
    began = time.monotonic()
    while not is_so():
        assert time.monotonic() - began < seconds, f"not so after {seconds} seconds"
        time.sleep(0.05)
    return time.monotonic() - began
