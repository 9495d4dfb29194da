"""How an office's work grows with its roll, its mail and its readers: a table.

    python -m tests.benchmarks.growth [MAILS,…] [VOTERS,…] [READERS,…]

For each size of the roll (10000,1000000) an office is set up once, in a private PostgreSQL; for each number of mails
(10,1000) and of reading processes (1,2,4) it reads so many, from a private Dovecot. Prints mails a second by the clock,
the processor's milliseconds that a mail takes in all and in PostgreSQL, connections to the database, the memory of
the largest process, and what a mail and the whole take on the disk; each rate also as a ratio to that of the first
line, which is the smallest office.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from sqlalchemy import text

from replacements.store.database import Database
from tests.benchmarks.an_office import Office, an_office, load_now, private_copy, set_up
from tests.benchmarks.mail_to_proposal import WARM, mixed, read_all
from tests.benchmarks.private_postgres import private_postgres

_MAIL = ("messages", "raw_mail", "letter_words", "packed_words", "sightings", "requests", "found_by")


def sizes(database: Database, tables: tuple[str, ...]) -> int:
    """Bytes on the disk, with indexes."""
    with database.engine.connect() as connection:
        sums = [connection.execute(text(f"SELECT pg_total_relation_size('{name}')")).scalar_one() for name in tables]
    return sum(sums)


def largest(office: Office) -> float:
    """MB of the largest of the worker's processes."""
    found = [0.0]
    for program in office.programs:
        for place in Path("/proc").iterdir():
            try:
                if place.name.isdigit() and os.getpgid(int(place.name)) == program.pid:
                    status = (place / "status").read_text()
                    found.append(int(status.partition("VmRSS:")[2].split()[0]) / 1024)
            except OSError:
                continue
    return max(found)


def table(url: str, voters: int, mails: list[int], readers: list[int], first: float = 0.0) -> float:
    """Lines of one size of the roll. Returns the rate of the first line of all."""
    for count in mails:
        for reading in readers:
            with private_copy(url, "growing") as copy, an_office(copy) as office:
                before = sizes(office.database, _MAIL)
                found = read_all(office, mixed(office.database, count + WARM), reading)
                connections = office.one("SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()")
                memory = largest(office)
                a_mail = (sizes(office.database, _MAIL) - before) / (count + WARM) / 1024
                whole = int(str(office.one("SELECT pg_database_size(current_database())"))) / 1024**2
            rate = count / found.read
            first = first or rate
            busy = sum(found.busy.values()) / count * 1000
            print(
                f"{voters:9} voters {count:6} mails {reading} readers {rate:6.1f} a second, ratio {rate / first:4.2f}; "
                f"processor {busy:5.1f} ms a mail, PostgreSQL {found.busy['PostgreSQL'] / count * 1000:4.1f} ms; "
                f"{connections} connections, {memory:.0f} MB the largest process, {a_mail:.1f} kB a mail, "
                f"{whole:.0f} MB in all; {load_now()}",
                flush=True,
            )
    return first


def main(mails: str = "10,1000", voters: str = "10000,1000000", readers: str = "1,2,4") -> None:
    first = 0.0
    for size in map(int, voters.split(",")):
        with private_postgres() as server, private_copy(f"{server.rsplit('/', 1)[0]}/template1", "office") as url:
            database = Database(url)
            set_up(database, size)
            database.close()
            first = table(url, size, [*map(int, mails.split(","))], [*map(int, readers.split(","))], first)


if __name__ == "__main__":
    main(*sys.argv[1:4])
