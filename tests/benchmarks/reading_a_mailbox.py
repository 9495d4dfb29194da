"""How long the demo's mailbox takes: parsing by the standard library alone, by our parser, and the whole judging.

    python -m tests.benchmarks.reading_a_mailbox [ROUNDS]

Prints medians and 99th percentiles of processor time in milliseconds a mail, and ratios to
`email.message_from_bytes`, in one run: for
the demo's mails, and for long letters put together from them (up to 100 kB), which are read once and not judged.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from email import message_from_bytes
from pathlib import Path

import numpy as np

from replacements.demo.setting_up import write_county
from replacements.mail.parsing import parse
from replacements.reading.reader import read
from replacements.requests.judging import judge
from replacements.requests.mail_files import messages_in
from replacements.requests.rehearsal import load_office


def timed(step: Callable[[bytes], object], mails: list[bytes], rounds: int) -> np.ndarray:
    times = []
    for _ in range(rounds):
        for raw in mails:
            started = time.process_time()
            step(raw)
            times.append((time.process_time() - started) * 1000)
    return np.array(times)


def long_letters(mails: list[bytes], count: int = 40) -> list[bytes]:
    """Letters of 5 to 100 kB: the demo's letters one below another, as people do who tell everything."""
    texts = [text for text in (parse(raw).new_text for raw in mails) if text]
    letters = []
    for number in range(count):
        size, at, body = 5_000 + 95_000 * number // count, number, ""
        while len(body) < size:
            body += texts[at % len(texts)] + "\n\n"
            at += 1
        head = f"From: Ada <ada@home.example>\nSubject: ballot {number}\nContent-Type: text/plain; charset=utf-8\n\n"
        letters.append((head + body[:size]).encode())
    return letters


def main(rounds: int = 5) -> None:
    now = datetime.now(UTC)
    with tempfile.TemporaryDirectory() as folder:
        county = write_county(Path(folder), now.date(), now)
        office = load_office(county.office, county.roll, county.ballots)
        mails = [raw for _, raw in messages_in(county.mailbox)]
        steps: dict[str, Callable[[bytes], object]] = {
            "email.message_from_bytes": message_from_bytes,
            "mail: parse": parse,
            "mail and reading": lambda raw: read(parse(raw)),
            "whole judging, 2,000 voters": lambda raw: judge(
                parse(raw), roll=office.roll, ballots=office.ballots, rules=office.rules
            ),
        }
        for step in steps.values():  # once, so that no one-time loading is measured
            timed(step, mails, 1)
        print(f"{len(mails)} mails of the demo")
        show(steps, mails, rounds)
        long = long_letters(mails)
        print(f"{len(long)} long letters, 5 to 100 kB")
        show({name: step for name, step in steps.items() if "judging" not in name}, long, 1)


def show(steps: dict[str, Callable[[bytes], object]], mails: list[bytes], rounds: int) -> None:
    base = 0.0
    for name, step in steps.items():
        found = timed(step, mails, rounds)
        median = float(np.median(found))
        base = base or median
        late = np.percentile(found, 99)
        print(f"{name:30} median {median:8.3f} ms   p99 {late:8.3f} ms   ratio {median / base:7.1f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
