"""What is done at night is done once, says how it went, and makes up for a night that was missed."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import text, update

from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.rewriting import Rewritten
from replacements.store.tables import Condition, Request
from tests.requests.conftest import MONDAY, ZONE, OfficeAtWork, set_up
from tests.worker.conftest import Clock
from worker import nights, tasks
from worker.app import app
from worker.in_process import STEPS
from worker.jobs import Work
from worker.schedule import EVERY

AT_NIGHT = datetime(2028, 9, 4, 2, 10, tzinfo=ZONE)


@pytest.fixture
def work(database: Database, tmp_path: Path, clock: Clock) -> Work:
    set_up(database)
    settings = Settings.from_environment({}, data=tmp_path / "var")
    return Work(database, replace(settings, backups=tmp_path / "backups", backups_kept=2), clock)


def _said(work: Work, name: str) -> Condition:
    with work.database.read() as session:
        return session.get_one(Condition, name)


def _backups(work: Work) -> list[str]:
    assert work.settings.backups is not None
    return sorted(path.name for path in work.settings.backups.iterdir())


def test_a_backup_is_written_each_night_and_the_oldest_go(work: Work, clock: Clock) -> None:
    written = []
    for hour in range(4 * 24):
        clock.at = MONDAY + timedelta(hours=hour)
        if nights.back_up(work):
            written.append(clock.at)
    assert written[0] == MONDAY  # there was none yet
    assert [at.hour for at in written[1:]] == [1] * (len(written) - 1)
    assert len(written) == 1 + 4
    assert len(_backups(work)) == 2
    assert _said(work, "backup").ok


def test_a_night_that_was_missed_is_made_up_for_by_day(work: Work, clock: Clock) -> None:
    assert nights.back_up(work)
    clock.at = MONDAY + timedelta(hours=31)
    assert nights.back_up(work)


def test_no_folder_no_backup(work: Work) -> None:
    assert not nights.back_up(replace(work, settings=replace(work.settings, backups=None)))


def test_a_folder_that_cannot_be_written_is_said_and_tried_again(work: Work, tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("")
    broken = replace(work, settings=replace(work.settings, backups=tmp_path / "a file"))
    assert not nights.back_up(broken)
    assert not _said(work, "backup").ok
    assert nights.back_up(work)
    assert _said(work, "backup").ok


def test_what_a_killed_backup_left_behind_is_removed_a_day_later(work: Work) -> None:
    assert work.settings.backups is not None
    left = work.settings.backups / ".backup-abc"
    left.mkdir(parents=True)
    (left / "part").write_text("the roll")
    nights.back_up(work)
    assert left.exists()  # it may be one that is still being written
    os.utime(left, (0, 0))
    nights.taking.forget_old(work.settings.backups, keep=2)
    assert not left.exists()


def _one_that_may_go(work: Work) -> None:
    OfficeAtWork(work.database, "2026-11-03-general-election").receive("What are your hours?")
    with work.database.write() as session:
        session.execute(update(Request).values(state="declined"))


def test_what_is_past_its_period_goes_at_night_only(work: Work, clock: Clock) -> None:
    _one_that_may_go(work)
    clock.at = AT_NIGHT + timedelta(hours=8)
    assert nights.purge_past_retention(work) == 0
    clock.at = AT_NIGHT + timedelta(days=1)
    assert nights.purge_past_retention(work) == 1
    assert _said(work, "retention").ok
    assert nights.purge_past_retention(work) == 0
    assert "Nothing" in _said(work, "retention").text


def test_files_that_could_not_be_written_anew_are_tried_again(
    work: Work, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    _one_that_may_go(work)
    clock.at = AT_NIGHT
    with monkeypatch.context() as held:
        held.setattr(nights, "rewrite", lambda *_: Rewritten(False, "Somebody holds the tables."))
        assert nights.purge_past_retention(work) == 1
    assert not _said(work, "retention").ok
    assert nights.purge_past_retention(work) == 0
    assert _said(work, "retention").ok


def test_a_long_night_is_not_handed_out_twice_by_the_queue() -> None:
    for task in (tasks.back_up, tasks.purge_past_retention):
        assert not task.acks_late
        assert task.time_limit > app.conf.broker_transport_options["visibility_timeout"]


def test_the_schedule_the_program_beside_the_pages_and_celery_know_the_same_jobs() -> None:
    assert set(EVERY) == set(STEPS)
    assert set(EVERY) <= set(app.tasks)
    assert {entry["task"] for entry in app.conf.beat_schedule.values()} == set(EVERY)


def test_the_ledger_says_that_the_rules_removed_it(work: Work, clock: Clock) -> None:
    _one_that_may_go(work)
    clock.at = AT_NIGHT
    nights.purge_past_retention(work)
    with work.database.read() as session:
        by = session.execute(text("SELECT by FROM ledger WHERE event = 'purged'")).scalar_one()
    assert by == "rules: retention"
