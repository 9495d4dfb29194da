"""The schedule of Celery's beat, for clocks that are put back.

Beat remembers by the clock when each job ran last, in its file too, and lets none run before its time has come again.
Where the clock is put back by an hour (a machine that started with a wrong one and was told the right one), nothing
would run for that hour: no mail fetched, no reply sent.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import structlog
from celery.beat import PersistentScheduler

PUT_BACK = timedelta(seconds=2)  # common practice: what is less is a clock being trimmed

log = structlog.get_logger()


class SteadyScheduler(PersistentScheduler):  # type: ignore[misc]
    """Jobs that ran in what is the future now count as if they ran now."""

    def tick(self, *arguments: Any, **named: Any) -> Any:
        self._believe_the_clock()
        return super().tick(*arguments, **named)

    def _believe_the_clock(self) -> None:
        ahead = False
        for entry in self.schedule.values():
            now = entry.default_now()
            if entry.last_run_at is not None and entry.last_run_at > now + PUT_BACK:
                entry.last_run_at, ahead = now, True
        if ahead:
            log.warning("the clock was put back: the schedule goes on from now")
            self._heap = None  # in which each job stands with the moment at which it was due; made anew
