"""The schedule goes on when the clock of the machine is put back, while it runs and while it does not."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from worker.app import app
from worker.schedule import EVERY
from worker.steady_schedule import SteadyScheduler

NOON = datetime(2026, 10, 5, 12, 0, tzinfo=UTC)


class Beat:
    """The schedule over one file, and a clock that the test sets. `handed_out`: the names of what became due."""

    def __init__(self, file: Path) -> None:
        self.file, self.at = file, NOON
        self.handed_out: list[str] = []

    def start(self) -> None:
        self.scheduler = SteadyScheduler(app=app, schedule_filename=str(self.file))
        self.scheduler.apply_entry = self._note

    def run(self, seconds: int) -> None:
        """Let so much time pass, a second at a time, as beat's own loop does."""
        for _ in range(seconds):
            self.at += timedelta(seconds=1)
            while self.scheduler.tick() == 0:
                pass

    def _note(self, entry: Any, **_: Any) -> None:
        self.handed_out.append(entry.name)


@pytest.fixture
def beat(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Beat]:
    found = Beat(tmp_path / "beat")
    app.set_current()
    monkeypatch.setattr(app, "now", lambda: found.at)
    found.start()
    yield found
    found.scheduler.close()


def test_every_job_goes_on_after_the_clock_was_put_back_by_hours(beat: Beat) -> None:
    beat.run(130)
    assert beat.handed_out.count("fetch_mail") >= 12
    beat.at -= timedelta(hours=2)
    beat.handed_out.clear()
    beat.run(130)
    assert beat.handed_out.count("fetch_mail") >= 12
    assert beat.handed_out.count("send_replies") >= 12
    assert beat.handed_out.count("close_mailings") == 2


def test_a_schedule_that_was_stopped_while_the_clock_was_put_back_goes_on(beat: Beat) -> None:
    beat.run(30)
    beat.scheduler.close()
    beat.at -= timedelta(hours=2)
    beat.start()
    beat.handed_out.clear()
    beat.run(30)
    assert beat.handed_out.count("fetch_mail") >= 2


def test_a_clock_put_forward_lets_each_job_run_once_not_for_every_time_that_was_missed(beat: Beat) -> None:
    beat.run(30)
    beat.handed_out.clear()
    beat.at += timedelta(hours=7)
    beat.run(1)
    assert set(EVERY) <= set(beat.handed_out)
    assert len(beat.handed_out) == len(set(beat.handed_out))


def test_the_worker_uses_this_schedule() -> None:
    assert app.conf.beat_scheduler == "worker.steady_schedule:SteadyScheduler"
