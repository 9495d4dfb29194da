"""A private PostgreSQL that keeps what it has committed, and can be stopped in the middle of anything and started."""

from __future__ import annotations

import shutil
import signal
import subprocess
import time
from dataclasses import dataclass, field
from pathlib import Path

import psycopg

from tests.servers.databases import _account, _programs
from tests.servers.ports import free_port

_OPTIONS = ("shared_buffers=128MB", "max_wal_size=96MB", "jit=off", "max_connections=80")
_START_SECONDS = 60
FAST, IMMEDIATE = signal.SIGINT, signal.SIGQUIT  # its documented signals: sessions are ended; it ends as in a crash


@dataclass
class RestartedPostgres:
    """A cluster in `folder`, which is made; its log lies at `log`, elsewhere."""

    folder: Path
    log: Path
    port: int = field(default_factory=free_port)
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"postgresql://office@127.0.0.1:{self.port}/postgres"

    def make(self) -> None:
        account = _account()
        if account:
            shutil.chown(self.folder, account)
        command = [_programs() / "initdb", "-D", self.folder / "data", "-U", "office", "-A", "trust", "-E", "UTF8"]
        subprocess.run([*command, "--no-locale"], check=True, capture_output=True, user=account, cwd=self.folder)

    def start(self) -> None:
        """Start it, and wait until it answers. Raises TimeoutError."""
        options = [part for option in _OPTIONS for part in ("-c", option)]
        place = ["-D", str(self.folder / "data"), "-p", str(self.port), "-h", "127.0.0.1", "-k", str(self.folder)]
        until = time.monotonic() + _START_SECONDS
        while time.monotonic() < until:
            if self.process is None or self.process.poll() is not None:
                with self.log.open("ab") as log:
                    self.process = subprocess.Popen(
                        [_programs() / "postgres", *place, *options],
                        stdout=log, stderr=log, user=_account(), cwd=self.folder,
                    )  # fmt: skip
            try:
                psycopg.connect(self.url, connect_timeout=2).close()
                return
            except psycopg.OperationalError:
                time.sleep(0.05)
        raise TimeoutError(self.log.read_text(errors="replace")[-2000:])

    def stop(self, how: signal.Signals) -> None:
        if self.process is not None:
            self.process.send_signal(how)
            self.process.wait(timeout=_START_SECONDS)
            self.process = None
