"""The command line: `replacements …`. Thin: each command calls one room and says in plain words what came of it."""

from __future__ import annotations

import json
import sys
from dataclasses import astuple
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
from rich.progress import Progress
from rich.table import Table

from replacements.ballots import handover
from replacements.ballots.heads import HeadTrouble
from replacements.ballots.importing import BallotReport, import_ballots
from replacements.ballots.reconciling import reconcile as reconcile_books
from replacements.commands.accounts import accounts_group
from replacements.commands.backup import backup, restore
from replacements.commands.basics import FILE, Moment, Trouble, now, open_database, out, tell_refused
from replacements.commands.elections import ELECTION, election_of
from replacements.commands.health import health
from replacements.commands.history import history_group
from replacements.commands.keys import keys_group
from replacements.commands.ledger import ledger_group
from replacements.commands.purge import purge
from replacements.commands.reading import reading
from replacements.commands.replies import replies_group
from replacements.commands.roll_weights import weights_command
from replacements.commands.rules import rules
from replacements.people import accounts, passwords
from replacements.reading import learned
from replacements.reading.reader import warm
from replacements.reading.teaching import TeachingError
from replacements.requests import office
from replacements.requests.rehearsal import load_elections, rehearse
from replacements.roll import parameters as roll_figures
from replacements.roll.importing import RollReport, import_file
from replacements.rules.office import RulesError
from replacements.settings import Settings, SettingTrouble
from replacements.store.csv_files import FileTrouble, lines_in
from replacements.store.migrate import DatabaseTrouble

EXPECTED = (
    RulesError,
    FileTrouble,
    SettingTrouble,
    DatabaseTrouble,
    accounts.AccountTrouble,
    passwords.PasswordRefused,
    handover.NoSuchHandOver,
    HeadTrouble,
    learned.WeightsRefused,
    office.NotClosed,
    TeachingError,
)


class _Plain(click.Group):
    """Turns what can go wrong in an office into a sentence and exit status 2, never into a traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except EXPECTED as trouble:
            raise Trouble(str(trouble)) from trouble


@click.group(cls=_Plain)
@click.option("--data", type=FILE, help="Data folder (default: ./var, or REPLACEMENTS_DATA).")
@click.pass_context
def main(ctx: click.Context, data: Path | None) -> None:
    """Replacement mail ballots: from a voter's mail to the next business day's mailing.

    Voiding a ballot takes away a vote if it is the wrong one. The service proposes, people decide, and local law and
    the responsible official go before anything said here.
    """
    settings = ctx.obj = Settings.from_environment(data=data)
    if ctx.invoked_subcommand != "roll":  # which makes the file anew where it cannot be used
        try:
            roll_figures.use(settings.roll_weights_in_use())
        except roll_figures.WeightsTrouble as trouble:
            raise Trouble(str(trouble)) from trouble


main.add_command(backup)
main.add_command(health)
main.add_command(history_group)
main.add_command(keys_group)
main.add_command(accounts_group)
main.add_command(ledger_group)
main.add_command(purge)
main.add_command(reading)
main.add_command(replies_group)
main.add_command(restore)
main.add_command(rules)


def _read_by_the_offices_weights(settings: Settings) -> None:
    """Before anything is read. A file that is set and cannot be used stops the program; one that is not there yet is
    said, so that nobody believes it was read by."""
    learned.use(settings.weights_in_use())
    if settings.weights is not None and settings.weights_in_use() is None:
        click.echo(f"{settings.weights} is not there yet: messages are read by the package's own weights.", err=True)


@main.command()
@click.option("--once", is_flag=True, help="Set up and work through the mailbox, then end instead of serving.")
@click.option("--fresh", is_flag=True, help="Start over: the data folder's demo is removed first.")
@click.option("--port", default=8000, show_default=True, help="Port of the dashboard.")
@click.pass_obj
def demo(settings: Settings, once: bool, fresh: bool, port: int) -> None:
    """An invented county, to try everything on: 2,000 voters, a mailbox of about 60 mails, the dashboard."""
    from replacements.demo.running import run_demo

    run_demo(settings, once=once, fresh=fresh, port=port, console=out, now=now)


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8000, show_default=True)
@click.option("--pages-only", is_flag=True, help="Only the pages: the jobs run elsewhere, with Celery.")
@click.pass_obj
def serve(settings: Settings, host: str, port: int, pages_only: bool) -> None:
    """The dashboard, and (without Redis) all background jobs beside it: one program does the whole work."""
    from worker.serving import serve_pages

    _read_by_the_offices_weights(settings)
    serve_pages(
        open_database(settings), settings, host=host, port=port, jobs=not (pages_only or settings.redis), now=now
    )


@main.command(name="rehearse")
@click.argument("mail", nargs=-1, required=True, type=FILE)
@click.option("--roll", required=True, type=FILE, help="roll.csv")
@click.option("--ballots", required=True, multiple=True, type=FILE, help="ballots.csv; one for each --office.")
@click.option(
    "--office", "offices", required=True, multiple=True, type=FILE, help="office.toml; several where elections overlap."
)
@click.option(
    "--at",
    type=click.DateTime(["%Y-%m-%dT%H:%M:%S%z", "%Y-%m-%dT%H:%M%z", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%d"]),
    help="Judge as if now were this moment (office's time), not each mail's arrival.",
)
@click.option("--out", "out_file", type=FILE, help="Write there instead of on the standard output.")
@click.option("--alone", is_flag=True, help="Judge each message alone: earlier ones are no history.")
@click.option("--timings", is_flag=True, help="Add how many milliseconds each stage took.")
@click.pass_obj
def rehearse_command(
    settings: Settings,
    mail: tuple[Path, ...],
    roll: Path,
    ballots: tuple[Path, ...],
    offices: tuple[Path, ...],
    at: datetime | None,
    out_file: Path | None,
    alone: bool,
    timings: bool,
) -> None:
    """Read mail and say what would be proposed, touching nothing. One JSON object a line, in the order of MAIL.

    MAIL: .eml files, mbox files, Maildirs, or folders of those. Where several elections overlap, give --office and
    --ballots for each, in the same order; each request then says which election it is about.
    """
    for path in (*offices, *ballots):
        if not path.exists():
            raise FileTrouble(f"{path}: there is no such file.")
    if len(offices) != len(ballots):
        raise Trouble(
            f"{len(offices)} --office and {len(ballots)} --ballots: give one list of ballots for each rules file, in "
            "the same order."
        )
    for path in mail:
        if not path.exists():
            raise FileTrouble(f"{path}: there is no such file or folder. Expected .eml files, mbox files or Maildirs.")
    _read_by_the_offices_weights(settings)
    warm()
    try:
        loaded = load_elections(list(zip(offices, ballots, strict=True)), roll)
    except ValueError as trouble:
        if isinstance(trouble, EXPECTED):
            raise
        raise Trouble(str(trouble)) from trouble
    for path, line in loaded.refused:
        click.echo(f"{path}, line {line.line}: not taken: {line.reason}", err=True)
    if at is not None and at.tzinfo is None:
        at = at.replace(tzinfo=loaded.rules.dates.return_by.tzinfo)
    target = out_file.open("w", encoding="utf-8") if out_file else sys.stdout
    try:
        for answer in rehearse(mail, loaded, at=at, alone=alone, timings=timings):
            target.write(json.dumps(answer, ensure_ascii=False) + "\n")
    finally:
        if out_file:
            target.close()


@main.group()
def roll() -> None:
    """The roll of voters."""


roll.add_command(weights_command)


@roll.command(name="import")
@click.argument("file", type=FILE)
@click.option("--strict", is_flag=True, help="Refuse the whole file if one line is bad.")
@click.pass_obj
def roll_import(settings: Settings, file: Path, strict: bool) -> None:
    """Load FILE, a line per voter. The same file again changes nothing; a newer one changes what differs."""
    database = open_database(settings)
    with database.read() as session:
        force = office.in_force(session)
    with Progress(console=out, transient=True) as bar:
        task = bar.add_task("Roll", total=lines_in(file))
        report: RollReport = import_file(
            database,
            file,
            columns=force.rules.columns.roll if force else None,
            strict=strict,
            progress=lambda done: bar.update(task, completed=done),
            at=now(),
        )
    click.echo(
        f"{report.added} voters added, {report.changed} changed, {report.unchanged} unchanged, "
        f"{len(report.left_out)} no longer in the file (kept, marked inactive and no longer found by messages)."
    )
    tell_refused(report.refused, report.taken)


@main.group()
def ballots() -> None:
    """The ballots that were issued."""


@ballots.command(name="import")
@click.argument("file", type=FILE)
@click.option("--strict", is_flag=True, help="Refuse the whole file if one line is bad.")
@ELECTION
@click.pass_obj
def ballots_import(settings: Settings, file: Path, strict: bool, election: str | None) -> None:
    """Load FILE, a line per ballot of one election. What this service decided is never undone: a disagreement is
    listed."""
    database = open_database(settings)
    with Progress(console=out, transient=True) as bar, database.write() as session:
        force = election_of(session, election, must_be_open=True)
        task = bar.add_task("Ballots", total=None)
        report: BallotReport = import_ballots(
            session,
            file,
            election_id=force.election_id,
            at=now(),
            columns=force.rules.columns.ballots,
            strict=strict,
            progress=lambda done: bar.update(task, completed=done),
        )
    click.echo(
        f"{report.added} ballots added, {report.changed} changed, {report.unchanged} unchanged, "
        f"{report.not_in_file} no longer in the file (left as they are)."
    )
    for disagreement in report.disagreements:
        click.echo(f"Disagreement, ballot {disagreement.number}: {disagreement.text}")
    tell_refused(report.refused, report.taken)


@main.command()
@ELECTION
@click.pass_obj
def reconcile(settings: Settings, election: str | None) -> None:
    """Do the books of an election balance? By ballot style and in total. Exit status 1 and every difference named where
    not."""
    with open_database(settings).read() as session:
        found = reconcile_books(session, election_of(session, election).election_id)
    table = Table(
        "style", "issued", "out", "undeliverable", "returned", "accepted", "challenged", "suspended", "voided"
    )
    table.add_column("replaced")
    table.add_column("replacements")
    for style, count in [*found.styles.items(), ("total", found.total)]:
        table.add_row(style, *(str(number) for number in astuple(count)))
    out.print(table)
    for difference in found.differences:
        click.echo(f"Ballot {difference.number}: {difference.text}", err=True)
    if not found.agrees:
        click.echo("The books do NOT balance.", err=True)
        raise SystemExit(1)
    click.echo("The books balance.")


@main.command(name="handover")
@click.option("--since", type=Moment(), help="Only events from this moment on (ISO 8601; UTC where no zone is given).")
@click.option("--again", type=int, help="Write an earlier hand-over once more, by its number.")
@click.option("--folder", type=FILE, default=Path("."), show_default=True, help="Where the file goes.")
@ELECTION
@click.pass_obj
def handover_command(
    settings: Settings, since: datetime | None, again: int | None, folder: Path, election: str | None
) -> None:
    """Write voids and reissues as CSV for the office's own system: each event once, under a running number."""
    if not folder.is_dir():
        raise FileTrouble(f"{folder}: there is no such folder.")
    if since is not None and since.tzinfo is None:
        since = since.replace(tzinfo=UTC)
    with open_database(settings).write() as session:
        force = election_of(session, election)
        if again is None:
            written = handover.hand_over(session, force.election_id, by="command line", at=now(), since=since)
        else:
            written = handover.repeat(session, force.election_id, again)
        several = len(office.known(session)) > 1  # each election numbers its own
        target = folder / (f"{force.election_id}-{written.file_name}" if several else written.file_name)
        target.write_text(written.text, encoding="utf-8", newline="")
    click.echo(f"Written: {target}")
