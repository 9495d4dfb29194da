"""The programs of a running office, kept running as an installation's service manager keeps them: whichever ends is
started again. Their clock may be another than the machine's."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[2]
BIN = Path(sys.executable).parent
_LOOK = 0.1  # seconds between two looks at what has ended
RESTART_SECONDS = 1.0  # after which a program that ended by itself is started again


@dataclass
class Program:
    """One program with its log. `killed` counts what was done to it, `ended` how often it ended by itself."""

    name: str
    command: Sequence[str | Path]
    environment: Mapping[str, str]
    log: Path
    process: subprocess.Popen[bytes] | None = None
    killed: int = 0
    ended: int = 0
    _again_at: float | None = None  # when it is to be started again

    def start(self) -> None:
        self._again_at = None
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self.command, env=self.environment, stdout=log, stderr=log, cwd=ROOT, start_new_session=True
            )

    def is_running(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def kill(self, downtime: float = 0.0) -> bool:
        """As a power cut does, all its processes at once; it is started again after so many seconds. False where it is
        not running."""
        if self.process is None or self.process.poll() is not None:
            return False
        self._again_at = time.monotonic() + downtime
        self.killed += 1
        self._kill_all()
        return True

    def keep_running(self) -> None:
        """Start it again where it has ended and has been away long enough."""
        if self.process is None or self.process.poll() is None:
            return
        if self._again_at is None:
            self.ended += 1
            self._again_at = time.monotonic() + RESTART_SECONDS
            self._kill_all()  # what it has left behind
        elif time.monotonic() >= self._again_at:
            self.start()

    def _kill_all(self) -> None:
        if self.process is not None:
            with suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)

    def kill_one_of_its_own(self, chance: random.Random) -> bool:
        """Kill one process that it has started, as the system does where memory runs out."""
        if self.process is None:
            return False
        found = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        try:
            children = [int(word) for word in found.read_text().split()]
            os.kill(chance.choice(children), signal.SIGKILL)
        except (OSError, IndexError):
            return False
        return True


@dataclass
class Keeper:
    """Starts again whatever ends, until `stop`."""

    programs: list[Program] = field(default_factory=list)
    _stopped: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def start(self) -> None:
        for program in self.programs:
            program.start()
        self._thread = threading.Thread(target=self._keep, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._stopped.set()
        if self._thread is not None:
            self._thread.join()
        running = [one.process for one in self.programs if one.process is not None and one.is_running()]
        for process in running:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGTERM)
        until = time.monotonic() + 15
        for process in running:
            with suppress(subprocess.TimeoutExpired):
                process.wait(max(0.1, until - time.monotonic()))
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()

    def _keep(self) -> None:
        while not self._stopped.wait(_LOOK):
            for program in self.programs:
                program.keep_running()
