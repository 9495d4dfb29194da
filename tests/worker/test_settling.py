"""What was made at the start of a worker is shared by its processes, and not looked through again and again."""

from __future__ import annotations

import subprocess
import sys

_AS_CELERY_STARTS = """
import gc
import worker.tasks
from celery.signals import worker_init
worker_init.send(sender=None)
print(gc.get_freeze_count(), len(gc.get_objects()))
"""


def test_a_worker_settles_when_its_tasks_are_imported() -> None:
    told = subprocess.run([sys.executable, "-c", _AS_CELERY_STARTS], capture_output=True, text=True, check=True).stdout
    settled, still_looked_through = map(int, told.split())
    assert settled > 100 * max(1, still_looked_through)
