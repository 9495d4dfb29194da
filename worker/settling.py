"""What a process does when its start is over."""

from __future__ import annotations

import gc


def settle() -> None:
    """What was made at the start lives as long as the process: it is not looked through again whenever a page or a
    letter makes many objects. Looking through all of it took 0.2 s, and every few pages one had to wait for it. What
    a letter leaves behind is found sooner, and processes that are copies of this one go on sharing its memory."""
    gc.collect()
    gc.freeze()
