"""How long processes and all that they started have kept a processor busy, from /proc (Linux).

On a machine that others use, too, this says more than the clock does: so many milliseconds of a processor are so many,
whoever has to wait for them.
"""

from __future__ import annotations

import os
from collections import defaultdict
from pathlib import Path

_TICKS = os.sysconf("SC_CLK_TCK")


def seconds(pid: int) -> float:
    """Processor's seconds of a process, of those below it, and of those below it that have ended."""
    children: dict[int, list[int]] = defaultdict(list)
    spent: dict[int, float] = {}
    for place in Path("/proc").iterdir():
        if not place.name.isdigit():
            continue
        try:
            words = (place / "stat").read_text(encoding="utf-8", errors="replace").rpartition(")")[2].split()
        except OSError:
            continue
        own = int(place.name)
        children[int(words[1])].append(own)  # proc(5): after the name come state, parent, …; 14 to 17 are the times
        spent[own] = sum(map(int, words[11:15])) / _TICKS
    total, to_see = 0.0, [pid]
    while to_see:
        one = to_see.pop()
        total += spent.get(one, 0.0)
        to_see += children[one]
    return total
