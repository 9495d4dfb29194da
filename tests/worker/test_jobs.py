"""The jobs as both runners call them: they may run twice, say what is wrong, and lose nothing."""

from __future__ import annotations

import mailbox
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from replacements.people import accounts
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Condition, Message, Reply
from tests.requests.conftest import MONDAY, OfficeAtWork, county  # noqa: F401 - a fixture
from tests.servers.dovecot import DovecotServer
from tests.whole_way.running import spoiled_mail
from tests.worker.conftest import Clock
from worker import jobs
from worker.in_process import InProcess
from worker.jobs import Work


@pytest.fixture
def work(
    sqlite_database: Database,
    county: Callable[..., OfficeAtWork],  # noqa: F811
    tmp_path: Path,
    clock: Clock,
) -> Work:
    county(sqlite_database)
    settings = Settings.from_environment({}, data=tmp_path / "var")
    settings.data.mkdir()
    return Work(sqlite_database, settings, clock)


def condition(work: Work, name: str) -> Condition:
    with work.database.read() as session:
        return session.get_one(Condition, name)


def messages(work: Work) -> int:
    with work.database.read() as session:
        return len(session.scalars(select(Message.id)).all())


def test_mail_is_fetched_once_however_often_the_job_runs(work: Work) -> None:
    mailbox.Maildir(str(work.settings.data / "mailbox"), create=True).add(spoiled_mail())
    assert [jobs.fetch_mail(work), jobs.fetch_mail(work)] == [1, 0]
    assert messages(work) == 1
    assert condition(work, "mailbox").ok


def test_a_mailbox_that_refuses_the_password_is_said_in_plain_words(work: Work, dovecot: DovecotServer) -> None:
    settings = replace(work.settings, mailbox=dovecot.url, mailbox_password="wrong", ca_file=dovecot.ca_file)
    assert jobs.fetch_mail(replace(work, settings=settings)) == 0
    found = condition(work, "mailbox")
    assert not found.ok
    assert "password" in found.text.lower()
    assert "wrong" not in found.text


def test_a_message_comes_from_a_real_server_and_is_marked_only_after_it_is_kept(
    work: Work, dovecot: DovecotServer
) -> None:
    settings = replace(work.settings, mailbox=dovecot.url, mailbox_password=dovecot.password, ca_file=dovecot.ca_file)
    over_the_wire = replace(work, settings=settings)
    uid = dovecot.append(spoiled_mail())
    assert jobs.fetch_mail(over_the_wire) == 1
    assert dovecot.flags(uid)
    assert jobs.fetch_mail(over_the_wire) == 0


def test_an_outbox_that_cannot_be_used_is_said_and_nothing_is_lost(work: Work) -> None:
    settings = replace(work.settings, outbox="carrier-pigeon:coop")
    assert jobs.send_replies(replace(work, settings=settings)) == 0
    assert not condition(work, "outbox").ok


def test_the_nightly_check_says_that_the_books_balance(work: Work) -> None:
    assert jobs.check_books(work)
    assert condition(work, "reconciliation").ok


def test_every_supervisor_gets_last_week_once(work: Work, clock: Clock) -> None:
    with work.database.write() as session:
        for name, roles, email in (
            ("sue", ["supervisor"], "sue@saltgrass.example"),
            ("sam", ["supervisor", "clerk"], "sam@saltgrass.example"),
            ("clara", ["clerk"], "clara@saltgrass.example"),
        ):
            accounts.create(
                session, name=name, password="seven quiet herons wade", roles=roles, at=clock.at, email=email
            )
    clock.at = MONDAY + timedelta(days=7, hours=-4)  # the next Monday, 5:30 in the morning
    assert jobs.send_weekly_summary(work) == 0
    clock.at += timedelta(hours=1)
    assert jobs.send_weekly_summary(work) == 2
    assert jobs.send_weekly_summary(work) == 0
    clock.at += timedelta(days=2)
    assert jobs.send_weekly_summary(work) == 0
    with work.database.read() as session:
        summaries = session.scalars(select(Reply).where(Reply.template == "weekly_summary")).all()
    assert {s.to for s in summaries} == {"sue@saltgrass.example", "sam@saltgrass.example"}
    assert all("Quillfeather" not in s.text for s in summaries)


def test_one_job_that_fails_does_not_stop_the_others(work: Work, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_: Work) -> None:
        raise RuntimeError("no")

    from worker import in_process

    monkeypatch.setitem(in_process.STEPS, "fetch_mail", broken)
    InProcess(work).run_due()
    assert not condition(work, "fetch_mail").ok
    assert condition(work, "reconciliation").ok
