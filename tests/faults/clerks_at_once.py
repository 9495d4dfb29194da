"""Clerks who decide through the rooms of the program itself, faster than any page, while the database fails."""

from __future__ import annotations

import random
import threading
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.exc import DBAPIError

from replacements.requests import deciding
from replacements.store.database import Database
from replacements.store.tables import Request
from tests.faults.clerks_on_pages import DECLINED, Told, is_left

_AT_ONCE = 40  # requests looked for at a time
_PAUSE = 0.5  # seconds after a failure, or where nothing waits


@dataclass
class FastClerk:
    """One clerk. `told`: what was carried out; `met`: what else came."""

    url: str
    name: str
    roles: tuple[str, ...]
    now: Callable[[], datetime]
    seed: int
    told: list[Told] = field(default_factory=list)
    met: Counter[str] = field(default_factory=Counter)

    def work(self, stopped: threading.Event) -> None:
        """Decide what waits, again and again."""
        chance, database = random.Random(self.seed), Database(self.url)
        while not stopped.is_set():
            decided = 0
            try:
                for request_id, version in self._waiting(database, chance):
                    if stopped.is_set():
                        break
                    decided += self._decide(database, request_id, version, chance)
            except DBAPIError as error:  # what was in hand may be done or not: nobody was told
                self.met[f"database away ({type(error).__name__})"] += 1
            if not decided:
                stopped.wait(_PAUSE)
        database.close()

    def _waiting(self, database: Database, chance: random.Random) -> list[tuple[int, int]]:
        states = ("waiting", "second") if "supervisor" in self.roles else ("waiting",)
        with database.read() as session:
            rows = session.execute(
                select(Request.id, Request.version)
                .where(Request.state.in_(states), Request.first_by.is_distinct_from(self.name))
                .order_by(Request.id)
            )
            found = [(number, version) for number, version in rows if not is_left(number)]
        return chance.sample(found, min(_AT_ONCE, len(found)))

    def _decide(self, database: Database, request_id: int, version: int, chance: random.Random) -> int:
        what = "decline" if chance.random() < DECLINED else "approve"
        try:
            if what == "decline":
                outcome = deciding.decline(
                    database, request_id, version=version, by=self.name, at=self.now(), note="Settled by telephone."
                )
            else:
                outcome = deciding.approve(
                    database, request_id, version=version, by=self.name, roles=self.roles, at=self.now()
                )
        except (deciding.Refused, deciding.Stale) as error:
            self.met[str(error)[:60]] += 1
            return 0
        self.told.append(Told(request_id, version, self.name, what, outcome.text))
        return 1
