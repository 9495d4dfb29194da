"""Sending is paused and let go on the command line, where nobody is at the pages."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner, Result

from replacements.cli import main


def _run(folder: Path, *arguments: str) -> Result:
    return CliRunner().invoke(main, ["--data", str(folder), "replies", *arguments])


def test_sending_is_paused_until_it_is_let_go(tmp_path: Path) -> None:
    assert _run(tmp_path, "pause", "--by", "Sue").exit_code == 2  # not without a reason
    assert "No reply goes" in _run(tmp_path, "pause", "--by", "Sue", "--why", "the text is wrong").output
    assert "Sending goes on." in _run(tmp_path, "resume", "--by", "Sam").output
    assert "was not paused" in _run(tmp_path, "resume", "--by", "Sam").output
