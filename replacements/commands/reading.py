"""`replacements reading …`: make the weights anew, measure them, draw what is taken for what, hand out corrections."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path

import click
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from replacements.commands.basics import FILE, Moment, Trouble, open_database, out
from replacements.reading import learned
from replacements.reading.measuring import KIND_WORDS, Measured, f1, measure
from replacements.reading.teaching import Example, examples
from replacements.reading.training import FOLDS, WEIGHTS, train
from replacements.requests.teaching_files import taught_by_the_office
from replacements.settings import Settings
from replacements.store.csv_files import FileTrouble
from replacements.store.private_files import write_private

OWN_MESSAGES = Path(__file__).resolve().parents[2] / "tests" / "reading" / "messages"  # in a checkout only
NEEDED = ("numpy", "scipy")
KEEP_IT_WELL = (
    "It holds voters' words and names: keep it as the mailbox is kept, and remove it when it has done its work."
)


@click.group()
def reading() -> None:
    """How messages are read: teach it, measure it, hand out what staff corrected."""


def _known(paths: Sequence[Path]) -> list[Example]:
    """The messages of all files. What cannot be used is said in a sentence."""
    for path in paths:
        if not path.exists():
            raise FileTrouble(f"{path}: there is no such file or folder. Expected .jsonl files, a message a line.")
    try:
        found = examples(paths)
    except UnicodeDecodeError as error:
        raise FileTrouble("A file is not UTF-8 text. Expected .jsonl files, one JSON object a line.") from error
    except OSError as error:
        raise FileTrouble(f"{error.filename}: cannot be read: {error.strerror}.") from error
    if not found:
        raise FileTrouble(f"{', '.join(map(str, paths))}: no messages. Expected .jsonl files, a message a line.")
    return found


@reading.command(name="train")
@click.argument("messages", nargs=-1, type=FILE)
@click.option("--corrections", multiple=True, type=FILE, help="A file of `reading export`; may be given several times.")
@click.option(
    "--out",
    "out_file",
    type=FILE,
    help="Default: the file that REPLACEMENTS_WEIGHTS names, else (a checkout's own messages alone) the package's.",
)
@click.pass_obj
def train_command(
    settings: Settings, messages: tuple[Path, ...], corrections: tuple[Path, ...], out_file: Path | None
) -> None:
    """Make the reading's weights anew from MESSAGES with right answers, and from corrections.

    MESSAGES: .jsonl files or folders of them; in a checkout, where none are given, those under tests/reading/messages.
    The same messages give the same file. A program that runs goes on with the weights it started with.
    """
    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        raise Trouble(
            f"Making weights needs {' and '.join(missing)}, which is not installed. In the folder of this program: "
            "pip install -e '.[train]'"
        )
    if not messages and not OWN_MESSAGES.is_dir():
        raise Trouble(
            "Say which messages to learn from: .jsonl files or folders, a JSON object a line with `text` and `kinds`. "
            "Corrections alone are too few to learn a language from; the messages that the package's own weights were "
            "learned from are in its source, under tests/reading/messages."
        )
    target = out_file or settings.weights
    if target is None:
        if messages or corrections or not OWN_MESSAGES.is_dir():
            raise Trouble("Say where the weights go, with --out; then name that file in REPLACEMENTS_WEIGHTS.")
        target = WEIGHTS
    known = _known([*(messages or [OWN_MESSAGES]), *corrections])
    writers = len({one.writer for one in known})
    if writers < FOLDS:
        raise Trouble(
            f"These messages are of {writers} writers, as the files say (`writer`). At least {FOLDS} are needed: each "
            "is read once by weights that did not learn from them, to make the probabilities honest."
        )
    target.parent.mkdir(parents=True, exist_ok=True)
    # Before NumPy is loaded. One thread adds up in one order everywhere, and on a busy machine is several times faster.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    part = target.with_name(f".{target.name}.part")  # a file that is in use is replaced whole, or not at all
    try:
        with Progress(SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn(), console=out) as bar:
            task = bar.add_task(f"{len(known)} messages", total=None)
            taught = train(known, part, lambda done: bar.update(task, description=done))
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
    click.echo(f"Learned from {taught} messages. Written: {target}")
    if settings.weights is not None and target.resolve() == settings.weights.resolve():
        click.echo("It is read by from the next start of `replacements serve` and of the workers on.")


_weights_option = click.option("--weights", type=FILE, help="Read by this file's weights, not by those in use.")


def _measured(settings: Settings, files: Sequence[Path], weights: Path | None) -> tuple[list[Example], Measured]:
    if weights is not None and not weights.is_file():
        raise FileTrouble(f"{weights}: there is no such file.")
    learned.use(weights or settings.weights_in_use())
    known = _known(files)
    with out.status(f"Reading {len(known)} messages"):
        return known, measure(known)


def _counts(title: str, first: str, rows: Iterable[tuple[str, Counter[str]]]) -> Table:
    table = Table(first, title=title, title_justify="left")
    for heading in ("F1", "right", "missed", "extra"):
        table.add_column(heading, justify="right")
    for name, count in rows:
        score = f"{f1(count):.3f}" if count.total() else "–"  # no message has this kind
        table.add_row(name, score, *(str(count[word]) for word in ("right", "missed", "extra")))
    return table


@reading.command(name="measure")
@click.argument("files", nargs=-1, required=True, type=FILE)
@_weights_option
@click.pass_obj
def measure_command(settings: Settings, files: tuple[Path, ...], weights: Path | None) -> None:
    """Read messages with right answers, and say how well that went.

    F1: 1 is all kinds right and none too many. Messages that the weights learned from say little about new ones.
    """
    _, found = _measured(settings, files, weights)
    by_file: Mapping[str, Counter[str]] = found.by_source
    rows = [("all", by_file[""]), *sorted((name, count) for name, count in by_file.items() if name)]
    out.print(_counts(f"Kinds, {found.messages} messages", "file", rows))
    out.print(_counts("By kind", "kind", [(KIND_WORDS[kind], count) for kind, count in found.by_kind.items()]))
    click.echo(f"Probabilities are off by {found.calibration_error:.3f} on average (expected calibration error).")
    asked = found.causes["asked"]
    click.echo(
        f"Causes right: {found.causes['right'] / asked:.3f} of {asked}." if asked else "No message asks for a cause."
    )


@reading.command(name="picture")
@click.argument("files", nargs=-1, required=True, type=FILE)
@click.option("--out", "out_file", required=True, type=FILE, help="The SVG file to write.")
@_weights_option
@click.pass_obj
def picture_command(settings: Settings, files: tuple[Path, ...], out_file: Path, weights: Path | None) -> None:
    """Draw which kind is taken for which, as an SVG that also prints in black and white."""
    known, found = _measured(settings, files, weights)
    out_file.parent.mkdir(parents=True, exist_ok=True)
    from replacements.reading.picture import draw  # its library takes a tenth of a second, which no other command needs

    out_file.write_text(draw(known, found), encoding="utf-8", newline="\n")
    click.echo(f"Written: {out_file}")


@reading.command(name="export")
@click.option("--out", "out_file", required=True, type=FILE, help="The .jsonl file to write, for its owner alone.")
@click.option("--since", type=Moment(), help="Only what was corrected or decided from then on (UTC without a zone).")
@click.option(
    "--confirmed",
    is_flag=True,
    help="Also messages that were decided as proposed, where the reading was at least 90 % sure of each kind.",
)
@click.option("--mask", is_flag=True, help="Put # for every digit and NAME for the names that are known of the voter.")
@click.pass_obj
def export_command(settings: Settings, out_file: Path, since: datetime | None, confirmed: bool, mask: bool) -> None:
    """Write the messages whose reading staff corrected, to teach by, one JSON object a line.

    THE FILE HOLDS VOTERS' WORDS AND NAMES: keep it as the mailbox is kept, and remove it when it has done its work.
    With --mask it still holds what voters told, and names that are on no record; masked it teaches a little less.
    """
    if since is not None and since.tzinfo is None:
        since = since.replace(tzinfo=UTC)
    with open_database(settings).read() as session:
        found = taught_by_the_office(session, since=since, confirmed=confirmed, mask=mask)
    write_private(out_file, found.as_lines())
    click.echo(f"{found.corrected} corrected messages, {found.confirmed} confirmed ones. Written: {out_file}")
    for left_out, why in (
        (found.gone, "the mail is no longer kept"),
        (found.wordless, "the mail has no words that can be read"),
        (found.machine, "machine mail is told by its headers, not learned"),
    ):
        if left_out:
            click.echo(f"{left_out} left out: {why}.")
    click.echo(KEEP_IT_WELL)
