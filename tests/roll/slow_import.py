"""An import in a program of its own, slow enough to be killed in the middle: `slow_import DATABASE FILE LINES`.

After so many lines it says so on its output and goes on a line in a hundredth of a second.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from replacements.roll import taking
from replacements.roll.importing import import_file
from replacements.store.database import Database

if __name__ == "__main__":
    url, file, lines = sys.argv[1:]
    taking_a_batch = taking.Taking.take

    def slowly(self: taking.Taking, batch: list[taking.Line]) -> None:
        taking_a_batch(self, batch)
        if self.good >= int(lines):
            sys.stdout.write("half-way\n")
            sys.stdout.flush()
            time.sleep(60)

    taking.Taking.take = slowly  # type: ignore[method-assign, assignment]
    import_file(Database(url), Path(file))
