"""A worker reads by the office's weights, or does not start."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from replacements.reading.learned import load
from replacements.reading.teaching import example
from replacements.reading.training import WEIGHTS, train

ROOT = Path(__file__).parents[2]
ASK = "import worker.app; from replacements.reading import learned; print(len(learned.weights().of_sign))"


def _start(weights: Path) -> subprocess.CompletedProcess[str]:
    """Load the application as Celery does when a worker starts."""
    env = {**os.environ, "REPLACEMENTS_WEIGHTS": str(weights)}
    return subprocess.run([sys.executable, "-c", ASK], env=env, cwd=ROOT, capture_output=True, text=True, timeout=120)


def test_a_worker_reads_by_the_offices_weights(tmp_path: Path) -> None:
    ours = tmp_path / "ours.gz"
    told = [{"writer": f"w{n}", "text": "My ballot got wet.", "kinds": ["spoiled_ballot"]} for n in range(5)]
    train([example(message) for message in told], ours, lambda _: None)
    started = _start(ours)
    assert started.stdout.strip() == str(len(load(ours).of_sign)), started.stderr


def test_a_worker_with_damaged_weights_does_not_start(tmp_path: Path) -> None:
    broken = tmp_path / "broken.gz"
    broken.write_bytes(WEIGHTS.read_bytes()[:5000])
    started = _start(broken)
    assert started.returncode != 0
    assert started.stdout == ""
    assert f"The worker does not start. {broken}" in started.stderr
    assert "Traceback" not in started.stderr


def test_a_worker_says_where_the_offices_weights_are_not_there_yet(tmp_path: Path) -> None:
    started = _start(tmp_path / "none.gz")
    assert started.returncode == 0, started.stderr
    assert "not there yet" in started.stdout + started.stderr
