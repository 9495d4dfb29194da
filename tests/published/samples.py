"""Mail from outside sources, which `.ci/fetch_samples` brings into a folder; nothing of it is kept in this project."""

from __future__ import annotations

import os
import tarfile
from collections.abc import Iterator
from pathlib import Path

import pytest

FOLDER = Path(os.environ.get("REPLACEMENTS_SAMPLES") or Path(__file__).parents[2] / ".samples")


def members(archive: str, under: str) -> Iterator[tuple[str, bytes]]:
    """(name, bytes) of every .txt file of a packed archive below a folder of it."""
    if not (FOLDER / archive).exists():
        pytest.skip("the sample mails are not here; .ci/fetch_samples brings them")
    with tarfile.open(FOLDER / archive) as packed:
        for member in packed:
            inside = member.name.partition("/")[2]
            file = packed.extractfile(member) if inside.startswith(under) and inside.endswith(".txt") else None
            if file is not None:
                yield inside.removeprefix(under), file.read()
