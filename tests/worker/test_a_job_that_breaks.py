"""A job that breaks: the health page says so until it runs again, and no log says what it had in hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy.exc import IntegrityError

from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Condition, NameCount
from worker import jobs, tasks
from worker.in_process import InProcess
from worker.jobs import Work


@pytest.fixture
def work(sqlite_database: Database, tmp_path: Path) -> Work:
    return Work(sqlite_database, Settings.from_environment({}, data=tmp_path))


def _breaks(_work: Work) -> int:
    raise RuntimeError("the letter of Ada Quillfeather")


@pytest.fixture
def broken(work: Work, monkeypatch: pytest.MonkeyPatch) -> None:
    """Closing mailings breaks, with a voter's name in the error's own words."""
    monkeypatch.setattr(jobs, "close_mailings", _breaks)
    monkeypatch.setattr(tasks, "_work", work)


def _condition(work: Work, name: str) -> Condition | None:
    with work.database.read() as session:
        return session.get(Condition, name)


def test_a_task_that_breaks_is_on_the_health_page_and_logs_no_name(
    work: Work, broken: None, caplog: pytest.LogCaptureFixture, capsys: pytest.CaptureFixture[str]
) -> None:
    tasks.close_mailings.apply()
    said = _condition(work, "close_mailings")
    assert said is not None
    assert not said.ok
    out = capsys.readouterr()
    assert "RuntimeError" in out.out + out.err + caplog.text
    assert "Quillfeather" not in caplog.text + out.out + out.err + said.text


def test_a_job_that_runs_again_is_in_order_again(work: Work, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tasks, "_work", work)
    with monkeypatch.context() as while_broken:
        while_broken.setattr(jobs, "close_mailings", _breaks)
        tasks.close_mailings.apply()
    tasks.close_mailings.apply()
    said = _condition(work, "close_mailings")
    assert said is not None
    assert said.ok


def test_beside_the_pages_it_is_the_same(work: Work, monkeypatch: pytest.MonkeyPatch) -> None:
    seconds = [0.0]
    runner = InProcess(work, clock=lambda: seconds[0])
    with monkeypatch.context() as while_broken:
        while_broken.setitem(runner.steps, "close_mailings", _breaks)
        runner.run_due()
    said = _condition(work, "close_mailings")
    assert said is not None
    assert not said.ok
    seconds[0] += 3600
    runner.run_due()
    said = _condition(work, "close_mailings")
    assert said is not None
    assert said.ok


def test_an_error_of_the_database_does_not_repeat_what_was_to_be_stored(work: Work) -> None:
    def store() -> None:
        with work.database.write() as session:
            session.add(NameCount(part="last", name="quillfeather", voters=1))

    store()
    with pytest.raises(IntegrityError) as error:
        store()
    assert "quillfeather" not in str(error.value)
