"""Clerks killed in the middle of their work leave whole events or none (the script beside runs it at full size)."""

from __future__ import annotations

from pathlib import Path

from replacements.store.database import Database
from tests.faults.killing import run


def test_whatever_moment_a_clerk_is_killed_at_no_event_is_lost_or_doubled(database: Database, tmp_path: Path) -> None:
    folder = tmp_path / "notes"
    folder.mkdir()
    outcome = run(database.url, folder, processes=4, operations=300, kills=6, seed=7, voters=60)
    assert outcome.faults == []
    assert outcome.kills == 6
    assert outcome.done > 100
    assert outcome.refused > 0
