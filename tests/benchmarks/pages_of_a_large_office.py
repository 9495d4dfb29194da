"""How long each page takes, and how many statements it asks of the database, in a large office and in a small one.

    python -m tests.benchmarks.pages_of_a_large_office [sqlite | postgresql | URL] [VOTERS] [BALLOTS] [REQUESTS]

A million voters, 200,000 ballots and 50,000 requests unless told otherwise; beside it an office of 500 requests on the
same kind of database. Without a URL a database is made and thrown away; one that is named must be empty, or be what
this script has filled before. Every page that can be opened by its address is opened as supervisor and as clerk, at
thirty addresses where it has as many: requests, filters, deep places of lists, weeks. Each address is asked for three
times and its best time counts. Printed of each page: milliseconds (median and 95th percentile over its addresses),
processor time of this process, the most statements of one answer, and in which way that differs from the small office;
at last the ratio of its median to that of a bare `SELECT` of fifty requests by primary key in the same run.

Files to be saved (PDF, CSV, ZIP, JSON) are no pages and stand in tests of their own speed.
"""

from __future__ import annotations

import os
import random
import re
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import psycopg
from flask.testing import FlaskClient
from nacl.secret import SecretBox
from sqlalchemy import event, func, select

from replacements.requests.listing import Key
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.sealing import Keys
from replacements.store.tables import Election, Mailing, Request, VoterRow
from tests.benchmarks.a_large_office import AT, LargeOffice
from tests.benchmarks.private_postgres import private_postgres
from tests.web.invented_office import Clock, Site
from worker.settling import settle

KEYS = Keys({"invented-office-": SecretBox(b"an invented office seals letters")})
MOST_MS, MOST_STATEMENTS, CASE_MS = 150, 12, 1_000
ADDRESSES, TRIES = 30, 3
WHO = ("supervisor", "clerk")
SMALL = (3_000, 2_000, 500)
# What opens by its address and is no page: files, pieces of pages, what machines ask, ways into signing in.
NO_PAGES = re.compile(
    r"/static/|/style/|\.(csv|pdf|zip|json)$|/pictures/<|/alive|/metrics|/sign-in|/second-factor|/scans/|/list/<"
)
Addresses = Callable[[], list[str]]


class Statements:
    """Counts what is asked of a database; the begin of a transaction is none."""

    def __init__(self, database: Database) -> None:
        self.asked: list[str] = []
        event.listen(database.engine, "before_cursor_execute", self._one)

    def _one(self, _c: Any, _cursor: Any, statement: str, *_more: Any) -> None:
        if not statement.startswith(("BEGIN", "PRAGMA")):
            self.asked.append(statement)


@dataclass
class Measured:
    """One page as one role: per address milliseconds, the same of the processor, and statements."""

    ms: list[float] = field(default_factory=list)
    processor: list[float] = field(default_factory=list)
    statements: list[int] = field(default_factory=list)

    def at(self, share: float) -> float:
        return sorted(self.ms)[min(int(len(self.ms) * share), len(self.ms) - 1)]


class Pages:
    """Every page with addresses of it, drawn over what is in a database."""

    def __init__(self, database: Database, seed: int = 3) -> None:
        self.database, self.chance = database, random.Random(seed)
        with database.read() as session:
            election = session.scalars(select(Election.id).order_by(Election.held_on.desc())).first()
            mailings = select(Mailing.id).where(Mailing.election_id == election).order_by(Mailing.id)
            self.mailings = session.scalars(mailings).all()
            found = select(Request.state, Request.received_at, Request.id, Request.voter_id)
            rows = session.execute(found.where(Request.election_id == election)).all()
            self.requests = max((row.id for row in rows), default=0)
            few = self.chance.sample(rows, min(ADDRESSES, len(rows)))
            self.names = [session.get_one(VoterRow, row.voter_id).last_name for row in few[:10]]
        self.of_state: dict[str, list[Any]] = {}
        for row in rows:
            self.of_state.setdefault(row.state, []).append(row)

    def of(self, rules: list[str]) -> dict[str, list[str]]:
        """Addresses by page; every rule of the app that is a page is among them."""
        known: dict[str, list[str]] = {
            "/requests/": self._waiting(),
            "/requests/ (all, deep)": self._deep(),
            "/requests/ (narrowed)": self._narrowed(),
            "/requests/<int:request_id>": self._requests(("waiting", "second")),
            "/requests/<int:request_id> (decided)": self._requests(("done", "declined", "filed", "asked")),
            "/messages/<int:message_id>/pictures": [f"/messages/{n}/pictures" for n in self._numbers()],
            "/mailings/<int:mailing_id>": [f"/mailings/{n}" for n in self.mailings],
            "/reissued/": [f"/reissued/?page={n}" for n in (1, 2, 3, *(int(n / 300) + 1 for n in self._numbers()))],
            "/looks/": [f"/looks/?page={n}" for n in (1, 2, 3, *(int(n / 200) + 1 for n in self._numbers()))],
            "/week/<monday>": [f"/week/{monday}" for monday in self._mondays()],
            "/week/<first>/<last>/places": [f"/week/{first}/{last}/places" for first, last in self._weeks()],
            "/week/<first>/<last>/proposals": [f"/week/{first}/{last}/proposals" for first, last in self._weeks()],
            "/public-report/<monday>": [f"/public-report/{monday}" for monday in self._mondays()[:-1]],
            "/people/<int:account_id>/sign-ins": [f"/people/{n}/sign-ins" for n in range(1, 6)],
            "/texts/<language>/<slugged>": [f"/texts/{one}/reissue" for one in ("en", "es", "ko", "vi")],
            "/texts/<language>/<slugged>/<int:number>": [f"/texts/{one}/reissue/0" for one in ("en", "es", "ko")],
            "search": self._searches(),
        }
        for rule in rules:
            if rule not in known:
                if "<" in rule:
                    raise SystemExit(f"{rule}: this benchmark has no addresses for it yet")
                known[rule] = [rule]
        return known

    def _numbers(self) -> list[int]:
        return [self.chance.randrange(1, self.requests + 1) for _ in range(ADDRESSES)]

    def _waiting(self) -> list[str]:
        some = self.chance.sample(self.of_state["waiting"], min(ADDRESSES - 1, len(self.of_state["waiting"])))
        return ["/requests/", *(f"/requests/?after={Key(1, row.received_at, row.id)}" for row in some)]

    def _deep(self) -> list[str]:
        states = ("all", "done", "declined", "filed")
        found = []
        for n in range(ADDRESSES):
            state = states[n % 4]
            row = self.chance.choice(self.of_state.get(state) or self.of_state["done"])
            way = "before" if n % 5 == 0 else "after"
            found.append(f"/requests/?state={state}&{way}={Key(0, row.received_at, row.id)}")
        return found

    def _narrowed(self) -> list[str]:
        narrow = [
            *(f"standing={one}" for one in ("certain", "likely", "unclear", "none")),
            *(f"kind={one}" for one in ("spoiled_ballot", "question", "other")),
            *("language=es", "whose=-", "whose=mine", "held=only", "held=also", "second=yes", "missed=yes"),
            *("proposal=reissue", "proposal=for_mailing", "proposal=came_back"),
        ]
        return [f"/requests/?state={state}&{one}" for state in ("waiting", "all") for one in narrow]

    def _requests(self, states: tuple[str, ...]) -> list[str]:
        rows = [row for state in states for row in self.of_state.get(state, ())]
        return [f"/requests/{row.id}" for row in self.chance.sample(rows, min(ADDRESSES, len(rows)))]

    def _mondays(self) -> list[str]:
        first = AT.date() - timedelta(days=AT.weekday() + 35)
        return [str(first + timedelta(weeks=n)) for n in range(6)]

    def _weeks(self) -> list[tuple[date, date]]:
        mondays = [date.fromisoformat(monday) for monday in self._mondays()]
        return [(monday, monday + timedelta(days=6)) for monday in mondays]

    def _searches(self) -> list[str]:
        """Searched for by a form, since names stay out of addresses: written here as `?wanted`."""
        return [f"?{one}" for one in (*self.names, *("50000017", "post.example", "coffee", "zzyzx"))]


def open_page(client: FlaskClient, address: str) -> int:
    """The status of the answer, read to its end; of a page that keeps itself up to date, to its first news."""
    if address.startswith("?"):
        return client.post("/requests/search", data={"wanted": address[1:]}).status_code
    answer = client.get(address, buffered=False)
    if address == "/now":
        news = iter(answer.response)
        next(news), next(news)  # the pause to keep, then the first news
    else:
        answer.get_data()
    answer.close()
    return answer.status_code


def pages_of(client: FlaskClient) -> list[str]:
    """The rules of all pages that open by their address."""
    rules = [rule for rule in client.application.url_map.iter_rules() if "GET" in (rule.methods or ())]
    return sorted(rule.rule for rule in rules if not NO_PAGES.search(rule.rule))


def measure(database: Database, site: Site, *, tries: int) -> dict[tuple[str, str], Measured]:
    """By page and role; pages that a role may not open are left out."""
    counted, found = Statements(database), {}
    for role in WHO:
        client = site.client(role)
        for page, addresses in Pages(database).of(pages_of(client)).items():
            one = _measure(client, counted, addresses, tries)
            if one is not None:
                found[page, role] = one
    return found


def _measure(client: FlaskClient, counted: Statements, addresses: list[str], tries: int) -> Measured | None:
    measured = Measured()
    for address in addresses:
        times: list[tuple[float, float]] = []
        most = 0
        for _ in range(tries):
            counted.asked.clear()
            clock, processor = time.perf_counter(), time.process_time()
            status = open_page(client, address)
            times.append((1000 * (time.perf_counter() - clock), 1000 * (time.process_time() - processor)))
            most = max(most, len(counted.asked))
            if status in (302, 303, 403):
                return None
            if status != 200:
                raise SystemExit(f"{address}: {status}")
        measured.ms.append(min(times)[0])
        measured.processor.append(min(spent for _, spent in times))
        measured.statements.append(most)
    return measured


def standard_case(site: Site, database: Database) -> list[float]:
    """A clerk's commonest case: the list, the request, approved, and the page that follows. Milliseconds each."""
    client, found = site.client("clerk"), []
    with database.read() as session:
        ready = session.execute(
            select(Request.id, Request.version)
            .where(Request.state == "waiting", Request.proposal == "reissue", Request.standing == "certain")
            .where(Request.held_until.is_(None))
            .limit(ADDRESSES)
        ).all()
    for number, version in ready:
        clock = time.perf_counter()
        client.get("/requests/")
        client.get(f"/requests/{number}")
        client.post(f"/requests/{number}/approve", data={"version": str(version)}, follow_redirects=True)
        found.append(1000 * (time.perf_counter() - clock))
        with database.read() as session:
            state = session.get_one(Request, number).state
        if state not in ("done", "second"):
            raise SystemExit(f"request {number} was not approved: {state}")
    return sorted(found)


def bare_select(url: str, requests: int) -> float:
    """Milliseconds of fifty requests by primary key, through the database's own driver; the median of thirty."""
    if url.startswith("postgresql"):
        connection: Any = psycopg.connect(url, autocommit=True)
    else:
        connection = sqlite3.connect(url)
    chance, taken = random.Random(5), []
    for _ in range(ADDRESSES):
        first = chance.randrange(1, max(requests - 50, 2))
        clock = time.perf_counter()
        connection.execute(f"SELECT * FROM requests WHERE id BETWEEN {first} AND {first + 49}").fetchall()
        taken.append(1000 * (time.perf_counter() - clock))
    connection.close()
    return sorted(taken)[len(taken) // 2]


def site_over(database: Database, folder: Path) -> Site:
    settings = Settings(
        data=folder, database=database.url, mailbox="", outbox="", secret_file=folder / "secret", https=False
    )
    return Site(database, Clock(AT), settings)


def report(large: dict[tuple[str, str], Measured], small: dict[tuple[str, str], Measured], bare: float) -> None:
    print(f"{'page':<44} {'as':<10} {'p50':>6} {'p95':>7} {'cpu':>6} {'stmts':>5} {'small':>5} {'ratio':>6}")
    for (page, role), one in sorted(large.items(), key=lambda item: -item[1].at(0.95)):
        few = max(small[page, role].statements) if (page, role) in small else 0
        most = max(one.statements)
        misses = [
            *(["slow"] if one.at(0.95) > MOST_MS else []),
            *(["many statements"] if most > MOST_STATEMENTS else []),
            *(["grows with the rows"] if most > few else []),
        ]
        middle = sorted(one.processor)[len(one.processor) // 2]
        print(
            f"{page:<44} {role:<10} {one.at(0.5):6.1f} {one.at(0.95):7.1f} {middle:6.1f} {most:5} {few:5}"
            f" {one.at(0.5) / bare:6.1f}  {', '.join(misses)}"
        )


@contextmanager
def _databases(asked: str) -> Iterator[tuple[str, str]]:
    """The URLs of two databases, for the large office and the small one."""
    with ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory())
        if asked == "postgresql":
            server, other = stack.enter_context(private_postgres()), stack.enter_context(private_postgres())
            if not server:
                raise SystemExit("PostgreSQL is not installed here: not measured")
            yield server, other
        elif asked.startswith("postgresql"):
            yield asked, stack.enter_context(private_postgres())
        else:
            yield (f"{folder}/large.sqlite3" if asked == "sqlite" else asked), f"{folder}/small.sqlite3"


def _filled(url: str, sizes: tuple[int, int, int]) -> Database:
    database = Database(url, KEYS)
    try:
        with database.read() as session:
            if session.scalar(select(func.count()).select_from(Request)):
                return database
    except Exception:  # no tables yet
        database.close()
        database = Database(url, KEYS)
    started = time.perf_counter()
    voters, ballots, requests = sizes
    LargeOffice(database, voters=voters, ballots=ballots, requests=requests, earlier=requests)
    print(f"filled with {voters} voters and {requests} requests in {time.perf_counter() - started:.0f} s", flush=True)
    return database


def main(asked: str = "sqlite", voters: int = 1_000_000, ballots: int = 200_000, requests: int = 50_000) -> None:
    with _databases(asked) as (url, other), tempfile.TemporaryDirectory() as folder:
        few = _filled(other, SMALL)
        small = measure(few, site_over(few, Path(folder)), tries=1)
        few.close()
        database = _filled(url, (voters, ballots, requests))
        site = site_over(database, Path(folder))
        settle()  # as the served pages do
        large = measure(database, site, tries=TRIES)
        bare = bare_select(url, requests)
        print(f"{'SQLite' if database.is_sqlite else 'PostgreSQL'}; bare SELECT of 50 requests by key: {bare:.2f} ms")
        report(large, small, bare)
        case = standard_case(site, database)
        print(
            f"list, request, approved: median {case[len(case) // 2]:.0f} ms, p95 {case[int(len(case) * 0.95)]:.0f} ms "
            f"of {len(case)} (bar {CASE_MS})"
        )
        print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
        database.close()


if __name__ == "__main__":
    main(*sys.argv[1:2], *map(int, sys.argv[2:5]))
