"""A private PostgreSQL for a benchmark, without the shortcuts that tests take."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg

from tests.servers.databases import _account, _programs
from tests.servers.ports import free_port

_MEMORY = ("shared_buffers=256MB", "maintenance_work_mem=256MB", "max_wal_size=2GB", "jit=off")


@contextmanager
def private_postgres() -> Iterator[str]:
    """The URL of an empty database on a fresh server, gone afterwards; "" where PostgreSQL is not installed."""
    if not shutil.which("initdb") and not Path("/usr/lib/postgresql").exists():
        yield ""
        return
    programs, account, port = _programs(), _account(), free_port()
    folder = Path(tempfile.mkdtemp(prefix="benchmark-postgres-"))
    if account:
        shutil.chown(folder, account)
    data = folder / "data"
    made = [str(programs / "initdb"), "-D", str(data), "-U", "office", "-A", "trust", "-E", "UTF8", "--no-locale"]
    subprocess.run(made, check=True, capture_output=True, user=account, cwd=folder)
    options = [part for option in _MEMORY for part in ("-c", option)]
    start = [str(programs / "postgres"), "-D", str(data), "-p", str(port), "-h", "127.0.0.1", "-k", str(folder)]
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen([*start, *options], stdout=log, stderr=log, user=account, cwd=folder, env=os.environ)
    url = f"postgresql://office@127.0.0.1:{port}/postgres"
    try:
        for _ in range(600):
            try:
                psycopg.connect(url).close()
                break
            except psycopg.OperationalError:
                time.sleep(0.1)
        yield url
    finally:
        process.send_signal(signal.SIGQUIT)
        process.wait(timeout=60)
        shutil.rmtree(folder, ignore_errors=True)
