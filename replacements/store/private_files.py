"""Files with voters' words in them: for their owner alone, whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from replacements.store.csv_files import FileTrouble


def write_private(path: Path, text: str) -> None:
    """Write a file that only its owner can read (mode 600), in place of what stood there. Raises FileTrouble."""
    part = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(text.encode("utf-8"))
        part.replace(path)
    except OSError as error:
        raise FileTrouble(f"{path}: cannot be written: {error.strerror}.") from error
    finally:
        part.unlink(missing_ok=True)
