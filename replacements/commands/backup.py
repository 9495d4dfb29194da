"""The commands that take a backup of the whole office, and restore one."""

from __future__ import annotations

from pathlib import Path

import click

from replacements.backups import restoring, taking
from replacements.commands.basics import FILE, now, open_database
from replacements.roll import index
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.sealing import read_keys


@click.command(name="backup")
@click.argument("target", type=FILE)
@click.option("--keep", type=click.IntRange(1), help="Remove all but so many of the newest in the folder TARGET.")
@click.pass_obj
def backup(settings: Settings, target: Path, keep: int | None) -> None:
    """Write a backup to TARGET, a file or a folder, while everything goes on. Exit status 1 where its books are wrong.

    It holds the database with all stored mail, signed heads, what was measured, local mailboxes, and the settings; no
    secret and no key. Voters' data is in it: keep it as the roll is kept.
    """
    done = taking.take(open_database(settings, check_keys=False), settings, target, at=now())
    click.echo(done.in_words)
    if needed := done.manifest["secrets"]:
        click.echo(f"Not in it, and needed to go on elsewhere: {', '.join(needed)}.")
    if keep is not None and target.is_dir():
        for old in taking.forget_old(target, keep=keep):
            click.echo(f"Removed: {old}")
    for trouble in done.trouble:
        click.echo(trouble, err=True)
    if done.trouble:
        raise SystemExit(1)


@click.command(name="restore")
@click.argument("file", type=FILE)
@click.option("--overwrite", is_flag=True, help="Even where something is there; a backup of that is written first.")
@click.pass_obj
def restore(settings: Settings, file: Path, overwrite: bool) -> None:
    """Restore the backup FILE into an empty database, verify its ledger and reconcile. Exit status 1 where a person
    must look at something first.

    Stop the pages and the workers before, start them after.
    """
    settings.data.mkdir(parents=True, exist_ok=True)
    database = Database(settings.database, read_keys(settings.mail_keys))
    done = restoring.restore(database, settings, file, at=now(), overwrite=overwrite)
    index.make_ready(database)
    for sentence in done.said:
        click.echo(sentence)
    for sentence in done.wrong:
        click.echo(sentence, err=True)
    if done.wrong:
        raise SystemExit(1)
