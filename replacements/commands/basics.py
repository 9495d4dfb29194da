"""What every command shares: how trouble is said, how a moment is typed, how the database is opened."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.table import Table

from replacements.roll import index
from replacements.settings import Settings
from replacements.store import sealed_mail
from replacements.store.csv_files import Refused
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.sealing import read_keys

FILE = click.Path(path_type=Path)
out = Console()
err = Console(stderr=True)  # for progress, so that the output can go into a file


class Trouble(click.ClickException):
    """Said on the error output, exit status 2."""

    exit_code = 2


class Moment(click.ParamType[datetime]):
    """A moment in ISO 8601; without a zone it is the office's time."""

    name = "ISO"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> datetime:
        try:
            return value if isinstance(value, datetime) else datetime.fromisoformat(value)
        except ValueError:
            self.fail(f"{value!r} is no moment. Expected for example 2026-10-14T08:12 or 2026-10-14T08:12-04:00.")


def now() -> datetime:
    return datetime.now(UTC)


def open_database(settings: Settings, *, check_keys: bool = True) -> Database:
    """The office's database at the present schema, with the keys of its stored mail. Raises DatabaseTrouble, and
    SealTrouble where a key is missing (not where `check_keys` is off)."""
    settings.data.mkdir(parents=True, exist_ok=True)
    database = Database(settings.database, read_keys(settings.mail_keys))
    migrate(database)
    if check_keys:
        sealed_mail.check(database)
    index.make_ready(database)
    return database


def tell_refused(refused: Sequence[Refused], taken: bool) -> None:
    """The table of what was not taken, and exit status 2 where a strict import refused the whole file."""
    if refused:
        table = Table("line", "reason", title=f"{len(refused)} lines were not taken")
        for line in refused:
            table.add_row(str(line.line), line.reason)
        out.print(table)
    if not taken:
        raise Trouble("Nothing was imported: with --strict one bad line refuses the whole file.")
