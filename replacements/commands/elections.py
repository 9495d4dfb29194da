"""Which election a command is about: `--election`, or the only one that is open."""

from __future__ import annotations

import click
from sqlalchemy.orm import Session

from replacements.commands.basics import Trouble, now
from replacements.requests import office
from replacements.requests.office import InForce

ELECTION = click.option(
    "--election", metavar="ID", help="Which election, as `rules show` lists them. Default: the only one that is open."
)


def election_of(session: Session, wanted: str | None, *, must_be_open: bool = False) -> InForce:
    """The election that is named by its id, or the only one that is open. Raises Trouble, which lists the others.

    `must_be_open`: what is asked for adds something to the election.
    """
    at = now()
    open_ = office.offered(session, at=at)
    if not open_:
        raise Trouble("No rules are loaded, so there is no election. Load the office's: replacements rules load FILE")
    if wanted is None:
        if len(open_) > 1:
            raise Trouble(f"More than one election is open: name one with --election.\n{listed(open_)}")
        found = open_[0]
    else:
        known = office.known(session, at=at)
        named = [force for force in known if force.election_id == wanted]
        if not named:
            raise Trouble(f"There is no election {wanted!r}. These are on record:\n{listed(known)}")
        found = named[0]
    if must_be_open and found.closed is not None:
        raise Trouble(f"{found.name} was closed by {found.closed.by}: nothing is added to it. Open:\n{listed(open_)}")
    return found


def listed(elections: tuple[InForce, ...]) -> str:
    """A line for each: its id, and its name and day."""
    return "\n".join(f"  {force.election_id}  ({force.name})" for force in elections)
