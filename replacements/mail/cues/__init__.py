"""Words and shapes by which mail programs, post programs and machines are known; a data file each."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any


@cache
def cue_file(name: str) -> dict[str, Any]:
    """The tables of one cue file."""
    return tomllib.loads((Path(__file__).parent / f"{name}.toml").read_text(encoding="utf-8"))


@cache
def pattern(name: str, *keys: str) -> re.Pattern[str]:
    """The cue (or list of cues, as alternatives) at this place of a file, without regard to case."""
    found: Any = cue_file(name)
    for key in keys:
        found = found[key]
    cues: list[str] = [found] if isinstance(found, str) else found
    return re.compile("|".join(f"(?:{cue})" for cue in cues), re.IGNORECASE)
