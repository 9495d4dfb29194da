"""Whether a program of the background work is alive, for a container's health check: `python -m worker.alive worker`.

A worker that hears from the queue touches a file every few seconds; the schedule writes its own file every three
minutes. What is asked here is how old that file is, which costs next to nothing: asking the worker itself by Celery
would load the whole program each time.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

WORKER = Path(tempfile.gettempdir()) / "replacements-worker"
SCHEDULE = Path(tempfile.gettempdir()) / "replacements-schedule"
# How many seconds old the file may be: a worker's heart beats every two seconds, the schedule's file is written every
# 180 (celery.beat.Scheduler.sync_every).
OLDEST = {"worker": (WORKER, 60), "schedule": (SCHEDULE, 600)}


def beat(**_: Any) -> None:
    """Say that this worker hears from the queue. A folder that cannot be written to stops no work."""
    try:
        os.close(os.open(WORKER, os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW, 0o600))
        os.utime(WORKER)
    except OSError:
        return


def is_alive(file: Path, seconds: float) -> bool:
    """Whether the file, or one that begins with its name, was written within so many seconds."""
    written = [path.stat().st_mtime for path in file.parent.glob(f"{file.name}*")]
    return bool(written) and time.time() - max(written) <= seconds


def main() -> int:
    """Exit status 0 where the program that the argument names is alive, else 1; 2 for another argument."""
    if len(sys.argv) != 2 or sys.argv[1] not in OLDEST:
        return 2
    return 0 if is_alive(*OLDEST[sys.argv[1]]) else 1


if __name__ == "__main__":
    sys.exit(main())
