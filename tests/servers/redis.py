"""A private Redis for tests: on a free port, empty, keeping nothing."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.servers.ports import free_port, stop, wait_for


@dataclass
class RedisServer:
    """A running Redis. `stop()` loses everything it held; `start()` brings up an empty one on the same port."""

    program: str
    folder: Path
    port: int
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        keeping_nothing = ["--save", "", "--appendonly", "no", "--protected-mode", "yes"]
        with (self.folder / "redis.log").open("ab") as log:
            self.process = subprocess.Popen(
                [
                    self.program,
                    "--port",
                    str(self.port),
                    "--bind",
                    "127.0.0.1",
                    "--dir",
                    str(self.folder),
                    *keeping_nothing,
                ],
                stdout=log,
                stderr=log,
            )
        if not wait_for(self.port, self.process):
            pytest.skip(f"redis-server did not start: {(self.folder / 'redis.log').read_text()[-500:]}")

    def stop(self) -> None:
        if self.process is not None:
            stop(self.process)
            self.process = None


@pytest.fixture
def redis_server(tmp_path: Path) -> Iterator[RedisServer]:
    program = shutil.which("redis-server")
    if program is None:
        pytest.skip("redis-server is not installed")
    folder = tmp_path / "redis"
    folder.mkdir()
    server = RedisServer(program, folder, free_port())
    server.start()
    yield server
    server.stop()


@pytest.fixture
def redis_url(redis_server: RedisServer) -> str:
    return redis_server.url
