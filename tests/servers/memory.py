"""Temporary files of the tests in memory, where the system has room: thousands of databases come and go in a run."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

IN_MEMORY = Path("/dev/shm")
ROOM = 3 * 1024**3  # bytes that must be free; a run with two processes uses less than one third of it


def keep_temporary_files_in_memory() -> None:
    """From here on temporary files of this process and of those it starts lie in memory.

    Nothing changes where somebody chose another place (TMPDIR), or where the system has no such folder, too little
    room in it, or forbids programs there.
    """
    if "TMPDIR" in os.environ or not os.access(IN_MEMORY, os.W_OK | os.X_OK):
        return
    if os.statvfs(IN_MEMORY).f_flag & os.ST_NOEXEC or shutil.disk_usage(IN_MEMORY).free < ROOM:
        return
    os.environ["TMPDIR"] = str(IN_MEMORY)
    tempfile.tempdir = None  # ask again
