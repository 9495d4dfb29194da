"""The time of day that an office's programs read: ahead of the machine's by as much as is wanted, and stepped while
they run. A small library (`stepped_clock.c`) is put before the system's, so that every program and process sees it."""

from __future__ import annotations

import shutil
import struct
import subprocess
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

_SOURCE = Path(__file__).with_name("stepped_clock.c")


@dataclass
class Clock:
    """`ahead`: whole seconds before the machine's clock. Where no C compiler is, it is always the machine's own, and
    `can_step` is False."""

    file: Path
    library: Path | None
    ahead: int = 0

    @property
    def can_step(self) -> bool:
        return self.library is not None

    def now(self) -> datetime:
        return datetime.fromtimestamp(time.time() + self.ahead, UTC)

    def set_ahead(self, seconds: float) -> None:
        if self.can_step:
            self.ahead = int(seconds)
            with self.file.open("r+b", buffering=0) as file:  # in place: it is mapped
                file.write(struct.pack("d", self.ahead))

    def step(self, by: timedelta) -> None:
        self.set_ahead(self.ahead + by.total_seconds())

    @property
    def environment(self) -> dict[str, str]:
        """What a program's environment needs to read this clock."""
        return {"LD_PRELOAD": str(self.library), "STEPPED_CLOCK": str(self.file)} if self.can_step else {}


def make_clock(folder: Path) -> Clock:
    """A clock that shows the machine's time, its files in this folder."""
    file = folder / "clock"
    file.write_bytes(struct.pack("d", 0.0))
    compiler = shutil.which("cc") or shutil.which("gcc")
    library = folder / "stepped_clock.so"
    if compiler is None:
        return Clock(file, None)
    made = subprocess.run(
        [compiler, "-shared", "-fPIC", "-O1", "-o", library, _SOURCE, "-ldl", "-lm"], capture_output=True
    )
    return Clock(file, library if made.returncode == 0 else None)
