"""A container asks whether its worker or its schedule is alive: by the age of a file, which a real worker keeps new."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from replacements.store.database import Database
from tests.servers.redis import RedisServer
from tests.worker.conftest import soon
from worker import alive

PROGRAMS = Path(sys.executable).parent
ROOT = Path(__file__).parents[2]


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(alive, "WORKER", tmp_path / "worker")
    return tmp_path / "worker"


@pytest.fixture
def celery(sqlite_database: Database, redis_server: RedisServer, tmp_path: Path) -> Iterator[Callable[..., None]]:
    """Starts a Celery program in an office of its own, whose temporary files lie in `tmp_path`."""
    settings = {
        "REPLACEMENTS_DATA": str(tmp_path),
        "REPLACEMENTS_DATABASE": str(sqlite_database.engine.url.database),
        "REPLACEMENTS_REDIS": redis_server.url,
        "TMPDIR": str(tmp_path),
    }
    started: list[subprocess.Popen[bytes]] = []

    def start(*arguments: str | Path) -> None:
        with (tmp_path / "celery.log").open("ab") as log:
            command = [PROGRAMS / "celery", "-A", "worker", *arguments]
            surroundings = os.environ | settings
            started.append(
                subprocess.Popen(command, env=surroundings, stdout=log, stderr=log, cwd=ROOT, start_new_session=True)
            )

    yield start
    for program in started:
        os.killpg(program.pid, signal.SIGKILL)
        program.wait()


def asked(folder: Path, what: str) -> int:
    """The exit status that a container's health check sees."""
    command = [sys.executable, "-m", "worker.alive", what]
    return subprocess.run(command, env=os.environ | {"TMPDIR": str(folder)}, cwd=ROOT, check=False).returncode


def test_a_worker_and_a_schedule_are_alive_once_they_run(tmp_path: Path, celery: Callable[..., None]) -> None:
    assert [asked(tmp_path, what) for what in ("worker", "schedule", "nobody")] == [1, 1, 2]
    celery("worker", "-Q", "replies", "-c", "1")
    celery("beat", "--pidfile=", "--schedule", tmp_path / alive.SCHEDULE.name)
    soon(lambda: (tmp_path / alive.WORKER.name).exists(), 120)
    assert asked(tmp_path, "worker") == 0
    soon(lambda: bool(list(tmp_path.glob(f"{alive.SCHEDULE.name}*"))), 120)
    assert asked(tmp_path, "schedule") == 0


def test_a_worker_that_hears_nothing_from_its_queue_is_not_alive(
    tmp_path: Path, celery: Callable[..., None], redis_server: RedisServer
) -> None:
    celery("worker", "-Q", "replies", "-c", "1")
    soon(lambda: (tmp_path / alive.WORKER.name).exists(), 120)
    redis_server.stop()
    time.sleep(5)  # two beats: the last of them may have been on its way
    written = (tmp_path / alive.WORKER.name).stat().st_mtime
    time.sleep(5)
    assert (tmp_path / alive.WORKER.name).stat().st_mtime == written


def test_a_worker_is_alive_while_its_heart_beats(file: Path) -> None:
    assert not alive.is_alive(file, 60)
    alive.beat()
    assert alive.is_alive(file, 60)
    os.utime(file, (time.time() - 61, time.time() - 61))
    assert not alive.is_alive(file, 60)
    alive.beat()
    assert alive.is_alive(file, 60)


def test_a_heart_beats_into_no_file_that_somebody_else_put_there(file: Path, tmp_path: Path) -> None:
    target = tmp_path / "somebody-elses"
    file.symlink_to(target)
    alive.beat()
    assert not target.exists()
    file.unlink()
    target.write_bytes(b"theirs")
    os.utime(target, (1, 1))
    file.symlink_to(target)
    alive.beat()
    assert target.stat().st_mtime == 1
