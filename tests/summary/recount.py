"""A year's tables as pandas reads them, and what every count of a stretch of days has in common."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest
from sqlalchemy import text

from replacements.store.database import Database
from tests.summary.a_year import ZONE

DAY = timedelta(days=1)
FEW = 5
NAMES = (
    "requests", "messages", "ledger", "ballots", "voters", "corrections", "packets", "mailings", "replies",
    "past_requests",
)  # fmt: skip
_TIMES = {
    "requests": ("received_at", "decided_at"), "messages": ("arrived_at",), "mailings": ("mailed_at",),
    "ledger": ("at",), "replies": ("sent_at", "queued_at"),
}  # fmt: skip
_DAYS = {"mailings": ("goes_on",), "past_requests": ("received_on", "mailed_on", "held_on")}
_JSON = {"requests": ("kinds",), "ledger": ("details",), "corrections": ("kinds",)}
Row = tuple[Any, ...]


@dataclass
class Tables:
    """The database as pandas reads it; every time with its zone. `moves`: see `_moves`."""

    requests: pd.DataFrame
    messages: pd.DataFrame
    ledger: pd.DataFrame
    ballots: pd.DataFrame
    voters: pd.DataFrame
    corrections: pd.DataFrame
    packets: pd.DataFrame
    mailings: pd.DataFrame
    replies: pd.DataFrame
    past_requests: pd.DataFrame
    moves: pd.DataFrame


@dataclass(frozen=True)
class Span:
    """The days from `first` to `last`, both included, at the office."""

    first: date
    last: date

    @property
    def start(self) -> pd.Timestamp:
        return pd.Timestamp(self.first, tz=ZONE)

    @property
    def end(self) -> pd.Timestamp:
        return pd.Timestamp(self.last + DAY, tz=ZONE)

    @property
    def before(self) -> Span:
        length = self.last - self.first + DAY
        return Span(self.first - length, self.last - length)

    def holds(self, times: pd.Series) -> pd.Series:
        return (times >= self.start) & (times < self.end)

    def of_days(self, days: pd.Series) -> pd.Series:
        return (days >= self.first) & (days <= self.last)


def read_tables(database: Database) -> Tables:
    with database.engine.connect() as connection:
        read = {
            name: pd.DataFrame(connection.execute(text(f"SELECT * FROM {name}")).mappings().all()) for name in NAMES
        }
    for name, columns in _TIMES.items():
        for column in columns:
            read[name][column] = pd.to_datetime(read[name][column], utc=True, format="ISO8601")
    for name, columns in _JSON.items():
        for column in columns:
            read[name][column] = read[name][column].map(
                lambda cell: json.loads(cell) if isinstance(cell, str) else cell
            )
    for name, columns in _DAYS.items():
        for column in columns:
            read[name][column] = pd.to_datetime(read[name][column]).dt.date
    mailed = read["mailings"].rename(columns={"id": "mailing_id", "state": "mailing_state"})
    received = read["requests"][["id", "received_at"]].rename(columns={"id": "request_id"})
    read["packets"] = (
        read["packets"]
        .drop(columns=["received_at", "style"])  # counted anew, from the request itself
        .merge(mailed[["mailing_id", "mailed_at", "goes_on"]], on="mailing_id")
        .merge(received, on="request_id")
    )
    return Tables(**read, moves=_moves(read))


def _moves(read: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Each entry of the ledger with its ballot's state before and after, by walking through each ballot's own life."""
    ledger = read["ledger"].sort_values("seq").copy()
    after = {"imported": "state", "import_changed": "state", "reinstated": "to", "return_undone": "to"}
    fixed = {"reissued": "issued", "cured": "returned"}
    states = ("voided", "suspended", "returned", "accepted", "challenged", "undeliverable")
    ledger["after"] = [
        event if event in states else fixed.get(event, details.get(after.get(event, ""), ""))
        for event, details in zip(ledger["event"], ledger["details"], strict=True)
    ]
    ledger.loc[ledger["event"] == "returned_after_void", "after"] = ""
    kept = ledger[ledger["after"] != ""].copy()
    kept["before"] = kept.groupby("ballot_number")["after"].shift(fill_value="")
    kept["day"] = kept["at"].dt.tz_convert(ZONE).dt.date
    kept["reason"] = [details.get("reason", "unknown") for details in kept["details"]]
    replaces = read["ballots"].set_index("number")["replaces"]
    kept["replacement"] = kept["ballot_number"].map(replaces).notna()
    voters = read["voters"].set_index("voter_id")
    kept["precinct"] = kept["voter_id"].map(voters["precinct"])
    kept["overseas"] = kept["voter_id"].map(voters["overseas"]).astype(bool)
    kept["style"] = [details["style"] for details in kept["details"]]
    return kept


def counts(values: Iterable[object]) -> dict[str, int]:
    found = pd.Series(list(values), dtype=object).value_counts()
    return {str(name): int(count) for name, count in found.items()}


def yes(is_so: bool) -> str:
    return "yes" if is_so else "no"


def near(number: float | None, places: int = 4) -> Any:
    """A number as a file rounds it; an empty cell for none."""
    if number is None or pd.isna(number):
        return ""
    return pytest.approx(float(number), abs=0.5000001 * 10**-places)


def wilson(count: int, size: int) -> tuple[float, float]:
    if not size:
        return 0.0, 1.0
    found = binomtest(count, size).proportion_ci(0.95, method="wilson")
    return float(found.low), float(found.high)


def poisson_limits(events: Any, sizes: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Value, lower and upper limit of each, three standard deviations around the mean of all."""
    events, sizes = np.asarray(events, dtype=float), np.asarray(sizes, dtype=float)
    mean = events.sum() / sizes.sum()
    spread = 3 * np.sqrt(mean / sizes)
    return events / sizes, np.maximum(mean - spread, 0), mean + spread
