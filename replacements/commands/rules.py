"""`replacements rules …`: check the office's rules, load and adopt them, show them; close an election."""

from __future__ import annotations

from collections import Counter
from datetime import datetime
from pathlib import Path

import click
from rich.progress import Progress
from rich.table import Table

from replacements.commands.basics import FILE, Trouble, err, now, open_database, out
from replacements.commands.elections import ELECTION, election_of, listed
from replacements.proposals import table_page
from replacements.reading import learned
from replacements.requests import office
from replacements.requests.comparing import compare
from replacements.requests.office import InForce
from replacements.requests.pieces import pieces_of_files, pieces_on_record
from replacements.rules.learning import as_toml, learn
from replacements.rules.office import load_rules, parse_rules, sha256_of, text_of
from replacements.settings import Settings


@click.group()
def rules() -> None:
    """The office's rules: check, load, adopt, show, close, compare, print, learn."""


@rules.command(name="check")
@click.argument("file", type=FILE)
def rules_check(file: Path) -> None:
    """Say whether FILE is a valid rules file; every mistake at once."""
    found = load_rules(file)
    click.echo(f"{file}: valid. {found.office.name}, {found.election.name} on {found.election.date}.")


@rules.command(name="load")
@click.argument("file", type=FILE)
@click.pass_obj
def rules_load(settings: Settings, file: Path) -> None:
    """Load FILE as the newest rules of its election, not yet adopted.

    Rules that were adopted for this election before stay in force until these are adopted. Where none were, and no
    other election is open, the service proposes by them, and voids nothing.
    """
    load_rules(file)
    with open_database(settings).write() as session:
        force = office.load(session, file.read_text(encoding="utf-8-sig"), at=now())
        before = office.of(session, force.election_id, at=now())
    kept = before is not None and before.adopted and before.sha256 != force.sha256
    state = (
        "Adopted." if force.adopted
        else f"Not adopted: {before.sha256[:16]}… stays in force until it is." if kept and before is not None
        else "Not adopted: nothing is voided."
    )  # fmt: skip
    click.echo(f"Loaded for {force.election_id}. SHA-256 {force.sha256}. {state}")


@rules.command(name="adopt")
@click.argument("file", type=FILE)
@click.option("--by", "official", required=True, help="The official who adopts the rules, by name.")
@click.pass_obj
def rules_adopt(settings: Settings, file: Path, official: str) -> None:
    """Load FILE and record that the official named with --by adopted it. From now on ballots can be voided by it.

    FILE of another election adds that election beside the others. What was decided before stays as it was.
    """
    load_rules(file)
    with open_database(settings).write() as session:
        loaded = office.load(session, file.read_text(encoding="utf-8-sig"), at=now())
        force = office.adopt(session, official=official, by="command line", at=now(), election_id=loaded.election_id)
        open_ = office.offered(session, at=now())
    click.echo(f"Adopted by {force.adopted_by} on {force.adopted_at:%Y-%m-%d %H:%M} UTC. SHA-256 {force.sha256}")
    if len(open_) > 1:
        click.echo(f"Elections that are open:\n{listed(open_)}")


@rules.command(name="show")
@click.pass_obj
def rules_show(settings: Settings) -> None:
    """Which rules are in force, since when, by whom: of each election that is on record."""
    with open_database(settings).read() as session:
        at = now()
        elections = office.known(session, at=at)
        if not elections:
            raise Trouble("No rules are loaded. Load the office's file: replacements rules load office.toml")
        for force in elections:
            if len(elections) > 1:
                click.echo(f"{force.election_id}: {_standing(force, at)}")
            click.echo(f"{force.rules.office.name}: {force.rules.election.name}, {force.rules.election.date}")
            adopted = f"adopted by {force.adopted_by} on {force.adopted_at}"
            click.echo(f"{adopted if force.adopted else 'NOT adopted: nothing is voided'}\nSHA-256 {force.sha256}")
            newest = office.loaded_last(session, force.election_id)
            if newest is not None and not newest.adopted and newest.sha256 != force.sha256:
                click.echo(f"Loaded and not adopted yet: SHA-256 {newest.sha256}")


def _standing(force: InForce, at: datetime) -> str:
    if force.closed is not None:
        return f"closed by {force.closed.by} on {force.closed.at:%Y-%m-%d}"
    if office.is_over(force.rules, at=at):
        return "over"
    return "open" if force.adopted else "loaded only"


@rules.command(name="close")
@click.argument("election")
@click.option("--by", "official", required=True, help="The official who closes the election, by name.")
@click.pass_obj
def rules_close(settings: Settings, election: str, official: str) -> None:
    """Record that an official closed ELECTION: no new request is about it, nothing is issued in it; it stays readable.

    An election is over by itself two weeks after the last of its ballots could count.
    """
    with open_database(settings).write() as session:
        named = election_of(session, election)
        force = office.close(session, named.election_id, official=official, by="command line", at=now())
    click.echo(f"{force.name} is closed, by {force.closed.by if force.closed else official}.")


@rules.command(name="reopen")
@click.argument("election")
@click.option("--by", "official", required=True, help="The official who opens the election again, by name.")
@click.pass_obj
def rules_reopen(settings: Settings, election: str, official: str) -> None:
    """Record that an official opened a closed ELECTION again."""
    with open_database(settings).write() as session:
        named = election_of(session, election)
        force = office.reopen(session, named.election_id, official=official, by="command line", at=now())
    click.echo(f"{force.name} is open again.")


@rules.command(name="table")
@click.argument("file", type=FILE, required=False)
@click.option("--out", "out_file", type=FILE, help="Write the page there, as HTML.")
def rules_table(file: Path | None, out_file: Path | None) -> None:
    """Print the decision table in words: when what is proposed, and by which rule.

    With FILE, an office's rules, its own figures stand in the sentences.
    """
    source = text_of(file) if file is not None else ""
    found = parse_rules(source, str(file)) if file is not None else None
    if out_file is None:
        click.echo(table_page.as_text(found), nl=False)
        return
    out_file.parent.mkdir(parents=True, exist_ok=True)
    page = table_page.as_html(found, sha256=sha256_of(source) if found is not None else "")
    out_file.write_text(page, encoding="utf-8", newline="\n")
    click.echo(f"Written: {out_file}")


@rules.command(name="compare")
@click.argument("old", type=FILE)
@click.argument("new", type=FILE)
@click.option("--mail", multiple=True, required=True, type=FILE, help=".eml files, mbox files, Maildirs, or folders.")
@click.option("--roll", required=True, type=FILE, help="roll.csv")
@click.option("--ballots", required=True, type=FILE, help="ballots.csv")
@click.pass_obj
def rules_compare(settings: Settings, old: Path, new: Path, mail: tuple[Path, ...], roll: Path, ballots: Path) -> None:
    """Say which proposals of earlier mail would change if NEW held instead of OLD. Nothing is written or sent.

    Where the two are rules of different elections, the mail is judged at the same distance from election day.
    """
    old_rules, new_rules = load_rules(old), load_rules(new)
    learned.use(settings.weights_in_use())
    with Progress(console=err, transient=True) as bar:
        task = bar.add_task("Judging twice", total=None)
        found = compare(
            mail,
            old_rules,
            new_rules,
            roll=roll,
            ballots=ballots,
            progress=lambda done, total: bar.update(task, completed=done, total=total),
        )
    for path, line in found.refused:
        click.echo(f"{path}, line {line.line}: not taken: {line.reason}", err=True)
    if found.moved:
        click.echo(f"The elections are {abs(found.moved.days)} days apart: the mail is judged by days before each.")
    click.echo(
        f"{found.messages} messages, {found.requests} requests; {len(found.changes)} would be proposed otherwise."
    )
    if found.unreadable:
        click.echo(f"{found.unreadable} messages cannot be read; a person reads them under either.")
    if not found.changes:
        return
    counted = Table("old", "new", title="What would change", title_justify="left")
    counted.add_column("requests", justify="right")
    for (was, now_), number in Counter((change.old, change.new) for change in found.changes).most_common():
        counted.add_row(was, now_, str(number))
    out.print(counted)
    click.echo("Each of them: message, person, old → new, by the rule")
    for change in found.changes:
        click.echo(f"{change.message}  {change.person or '–'}: {change.old} → {change.new}  ({change.rule})")


@rules.command(name="learn")
@click.option("--office", "office_file", type=FILE, help="The rules to start from. Default: those that are loaded.")
@click.option("--ballots", type=FILE, help="Learn from this ballots.csv. Default: from the ballots on record.")
@click.option("--roll", type=FILE, help="With --ballots: roll.csv, which tells where each packet went.")
@click.option(
    "--replacements-only",
    is_flag=True,
    help="Only from replacements: who asked for one keeps it for days, not for weeks.",
)
@ELECTION
@click.pass_obj
def rules_learn(
    settings: Settings,
    office_file: Path | None,
    ballots: Path | None,
    roll: Path | None,
    replacements_only: bool,
    election: str | None,
) -> None:
    """Learn from the office's own ballots how many days they are out, kept, and on their way back.

    Prints entries of [transit] to paste, for each destination, with the number of pieces behind every figure. Nothing
    is adopted by itself.
    """
    if roll is not None and ballots is None:
        raise Trouble("--roll goes with --ballots. Without both, the ballots and voters on record are used.")
    found_rules = load_rules(office_file) if office_file is not None else None
    if ballots is not None and found_rules is None:
        raise Trouble("Say which rules to start from, with --office: their columns are how the files are read.")
    if ballots is not None and found_rules is not None:
        pieces, refused = pieces_of_files(ballots, roll, found_rules, replacements_only=replacements_only)
        for path, line in refused:
            click.echo(f"{path}, line {line.line}: not taken: {line.reason}", err=True)
    else:
        with open_database(settings).read() as session:
            force = election_of(session, election)
            found_rules = found_rules or force.rules
            pieces = pieces_on_record(session, force.election_id, found_rules, replacements_only=replacements_only)
    if not pieces:
        raise Trouble("No ballot is on record with the days of both its mailing and its return.")
    with Progress(console=err, transient=True) as bar:
        task = bar.add_task(f"{len(pieces)} ballots", total=None)
        learned_legs = learn(pieces, found_rules, lambda done, of: bar.update(task, completed=done, total=of))
    click.echo(as_toml(learned_legs), nl=False)
