"""A small disk of its own for what a program writes, so that it can be full without harm to anybody else."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

_BALLAST = "ballast"


@dataclass(frozen=True, slots=True)
class SmallDisk:
    """A folder. `is_small`: on a disk of its own; where none could be made, it is an ordinary folder."""

    folder: Path
    is_small: bool

    def fill(self) -> None:
        """Leave no byte free."""
        with (self.folder / _BALLAST).open("ab", buffering=0) as file, suppress(OSError):
            room = os.statvfs(self.folder)
            os.posix_fallocate(file.fileno(), 0, room.f_bavail * room.f_frsize)
            file.seek(0, os.SEEK_END)
            while True:
                file.write(b"\0" * 4096)

    def make_room(self) -> None:
        (self.folder / _BALLAST).unlink(missing_ok=True)


@contextmanager
def small_disk(folder: Path, megabytes: int) -> Iterator[SmallDisk]:
    """A disk of this size in this folder, which is made; only root can have one."""
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m,mode=0755", "tmpfs", str(folder)], capture_output=True
    )
    try:
        yield SmallDisk(folder, mounted.returncode == 0)
    finally:
        if mounted.returncode == 0:
            subprocess.run(["umount", "--lazy", str(folder)], capture_output=True)
