"""The command line: `replacements …`."""

from __future__ import annotations

import click


@click.group()
def main() -> None:
    """Replacement mail ballots: from a voter's mail to the next business day's mailing."""
