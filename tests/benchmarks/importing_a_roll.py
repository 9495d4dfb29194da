"""Taking a roll in, and the next night's file, beside `sqlite3 .import` of the same files in the same run.

    python -m tests.benchmarks.importing_a_roll [LINES] [FILE]

"Ready to match" means with index, counts of names and all; `.import` only fills a table without any index. FILE: a roll
of that many lines made before (`roll_generator`). Prints seconds, ratios and the peak memory of each import, which runs
in a program of its own as on the command line. On a machine that others use, too, the ratio of the processor's time
says more than that of the clock; both are printed. A first import reads and writes on two cores at once: `busiest` is
the processor's time of the one that has more to do.
"""

from __future__ import annotations

import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from replacements.roll.importing import import_file
from replacements.store.database import Database
from replacements.store.migrate import migrate
from tests.benchmarks.finding_voters import everybody
from tests.benchmarks.roll_generator import Generator, next_night, write_roll


def one_import(url: str, path: Path) -> None:
    """What the command does, with its figures on the output."""
    database = Database(url)
    migrate(database)
    started, busy = time.perf_counter(), time.process_time()
    report = import_file(database, path)
    seconds, busy = time.perf_counter() - started, time.process_time() - busy
    reader = resource.getrusage(resource.RUSAGE_CHILDREN)
    read = reader.ru_utime + reader.ru_stime
    peak = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss + reader.ru_maxrss) / 1024
    print(f"{seconds:.2f} {max(busy, read):.2f} {busy + read:.2f} {peak:.0f}", end=" ")
    print(report.added, report.changed, report.unchanged, len(report.left_out))


def ours(url: str, path: Path) -> tuple[float, float, str]:
    """(seconds by the clock, processor's seconds of the busier of two, all figures in words)."""
    command = [sys.executable, "-m", "tests.benchmarks.importing_a_roll", "one", url, str(path)]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    seconds, busiest, busy, peak, added, changed, unchanged, left_out = said
    return (
        float(seconds),
        float(busiest),
        f"{seconds:>8} s   busiest {busiest} s, both {busy} s   peak {peak} MB together   {added} added, "
        f"{changed} changed, {unchanged} unchanged, {left_out} left out",
    )


def plain(folder: Path, path: Path) -> tuple[float, float]:
    """Seconds by the clock and of the processor of `.import` into a fresh file; the best of three, which is the harder
    one to stand beside."""
    found = []
    for _ in range(3):
        (folder / "plain.sqlite3").unlink(missing_ok=True)
        started, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
        command = ["sqlite3", str(folder / "plain.sqlite3"), ".mode csv", f".import {path} roll"]
        subprocess.run(command, check=True, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        busy = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        found.append((time.perf_counter() - started, busy))
    return min(seconds for seconds, _ in found), min(busy for _, busy in found)


def main(lines: int = 1_000_000, file: str = "") -> None:
    chance = random.Random(2)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first, second = Path(file) if file else folder / "first.csv", folder / "second.csv"
        generator = Generator()
        if not file:
            write_roll(first, generator.voters(lines))
        tonight = (next_night(voter, chance, generator) for voter in everybody(first) if chance.random() > 0.0005)
        write_roll(second, tonight)
        with second.open("a", encoding="utf-8") as more:
            newcomers = folder / "newcomers.csv"
            write_roll(newcomers, generator.voters(lines // 1000, 90_000_000))
            more.write(newcomers.read_text(encoding="utf-8").partition("\n")[2])
        url = str(folder / "roll.sqlite3")
        for told, path, bar in (
            ("whole roll", first, 10),
            ("next night, 1 % changed", second, 3),
            ("the same again", second, 3),
        ):
            beside, beside_busy = plain(folder, path)
            seconds, busiest, figures = ours(url, path)
            print(f"{told:24} {figures}")
            print(
                f"{'sqlite3 .import':24} {beside:8.2f} s   busy {beside_busy:.2f} s   ratio by the clock "
                f"{seconds / beside:.1f}, of the busiest {busiest / beside_busy:.1f} (bar {bar})",
                flush=True,
            )


if __name__ == "__main__":
    if sys.argv[1:2] == ["one"]:
        one_import(sys.argv[2], Path(sys.argv[3]))
    else:
        main(*map(int, sys.argv[1:2]), *sys.argv[2:3])
