"""`replacements roll weights`: the figures that evidence is weighed by, and measuring them on the office's own roll."""

from __future__ import annotations

import os
from pathlib import Path

import click
from rich.progress import Progress
from rich.table import Table
from sqlalchemy import select

from replacements.commands.basics import FILE, Trouble, now, open_database, out
from replacements.roll import estimating, parameters
from replacements.roll.index import COLUMNS
from replacements.roll.parameters import Parameter, WeightsTrouble
from replacements.roll.stored import StoredRoll
from replacements.roll.types import Voter
from replacements.roll.weighing import bits
from replacements.settings import Settings
from replacements.store.tables import VoterRow

FEWEST = 100  # voters; fewer tell nothing of what agrees by accident
AT_ONCE = 2000


@click.command(name="weights")
@click.option("--estimate", is_flag=True, help="Measure on the roll as it is stored, and weigh by that from now on.")
@click.option("--out", "out_file", type=FILE, help="Write what was measured here, not where it is used from.")
@click.pass_obj
def weights_command(settings: Settings, estimate: bool, out_file: Path | None) -> None:
    """Show how much each agreement weighs and what that rests on; with --estimate, measure on the office's own roll.

    Measured is how often two voters agree by accident: in a birth year, a town, an account. How voters write cannot be
    measured on a roll, and stays. Programs that run go on with the figures that they started with.
    """
    if out_file is not None and not estimate:
        raise Trouble("--out says where what is measured goes; add --estimate.")
    if estimate:
        _estimate(settings, out_file or settings.roll_weights)
        return
    try:
        parameters.use(settings.roll_weights_in_use())
    except WeightsTrouble as trouble:
        raise Trouble(str(trouble)) from trouble
    table = Table("field", "agreement", "m", "u", "bits", "rests on")
    for field, levels in parameters.parameters().fields.items():
        for level, figures in levels.items():
            table.add_row(field, level, f"{figures.m:g}", *_shown(figures), figures.source)
    out.print(table)


def _shown(figures: Parameter) -> tuple[str, str]:
    """u in words, and the weight where it does not hang on the roll or the name."""
    if figures.u is not None:
        return f"{figures.u:g}", f"{bits(figures.m, figures.u):+.1f}"
    if figures.u_voters is not None:
        return f"{figures.u_voters:g} voters", "by size of roll"
    return f"{figures.u_times:g} × name's share", "by name"


def _estimate(settings: Settings, target: Path) -> None:
    with open_database(settings).read() as session, Progress(console=out, transient=True) as bar:
        size = StoredRoll(session).size
        if size < FEWEST:
            raise Trouble(
                f"The roll has {size} voters; measuring needs {FEWEST}. Load it: replacements roll import FILE"
            )
        task = bar.add_task("Measuring", total=size)
        on_the_roll = select(*COLUMNS).where(VoterRow.number.is_not(None))  # who left it agrees with nobody
        rows = session.execute(on_the_roll.execution_options(yield_per=AT_ONCE))
        voters = (Voter(*row) for row in bar.track(rows, task_id=task))
        figures = estimating.estimate(voters, now().date(), size=size)
    text = estimating.as_text(figures, size, now().date())
    part = target.with_name(f".{target.name}.part")  # a file that is in use is replaced whole, or not at all
    target.parent.mkdir(parents=True, exist_ok=True)
    part.write_text(text, encoding="utf-8")
    try:
        parameters.with_measured(parameters.own(), part)
        os.replace(part, target)
    finally:
        part.unlink(missing_ok=True)
    base = parameters.own().fields
    table = Table("field", "agreement", "package's", "measured")
    for (field, level), (name, number) in figures.items():
        table.add_row(field, level, f"{getattr(base[field][level], name):g}", f"{number:g}")
    out.print(table)
    click.echo(f"{len(figures)} figures measured on {size} voters. Written: {target}")
