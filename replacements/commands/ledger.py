"""The commands about the ledger: verify it, sign its head and compare, derive every state from it, hand it out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as version_of
from pathlib import Path

import click
from rich.table import Table

from replacements.ballots import acknowledging, event_log, heads, ledger, rebuilding
from replacements.commands.basics import FILE, Trouble, now, open_database, out
from replacements.commands.elections import ELECTION, election_of
from replacements.requests import interchange, office
from replacements.settings import Settings
from replacements.store.csv_files import FileTrouble
from replacements.store.csv_text import csv_text
from replacements.store.private_files import write_private


@click.group(name="ledger")
def ledger_group() -> None:
    """The ledger: every event of every ballot, chained by SHA-256."""


def _broken(broken: ledger.Broken) -> None:
    click.echo(f"BROKEN at entry {broken.seq} ({broken.how}). {broken.text}", err=True)
    raise SystemExit(1)


def _election(settings: Settings, election: str | None) -> str:
    """The election asked for, or the only one that is open."""
    with open_database(settings).read() as session:
        return election_of(session, election).election_id


@ledger_group.command(name="verify")
@click.pass_obj
def verify(settings: Settings) -> None:
    """Check the whole chain. Exit status 1 and the first broken entry named where it does not hold."""
    with open_database(settings).read() as session:
        verdict = ledger.verify(session)
    if verdict.broken is not None:
        _broken(verdict.broken)
    click.echo(f"The ledger holds: {verdict.entries} entries, head {verdict.head}")


@ledger_group.command(name="key")
@click.pass_obj
def key(settings: Settings) -> None:
    """Make the key that signs heads, in a file that only its owner can read; where there is one, show its public half.

    Keep a copy of the public half outside: with it anybody can check a head.
    """
    if settings.ledger_key.exists():
        public = heads.public_half(settings.ledger_key)
        click.echo(f"The key is there: {settings.ledger_key}")
    else:
        public = heads.make_key(settings.ledger_key)
        click.echo(f"Made: {settings.ledger_key}")
    click.echo(f"Public half: {public}\nIn short:    {heads.fingerprint(public)}")


@ledger_group.command(name="head")
@click.option("--out", "out_file", type=FILE, help="Also write it as a file, for `ledger compare`.")
@click.option(
    "--every", type=click.IntRange(1), default=heads.RUNG_EVERY, show_default=True,
    help="The file holds the hash of every so manyth entry: how closely a later difference can be told.",
)  # fmt: skip
@click.pass_obj
def head(settings: Settings, out_file: Path | None, every: int) -> None:
    """Verify the ledger, and sign its head: to be printed, and compared on another day."""
    signing = heads.read_key(settings.ledger_key)
    with open_database(settings).read() as session:
        verdict = ledger.verify(session)
        if verdict.broken is not None:
            _broken(verdict.broken)
        made = heads.sign(session, signing, at=now(), every=every)
    click.echo(f"Signed at   {made.at}\nEntries     {made.entries}\nHead        {heads.in_groups(made.hash)}")
    click.echo(f"Key         {heads.fingerprint(made.key)}\nSignature   {heads.in_groups(made.signature)}")
    if out_file is not None:
        write_private(out_file, made.as_json())
        click.echo(f"Written: {out_file}")


@ledger_group.command(name="compare")
@click.argument("file", type=FILE, required=False)
@click.option("--entries", type=click.IntRange(0), help="Instead of FILE: the number of entries on a printed head.")
@click.option("--hash", "digest", help="Instead of FILE: the head on paper; blanks do not matter.")
@click.option("--key", "public", help="The public half of the office's key, kept outside. Default: of the key here.")
@click.pass_obj
def compare(settings: Settings, file: Path | None, entries: int | None, digest: str | None, public: str | None) -> None:
    """Say whether the ledger still continues the head that was signed then (FILE, or typed from paper).

    Exit status 1 where it does not, with the place where it departs.
    """
    if (file is None) == (entries is None or digest is None):
        raise Trouble("Name a file that `ledger head --out` wrote, or both --entries and --hash from paper.")
    with open_database(settings).read() as session:
        if file is None:
            anchor = heads.typed(entries or 0, digest or "")
            verdict = ledger.verify(session, anchor=anchor)
            then, since = anchor[0], "the head typed"
        else:
            try:
                made = heads.read_head(file.read_text(encoding="utf-8"), name=str(file))
            except (OSError, UnicodeDecodeError) as trouble:
                raise FileTrouble(f"{file}: cannot be read as text.") from trouble
            if public is None and settings.ledger_key.exists():
                public = heads.public_half(settings.ledger_key)
            verdict = heads.compare(session, made, key=public)
            then, since = made.entries, f"the head signed at {made.at} with the key {heads.fingerprint(made.key)}"
    if verdict.broken is not None:
        _broken(verdict.broken)
    if file is not None and public is None:
        click.echo("There is no key here to hold the signature against: is it the office's?", err=True)
    click.echo(f"The ledger continues {since}: {then} entries then, {verdict.entries} now, none of them changed.")


@ledger_group.command(name="rebuild")
@click.option("--check", is_flag=True, help="Compare with the tables. Exit status 1 and every difference named.")
@click.option("--out", "out_file", type=FILE, help="Write each ballot's state there, as CSV.")
@ELECTION
@click.pass_obj
def rebuild(settings: Settings, check: bool, out_file: Path | None, election: str | None) -> None:
    """Derive every ballot's state from the ledger alone."""
    election = _election(settings, election)
    with open_database(settings).read() as session:
        verdict = ledger.verify(session)
        if verdict.broken is not None:  # what is derived from it would prove nothing
            _broken(verdict.broken)
        rebuilt = rebuilding.rebuild(session, election)
        differs = rebuilding.compare(session, election, rebuilt) if check else ()
    if out_file is not None:
        columns = ("number", "voter_id", "style", "state", "replaces", "void_reason", "mailed_on", "returned_on")
        rows = (
            ["" if (value := getattr(ballot, name)) == rebuilding.UNKNOWN else value for name in columns]
            for _, ballot in sorted(rebuilt.ballots.items())
        )
        write_private(out_file, csv_text(columns, rows))
        click.echo(f"Written: {out_file}")
    states = Counter(ballot.state for ballot in rebuilt.ballots.values())
    counted = ", ".join(f"{states[state]} {state}" for state in sorted(states)) or "none"
    click.echo(f"{rebuilt.entries} entries, {len(rebuilt.ballots)} ballots: {counted}.")
    for wrong in rebuilt.wrong:
        click.echo(f"Entry {wrong.seq}, ballot {wrong.number}: {wrong.text}", err=True)
    for one in differs:
        click.echo(f"Ballot {one.number}: {one.text}", err=True)
    if rebuilt.wrong or differs:
        raise SystemExit(1)
    if check:
        click.echo("The tables say what the ledger says.")


@ledger_group.command(name="export")
@click.argument("file", type=FILE)
@click.option("--public", is_flag=True, help="Without the details, where voters' ids stand.")
@click.option("--documentation", is_flag=True, help="Instead: what the log's events and types mean.")
@click.pass_obj
def export(settings: Settings, file: Path, public: bool, documentation: bool) -> None:
    """Write the ledger to FILE as an election event log (NIST SP 1500-101, JSON)."""
    if documentation:
        write_private(file, event_log.documentation(at=now(), version=_version()))
    else:
        with open_database(settings).read() as session:
            _write(file, event_log.write(session, at=now(), public=public, version=_version()))
    click.echo(f"Written: {file}")


@ledger_group.command(name="requests")
@click.argument("file", type=FILE)
@ELECTION
@click.pass_obj
def requests(settings: Settings, file: Path, election: str | None) -> None:
    """Write the requests to FILE in the words of NIST SP 1500-102, a JSON document a line. It holds names."""
    election = _election(settings, election)
    with open_database(settings).read() as session:
        force = office.of(session, election)
        _write(file, interchange.write(session, election, issuer=force.rules.office.name if force else "office"))
    click.echo(f"Written: {file}")


@ledger_group.command(name="handovers")
@ELECTION
@click.pass_obj
def handovers(settings: Settings, election: str | None) -> None:
    """List the hand-overs, and whether the office's own system took them."""
    election = _election(settings, election)
    with open_database(settings).read() as session:
        found = acknowledging.handed_over(session, election)
    table = Table("no.", "at", "events", "answer")
    for one in found:
        table.add_row(str(one.number), one.at[:16], str(one.events), one.state)
    out.print(table)


@ledger_group.command(name="acknowledge")
@click.argument("number", type=click.IntRange(1))
@click.argument("file", type=FILE)
@ELECTION
@click.pass_obj
def acknowledge(settings: Settings, number: int, file: Path, election: str | None) -> None:
    """Record FILE, the answer of the office's own system to hand-over NUMBER.

    A CSV file with the columns ballot_number, event and, where it says so, result ("taken", or why not). Exit status 1
    where anything handed over was not taken.
    """
    election = _election(settings, election)
    with open_database(settings).write() as session:
        answer = acknowledging.acknowledge(session, election, number, file, by="command line", at=now())
    click.echo(f"Hand-over {number}: {answer.taken} taken{' (recorded before)' if answer.known else ''}.")
    for name, what in (("Not taken", answer.not_taken), ("No answer", answer.missing), ("Unknown", answer.unexpected)):
        for line in what:
            click.echo(f"{name}: {line}", err=True)
    if not answer.complete:
        raise SystemExit(1)


def _write(path: Path, pieces: Iterator[str]) -> None:
    """Piece by piece, into a file for its owner alone."""
    write_private(path, "")
    try:
        with path.open("w", encoding="utf-8", newline="\n") as file:
            file.writelines(pieces)
    except OSError as error:
        raise FileTrouble(f"{path}: cannot be written: {error.strerror}.") from error


def _version() -> str:
    try:
        return version_of("replacements")
    except PackageNotFoundError:
        return "unknown"
