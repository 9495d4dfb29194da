"""The dashboard behind a WSGI server, with the jobs in a thread beside it where there is no Redis."""

from __future__ import annotations

import socket
from collections.abc import Callable
from datetime import datetime

import click
import waitress

from replacements.settings import Settings, SettingTrouble
from replacements.store.database import Database
from replacements.web.app import create_app
from worker.in_process import InProcess
from worker.jobs import Work
from worker.settling import settle

THREADS = 8


def free_or_trouble(host: str, port: int) -> None:
    """Raise SettingTrouble in plain words where the port cannot be had."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise SettingTrouble(
                f"Port {port} on {host} cannot be used: {error.strerror}. Another program may be using it; "
                "choose another with --port."
            ) from error


def serve_pages(
    database: Database, settings: Settings, *, host: str, port: int, jobs: bool, now: Callable[[], datetime]
) -> None:
    """Serve until interrupted. `jobs`: run the background jobs here too."""
    free_or_trouble(host, port)
    app = create_app(database, settings, now=now)
    settle()
    background = InProcess(Work(database, settings, now)) if jobs else None
    if background is not None:
        background.start()
    click.echo(f"The dashboard is at http://{host}:{port} (stop with Ctrl-C).")
    try:
        waitress.serve(app, host=host, port=port, threads=THREADS, ident="replacements")
    finally:
        if background is not None:
            background.stop()
