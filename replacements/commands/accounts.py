"""Commands about accounts: the first one is made here, and what nobody is left for on the dashboard."""

from __future__ import annotations

import click
from sqlalchemy import select

from replacements.ballots import ledger
from replacements.commands.basics import now, open_database
from replacements.people import accounts, second_factor
from replacements.people.permissions import Role
from replacements.settings import Settings
from replacements.store.tables import Account


@click.group(name="accounts")
def accounts_group() -> None:
    """Who may sign in to the dashboard."""


@accounts_group.command(name="create")
@click.argument("name")
@click.option("--role", "roles", multiple=True, required=True, type=click.Choice([r.value for r in Role]))
@click.option("--full-name", default="")
@click.option("--email", default="", help="Where a supervisor gets the weekly summary.")
@click.password_option("--passphrase", help="At least 15 characters; asked for when left out.")
@click.pass_obj
def accounts_create(
    settings: Settings, name: str, roles: tuple[str, ...], full_name: str, email: str, passphrase: str
) -> None:
    """Make an account. The first one is made here; later ones also on the dashboard by a supervisor."""
    with open_database(settings).write() as session:
        made = accounts.create(
            session, name=name, password=passphrase, roles=roles, at=now(), full_name=full_name, email=email
        )
    click.echo(f"Account {made.name} made.")


@accounts_group.command(name="remove-second-factor")
@click.argument("name")
@click.option("--by", required=True, help="Who answers for knowing that it is this person who asks.")
@click.pass_obj
def accounts_remove_second_factor(settings: Settings, name: str, by: str) -> None:
    """Take a lost second factor and the recovery codes off NAME, where nobody is left who can on the dashboard."""
    with open_database(settings).write() as session:
        account = session.scalars(select(Account).where(Account.name == name)).first()
        if account is None:
            raise accounts.AccountTrouble(f"There is no account {name}. Nothing was changed.")
        kinds = second_factor.lost(session, account.id)
        details = {"account": account.name, "kinds": kinds}
        ledger.append(session, event="account_second_factor_removed", election_id="", by=by, at=now(), details=details)
    click.echo(f"{name} signs in with the passphrase alone, or sets up another second factor where the role needs one.")
