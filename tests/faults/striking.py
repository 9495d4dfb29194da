"""The faults that strike an office, one at a time at random: what each does, and how often it comes."""

from __future__ import annotations

import random
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from redis import Redis
from redis.exceptions import RedisError

from tests.faults.cutting import Cut, Line
from tests.faults.office_under_faults import Office
from tests.faults.restarted_postgres import FAST, IMMEDIATE
from tests.servers.smtp import Delivered

LONGEST_AWAY = 2.0  # seconds that a program or server stays away
FURTHEST = 3 * 3600  # seconds between the earliest and the latest that the office's clock shows
PATIENCE = 6.0  # seconds that a line stays armed before its fault counts as not struck


@dataclass
class Striker:
    """Strikes `office`. `struck` counts the faults that met something, by name; `window` counts those after which a
    mail server has a reply and the office cannot know it: only they may double one. `aimed`: the Message-IDs of the
    replies at whose acceptance the worker was killed on purpose, beside the faults at random moments."""

    office: Office
    chance: random.Random
    struck: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    window: int = 0
    aimed: list[str] = field(default_factory=list)
    strikes: int = 0

    def __post_init__(self) -> None:
        self._opening = self.office.clock.ahead
        self._faults: dict[str, tuple[int, Callable[[], bool]]] = {
            "worker killed, all of it": (4, lambda: self._kill("worker")),
            "worker: one process killed": (4, lambda: self.office.program("worker").kill_one_of_its_own(self.chance)),
            "pages killed": (4, lambda: self._kill("pages")),
            "schedule killed": (4, lambda: self._kill("schedule")),
            "Redis emptied": (4, self._empty_redis),
            "Redis killed, back empty": (4, self._restart_redis),
            "PostgreSQL restarted, sessions ended": (4, lambda: self._restart_postgres(fast=True)),
            "PostgreSQL restarted as in a crash": (4, lambda: self._restart_postgres(fast=False)),
            "IMAP line cut": (4, self._cut_imap),
            "SMTP line cut": (4, self._cut_smtp),
            "database's disk full": (3, self._fill_database_disk),
            "worker's disk full": (3, self._fill_own_disk),
            "clock stepped": (4, self._step_clock),
        }

    def strike(self) -> str:
        """One fault. Returns its name; whether it met anything is in `struck` and `missed`."""
        self.strikes += 1
        names = list(self._faults)
        (name,) = self.chance.choices(names, [self._faults[one][0] for one in names])
        met = self._faults[name][1]()
        (self.struck if met else self.missed)[name] += 1
        return name

    def _away(self) -> float:
        return self.chance.uniform(0.1, LONGEST_AWAY)

    def _kill(self, name: str) -> bool:
        return self.office.program(name).kill(self._away() / 4)

    def _empty_redis(self) -> bool:
        try:
            with Redis(port=self.office.redis.port, socket_timeout=5) as client:
                client.flushall()
        except RedisError:
            return False
        return True

    def _restart_redis(self) -> bool:
        process = self.office.redis.process
        if process is None:
            return False
        process.kill()
        process.wait()
        time.sleep(self._away())
        self.office.redis.start()
        return True

    def _restart_postgres(self, *, fast: bool) -> bool:
        self.office.postgres.stop(FAST if fast else IMMEDIATE)
        time.sleep(self._away() / 2)
        self.office.postgres.start()
        return True

    def _cut_imap(self) -> bool:
        where = self.chance.choice((Cut.COMMAND, Cut.ANSWER))
        return self._cut(self.office.imap_line, where) or self.office.imap_line.break_all() > 0

    def _cut_smtp(self) -> bool:
        """Anywhere in the conversation: some seven commands and answers, one of which says that the reply was taken."""
        where = self.chance.choices((Cut.COMMAND, Cut.ANSWER, Cut.TAKEN_OVER), (6, 5, 2))[0]
        met = self._cut(self.office.smtp_line, where)
        self.window += met and where is Cut.TAKEN_OVER
        return met

    def _cut(self, line: Line, where: Cut) -> bool:
        line.break_off(where, self.chance)
        until = time.monotonic() + PATIENCE
        while line.is_armed() and time.monotonic() < until:
            time.sleep(0.02)
        met = not line.is_armed()
        line.disarm()
        return met

    def _fill_database_disk(self) -> bool:
        if not self.office.disk.is_small:
            return False
        self.office.disk.fill()
        time.sleep(self._away())
        self.office.disk.make_room()
        self.office.postgres.start()  # it may have ended
        return True

    def _fill_own_disk(self) -> bool:
        if not self.office.own_disk.is_small:
            return False
        self.office.own_disk.fill()
        time.sleep(self._away())
        self.office.own_disk.make_room()
        return True

    def _step_clock(self) -> bool:
        """To any moment within some hours: forward or back, across the cut-off of the mailing or not."""
        self.office.clock.set_ahead(self._opening + self.chance.uniform(0, FURTHEST))
        return self.office.clock.can_step

    def kill_at_acceptance(self) -> None:
        """Kill the worker as the mail server has taken a reply over and has not said so: a moment of milliseconds that
        a random kill seldom meets."""
        self.office.sink.at_acceptance = self._killed_at
        until = time.monotonic() + PATIENCE
        while self.office.sink.at_acceptance is not None and time.monotonic() < until:
            time.sleep(0.02)
        self.office.sink.at_acceptance = None

    def _killed_at(self, taken: Delivered) -> None:
        self.aimed.append(taken.message_id)
        self._kill("worker")
