"""`replacements reading …` as an office meets it: teaching, measuring, drawing, handing corrections out."""

from __future__ import annotations

import gzip
import json
import stat
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

import replacements.commands.reading as commands
from replacements.cli import main
from replacements.reading import learned
from replacements.reading.kinds import find_kinds
from replacements.reading.teaching import example
from replacements.reading.types import Kind
from replacements.requests.correcting import correct
from replacements.store.database import Database
from tests.requests.conftest import set_up

RULES = Path(__file__).parent / "rules" / "saltgrass.toml"
ENGLISH = Path(__file__).parent / "reading" / "messages" / "dev" / "en.jsonl"
# A word of this office's own, which no other message has.
OFFICE_WORD = "flimbert"
Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path) -> Iterator[Run]:
    def invoke(*arguments: str | Path, weights: Path | None = None) -> Result:
        env = {"REPLACEMENTS_WEIGHTS": str(weights)} if weights else {}
        return CliRunner(env=env).invoke(main, ["--data", str(tmp_path / "var"), *map(str, arguments)])

    yield invoke
    learned.use(None)


@pytest.fixture
def messages(tmp_path: Path) -> Path:
    """A few dozen messages with right answers."""
    file = tmp_path / "en.jsonl"
    file.write_text("".join(ENGLISH.read_text(encoding="utf-8").splitlines(keepends=True)[:48]), encoding="utf-8")
    return file


@pytest.fixture
def corrections(tmp_path: Path) -> Path:
    """What an office corrected: its own word for a thing that it helps with."""
    file = tmp_path / "ours.jsonl"
    told = (
        "The {} is stuck.",
        "My {} again!",
        "No luck with the {} today",
        "{} {}",
        "Your {} beats me.",
        "About that {}",
    )
    lines = [
        json.dumps({"writer": f"w{n}", "text": text.format(OFFICE_WORD, OFFICE_WORD), "kinds": ["assistance"]})
        for n, text in enumerate(told * 2)
    ]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def _read(text: str) -> set[Kind]:
    return {k.kind for k in find_kinds(example({"text": text, "kinds": []}).letter).kinds}


def test_an_office_teaches_its_own_word_and_is_read_by_it(
    run: Run, messages: Path, corrections: Path, tmp_path: Path
) -> None:
    made = tmp_path / "made" / "ours.json.gz"
    done = run("reading", "train", messages, "--corrections", corrections, "--out", made)
    assert done.exit_code == 0, done.output
    assert "60 messages" in done.output
    assert list(made.parent.iterdir()) == [made]
    ours = f"What about the {OFFICE_WORD}?"
    learned.use(None)
    assert Kind.ASSISTANCE not in _read(ours)
    learned.use(made)
    assert _read(ours) == {Kind.ASSISTANCE}


def test_the_same_messages_give_the_same_bytes(run: Run, messages: Path, tmp_path: Path) -> None:
    first, second = tmp_path / "one.gz", tmp_path / "two.gz"
    for file in (first, second):
        assert run("reading", "train", messages, "--out", file).exit_code == 0
    assert first.read_bytes() == second.read_bytes()


def test_the_weights_go_where_the_setting_says(run: Run, messages: Path, tmp_path: Path) -> None:
    ours = tmp_path / "ours.json.gz"
    done = run("reading", "train", messages, weights=ours)
    assert done.exit_code == 0, done.output
    assert "next start" in done.output
    learned.use(ours)


@pytest.mark.parametrize("given", ["messages", "corrections"])
def test_an_offices_mail_never_goes_into_the_packages_own_weights(
    run: Run, messages: Path, corrections: Path, given: str
) -> None:
    before = commands.WEIGHTS.stat()
    arguments = [messages] if given == "messages" else ["--corrections", corrections]
    done = run("reading", "train", *arguments)
    assert done.exit_code == 2
    assert "--out" in done.stderr
    assert commands.WEIGHTS.stat().st_mtime_ns == before.st_mtime_ns


def test_without_a_checkout_it_says_what_to_give(
    run: Run, tmp_path: Path, corrections: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(commands, "OWN_MESSAGES", tmp_path / "nowhere")
    done = run("reading", "train", "--corrections", corrections, "--out", tmp_path / "w.gz")
    assert done.exit_code == 2
    assert "Say which messages to learn from" in done.stderr


def test_in_a_checkout_its_own_messages_are_the_ones_to_learn_from(
    run: Run, messages: Path, corrections: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert sum(1 for _ in commands.OWN_MESSAGES.rglob("*.jsonl")) > 10
    folder = tmp_path / "few"
    folder.mkdir()
    messages.rename(folder / "en.jsonl")
    monkeypatch.setattr(commands, "OWN_MESSAGES", folder)
    monkeypatch.setattr(commands, "WEIGHTS", tmp_path / "own.gz")
    done = run("reading", "train")
    assert done.exit_code == 0, done.output
    assert "48 messages" in done.output
    learned.use(tmp_path / "own.gz")
    with_ours = run("reading", "train", "--corrections", corrections, "--out", tmp_path / "ours.gz")
    assert "60 messages" in with_ours.output


def test_what_is_not_installed_is_said_in_words(run: Run, messages: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(commands, "find_spec", lambda name: None if name == "scipy" else object())
    done = run("reading", "train", messages, "--out", "nowhere.gz")
    assert done.exit_code == 2
    assert "scipy" in done.stderr
    assert "numpy" not in done.stderr
    assert ".[train]" in done.stderr


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('{"text": "x"}', "it has no 'kinds'"),
        ('{"text": "x", "kinds": ["dragons"]}', "dragons"),
        ("{", "line 2"),
    ],
)
def test_a_message_that_cannot_be_used_is_named_with_file_and_line(
    run: Run, messages: Path, tmp_path: Path, line: str, said: str
) -> None:
    bad = tmp_path / "bad.jsonl"
    bad.write_text('{"text": "hello", "kinds": ["other"]}\n' + line + "\n", encoding="utf-8")
    done = run("reading", "train", messages, "--corrections", bad, "--out", tmp_path / "w.gz")
    assert done.exit_code == 2
    assert f"{bad}, line 2" in done.stderr
    assert said in done.stderr
    assert not (tmp_path / "w.gz").exists()


def test_messages_of_too_few_writers_are_refused(run: Run, tmp_path: Path) -> None:
    few = tmp_path / "few.jsonl"
    few.write_text('{"text": "It got wet", "kinds": ["spoiled_ballot"]}\n' * 9, encoding="utf-8")
    done = run("reading", "train", few, "--out", tmp_path / "w.gz")
    assert done.exit_code == 2
    assert "1 writers" in done.stderr
    assert not (tmp_path / "w.gz").exists()


@pytest.mark.parametrize("command", ["measure", "train"])
def test_files_that_are_not_there_or_hold_nothing_are_one_clear_error(run: Run, tmp_path: Path, command: str) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "latin.jsonl").write_bytes(b'{"text": "se\xf1or"}')
    more = ("--out", str(tmp_path / "w.gz")) if command == "train" else ()
    for wrong in ("nowhere.jsonl", "empty", "latin.jsonl"):
        done = run("reading", command, tmp_path / wrong, *more)
        assert done.exit_code == 2, wrong
        assert "jsonl" in done.stderr


def test_measuring_tells_f1_whole_by_file_and_by_kind_calibration_and_causes(
    run: Run, messages: Path, corrections: Path
) -> None:
    done = run("reading", "measure", messages, corrections)
    assert done.exit_code == 0, done.output
    cells = [[cell.strip() for cell in line.strip("│ ").split("│")] for line in done.output.splitlines()]
    rows = {row[0]: row[1:] for row in cells if len(row) == 5}
    assert {"all", "en", "ours", "spoiled ballot", "assistance", "machine mail"} <= rows.keys()
    assert int(rows["ours"][1]) + int(rows["ours"][2]) == 12  # right and missed
    assert int(rows["all"][1]) == int(rows["en"][1]) + int(rows["ours"][1])
    assert int(rows["assistance"][2]) >= int(rows["ours"][2])
    assert rows["machine mail"][0] == "–"
    assert "expected calibration error" in done.output
    assert "Causes right: " in done.output


def test_measuring_by_other_weights_than_those_in_use(
    run: Run, messages: Path, corrections: Path, tmp_path: Path
) -> None:
    run("reading", "train", messages, "--corrections", corrections, "--out", tmp_path / "w.gz")
    assert "1.000" not in run("reading", "measure", corrections).output.split("By kind")[0]
    assert "1.000" in run("reading", "measure", corrections, "--weights", tmp_path / "w.gz").output.split("By kind")[0]
    assert "1.000" in run("reading", "measure", corrections, weights=tmp_path / "w.gz").output.split("By kind")[0]
    assert run("reading", "measure", corrections, "--weights", tmp_path / "no.gz").exit_code == 2


def test_the_picture_is_an_svg_and_the_same_twice(run: Run, messages: Path, tmp_path: Path) -> None:
    first, second = tmp_path / "one.svg", tmp_path / "deeper" / "two.svg"
    for file in (first, second):
        assert run("reading", "picture", messages, "--out", file).exit_code == 0
    assert first.read_bytes() == second.read_bytes()
    assert ElementTree.parse(first).getroot().tag == "{http://www.w3.org/2000/svg}svg"


def test_a_start_with_damaged_weights_is_refused_and_nothing_is_read_by_the_old_ones(run: Run, tmp_path: Path) -> None:
    broken = tmp_path / "broken.gz"
    broken.write_bytes(commands.WEIGHTS.read_bytes()[:5000])
    for arguments in (("serve",), ("serve", "--pages-only"), _rehearsal(tmp_path)):
        done = run(*arguments, weights=broken)
        assert done.exit_code == 2, arguments
        assert str(broken) in done.stderr
        assert "reading train" in done.stderr
        assert "Traceback" not in done.output
    assert not (tmp_path / "var").exists()


def test_a_start_with_weights_of_other_kinds_is_refused(run: Run, tmp_path: Path) -> None:
    raw = json.loads(gzip.decompress(commands.WEIGHTS.read_bytes()))
    other = tmp_path / "other.gz"
    other.write_bytes(gzip.compress(json.dumps({**raw, "labels": raw["labels"][:-1]}).encode()))
    done = run("serve", weights=other)
    assert done.exit_code == 2
    assert "other kinds" in done.stderr


def _rehearsal(tmp_path: Path) -> tuple[str | Path, ...]:
    files = Path(__file__).parent / "requests" / "files"
    (tmp_path / "a.eml").write_text(
        f"From: a@post.example\nDate: Mon, 05 Oct 2026 09:30:00 -0400\nSubject: {OFFICE_WORD}\n\nThe {OFFICE_WORD}!\n"
    )
    given = ("--roll", files / "roll.csv", "--ballots", files / "ballots.csv", "--office", RULES)
    return ("rehearse", tmp_path / "a.eml", *given)


def test_a_rehearsal_reads_by_the_offices_own_weights(
    run: Run, messages: Path, corrections: Path, tmp_path: Path
) -> None:
    ours = tmp_path / "ours.json.gz"
    without = run(*_rehearsal(tmp_path), weights=ours)
    assert "not there yet" in without.stderr
    run("reading", "train", messages, "--corrections", corrections, weights=ours)
    read = run(*_rehearsal(tmp_path), weights=ours)
    assert "not there yet" not in read.stderr
    kinds = [[k["kind"] for k in json.loads(one.stdout)["kinds"]] for one in (without, read)]
    assert kinds[0] != ["assistance"]
    assert kinds[1] == ["assistance"]


def test_the_export_is_for_its_owner_alone_and_teaches(run: Run, messages: Path, tmp_path: Path) -> None:
    run("rules", "load", RULES)
    database = Database(str(tmp_path / "var" / "replacements.db"))
    request = set_up(database).spoiled_by_ada()
    correct(database, request.id, kinds=["spoiled_ballot"], cause="damaged", by="clara", at=datetime.now(UTC))
    database.close()
    file = tmp_path / "ours.jsonl"
    done = run("reading", "export", "--out", file)
    assert done.exit_code == 0, done.output
    assert "1 corrected messages, 0 confirmed ones" in done.output
    assert "keep it as the mailbox is kept" in done.output
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert "Quillfeather" in file.read_text(encoding="utf-8")
    assert run("reading", "export", "--out", file, "--mask").exit_code == 0
    assert "Quillfeather" not in file.read_text(encoding="utf-8")
    taught = run("reading", "train", messages, "--corrections", file, "--out", tmp_path / "w.gz")
    assert "49 messages" in taught.output
    later = run("reading", "export", "--out", file, "--since", "2999-01-01", "--confirmed")
    assert "0 corrected messages" in later.output
    assert file.read_text(encoding="utf-8") == ""


def test_the_help_says_how_to_keep_the_export(run: Run) -> None:
    told = " ".join(run("reading", "export", "--help").output.split())
    assert "VOTERS' WORDS AND NAMES" in told
    assert "keep it as the mailbox is kept" in told
