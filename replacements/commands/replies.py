"""The commands about replies: stop all sending at once, and let it go on."""

from __future__ import annotations

import click

from replacements.commands.basics import now, open_database
from replacements.replies import pausing
from replacements.settings import Settings


@click.group(name="replies")
def replies_group() -> None:
    """Replies to voters: pause all sending, and let it go on."""


@replies_group.command(name="pause")
@click.option("--by", required=True, help="Who says so.")
@click.option("--why", required=True, help="Shown to everybody on the staff: name no voter.")
@click.pass_obj
def pause(settings: Settings, by: str, why: str) -> None:
    """Let no reply go until `replies resume`. They are written and kept as ever."""
    with open_database(settings).write() as session:
        pausing.pause(session, by=by, why=why, at=now())
    click.echo("Sending is paused. No reply goes until: replacements replies resume")


@replies_group.command(name="resume")
@click.option("--by", required=True, help="Who says so.")
@click.pass_obj
def resume(settings: Settings, by: str) -> None:
    """Let replies go again."""
    with open_database(settings).write() as session:
        was = pausing.go_on(session, by=by, at=now())
    click.echo("Sending goes on." if was else "Sending was not paused.")
