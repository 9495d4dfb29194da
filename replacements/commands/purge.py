"""The command that removes mail and texts whose retention period has ended."""

from __future__ import annotations

import click

from replacements.commands.basics import Trouble, now, open_database
from replacements.requests import purging
from replacements.settings import Settings
from replacements.store.rewriting import rewrite


@click.command(name="purge")
@click.option("--keep", type=click.IntRange(0), default=0, help="Keep all for at least so many days after an election.")
@click.option("--dry-run", is_flag=True, help="Only say what would go.")
@click.pass_obj
def purge(settings: Settings, keep: int, dry_run: bool) -> None:
    """Remove mail and texts of elections whose retention period ([retention] of the rules) has ended.

    The ledger, the counts and the record of what was mailed stay. What is open, on hold or not sent yet stays whole.
    Afterwards the files are written anew, so that the bytes are gone; backups taken before still hold them.
    """
    database, at = open_database(settings), now()
    with database.read() as session:
        for period in purging.periods(session, at=at, keep=keep):
            click.echo(period.text)
        due = purging.count(session, at=at, keep=keep)
    if dry_run or not due.counts["messages"]:
        click.echo(f"{'Would go' if due.counts['messages'] else 'Nothing goes'}: {due.in_words}.")
        return
    done = purging.purge(database, at=at, keep=keep, by="command line")
    click.echo(f"Removed: {done.in_words}.")
    if done.left:
        raise Trouble(f"Something of them is still there: {done.left}. Run it again, and tell whoever looks after it.")
    click.echo("Looked again: nothing of them is left in the tables.")
    rewritten = rewrite(database, purging.TABLES)
    click.echo(rewritten.text)
    if not rewritten.done:
        raise SystemExit(1)
