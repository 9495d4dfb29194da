"""The commands about the keys that stored mail is sealed with."""

from __future__ import annotations

from pathlib import Path

import click
from rich.progress import Progress
from rich.table import Table

from replacements.commands.basics import Trouble, err, open_database, out
from replacements.settings import Settings
from replacements.store import sealed_mail, sealing
from replacements.store.rewriting import rewrite


@click.group(name="keys")
def keys_group() -> None:
    """The keys that stored mail is sealed with."""


def _file(settings: Settings) -> Path:
    if settings.mail_keys is None:
        raise Trouble("Set REPLACEMENTS_MAIL_KEYS to a file, which the database's backups do not hold, first.")
    return settings.mail_keys


@keys_group.command(name="make")
@click.pass_obj
def make(settings: Settings) -> None:
    """Add a key: it seals all mail from the next start on; what older keys sealed, they still open.

    Keep a copy of the file apart from the backups. Without it nobody can read the mail again.
    """
    path = _file(settings)
    name = sealing.make_key(path)
    click.echo(f"Key {name} added to {path}.")
    click.echo("Start the pages and the workers anew; then: replacements keys reseal")


@keys_group.command(name="list")
@click.pass_obj
def list_(settings: Settings) -> None:
    """How much mail is sealed with which key. Exit status 1 where a key is missing."""
    keys = sealing.read_keys(settings.mail_keys)
    with open_database(settings, check_keys=False).read() as session:
        found = sealed_mail.by_key(session)
    table = Table("key", "messages", "")
    for name in dict.fromkeys([*keys.boxes, *found]):
        state = "" if name in keys.boxes else "MISSING" if name else "not sealed"
        table.add_row(
            name or "none", str(found[name]), "seals" if name and keys.boxes and name == keys.newest else state
        )
    out.print(table)
    if set(found) - set(keys.boxes) - {""}:
        raise SystemExit(1)


@keys_group.command(name="reseal")
@click.pass_obj
def reseal(settings: Settings) -> None:
    """Seal all stored mail with the newest key, and rewrite the files so that what stood there before is gone.

    May run beside the work of the office (the last step makes it wait), be broken off, and run again.
    """
    _file(settings)
    database = open_database(settings)
    with database.read() as session:
        found = sealed_mail.by_key(session)
    with Progress(console=err, transient=True) as bar:
        task = bar.add_task("Messages", total=sum(found.values()))
        done = sealed_mail.seal_anew(database, progress=lambda so_far: bar.update(task, completed=so_far))
    newest = sealing.keys_of(database.engine.dialect).newest
    with database.read() as session:
        left = sum(sealed_mail.by_key(session).values()) - sealed_mail.by_key(session)[newest]
    if left:
        raise Trouble(f"{left} messages are not sealed with the key {newest} yet. Run it again.")
    click.echo(f"{done} messages sealed anew; all of them are sealed with the key {newest}.")
    if done:
        click.echo(rewrite(database, ("raw_mail",)).text)
