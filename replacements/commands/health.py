"""The command that says how the service is doing, on the machine itself, also while the pages are down."""

from __future__ import annotations

import json

import click

from replacements.commands.basics import now
from replacements.health.looking import look
from replacements.health.telling import as_json
from replacements.health.types import Finding, Part, State
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.sealing import SealTrouble, read_keys

_SHOWN = {State.WORKING: "works", State.UNUSED: "not in use", State.BEHIND: "BEHIND", State.BROKEN: "BROKEN"}


@click.command(name="health")
@click.option("--json", "as_object", is_flag=True, help="One JSON object instead of lines.")
@click.pass_obj
def health(settings: Settings, as_object: bool) -> None:
    """Say what works and what is behind. Exit status 1 where anything is behind or broken, else 0.

    Nothing is changed: a database that is missing is not made, and one of an older version is not brought up to date.
    """
    trouble = ""
    try:
        keys = read_keys(settings.mail_keys)
        database = Database(settings.database, keys)
    except SealTrouble as error:
        trouble = str(error)
        database = Database(settings.database)
    found = look(database, settings, at=now())
    if trouble:
        found = found.with_(Finding(Part.KEYS, State.BROKEN, trouble))
    database.close()
    if as_object:
        click.echo(json.dumps(as_json(found), ensure_ascii=False))
    else:
        for one in found.findings:
            click.echo(f"{_SHOWN[one.state]:<10}  {one.part.called}: {one.words}")
        click.echo("Everything works." if found.in_order else "Something is behind; see above.")
    if not found.in_order:
        raise SystemExit(1)
