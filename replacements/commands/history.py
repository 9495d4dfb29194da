"""The commands about requests of earlier elections."""

from __future__ import annotations

from pathlib import Path

import click

from replacements.commands.basics import FILE, now, open_database, out, tell_refused
from replacements.settings import Settings
from replacements.summary.history import KINDS, OPTIONAL, REQUIRED, load_history


@click.group(name="history")
def history_group() -> None:
    """Requests of earlier elections, for the weekly summary to compare with."""


@history_group.command()
@click.argument("file", type=FILE)
@click.option("--strict", is_flag=True, help="Take nothing if any line is refused.")
@click.pass_obj
def load(settings: Settings, file: Path, strict: bool) -> None:
    """Take in a CSV file of an earlier election's requests: a line a request, without names."""
    with open_database(settings).write() as session:
        report = load_history(session, file, at=now(), strict=strict)
    if report.taken:
        out.print(
            f"{report.added} requests added, {report.changed} changed, {report.unchanged} as before, "
            f"{len(report.refused)} lines refused. Elections: {', '.join(report.elections) or 'none'}.",
            markup=False,
        )
    tell_refused(report.refused, report.taken)


@history_group.command()
def columns() -> None:
    """Say which columns the file has, and what stands in each."""
    for title, names in (("Needed", REQUIRED), ("May be left out", OPTIONAL)):
        click.echo(f"{title}:")
        for name, means in names.items():
            click.echo(f"  {name:<12} {means}")
    click.echo(f"Kinds: {', '.join(KINDS)}.")
