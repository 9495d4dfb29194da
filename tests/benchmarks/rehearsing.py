"""`rehearse` over a thousand mails and a roll of two thousand voters, everything from the bytes to the reply.

    python -m tests.benchmarks.rehearsing [MAILS] [VOTERS]

The mail is that of the invented counties of `tests/requests/counties`, again with other Message-IDs until there are
enough; the roll is one county's with invented neighbours. Beside it, in the same run, the standard library's `email`
alone: the same bytes parsed with `policy.default` and the text taken out. Prints mails a second by the clock, with and
without the start of the program, and the ratio.
"""

from __future__ import annotations

import csv
import email
import email.policy
import re
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import asdict, replace
from itertools import count, islice
from pathlib import Path

from replacements.reading import reader
from replacements.requests.rehearsal import load_office, rehearse
from replacements.roll.roll_file import read_roll
from replacements.rules.office import load_rules
from tests.benchmarks.roll_generator import Generator

COUNTIES = Path(__file__).parent.parent / "requests" / "counties"
OFFICE = COUNTIES / "brackwater"
_MESSAGE_ID = re.compile(rb"^(Message-ID:\s*<)", re.I | re.M)


def mails() -> Iterator[bytes]:
    """Without end: the counties' mail in turn, each round with Message-IDs of its own."""
    letters = [path.read_bytes() for path in sorted(COUNTIES.glob("*/mail/*.eml"))]
    for turn in count():
        for letter in letters:
            yield _MESSAGE_ID.sub(rb"\g<1>round%d." % turn, letter, count=1)


def write_neighbours(path: Path, voters: int) -> None:
    """The office's own roll, filled up with invented voters."""
    columns = load_rules(OFFICE / "office.toml").columns.roll
    known = list(read_roll(OFFICE / "roll.csv", columns).voters)
    new = (replace(voter, voter_id=f"X{voter.voter_id}") for voter in Generator().voters(voters))
    everybody = [*known, *islice(new, max(0, voters - len(known)))]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        names = list(asdict(everybody[0]))
        writer.writerow(columns.get(name, name) for name in names)
        for voter in everybody:
            values = asdict(voter)
            writer.writerow({True: "yes", False: "no"}.get(values[name], values[name]) for name in names)


def main(letters: int = 1000, voters: int = 2000) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        mailbox = folder / "mail"
        mailbox.mkdir()
        for place, letter in enumerate(islice(mails(), letters)):
            (mailbox / f"{place:05}.eml").write_bytes(letter)
        write_neighbours(folder / "roll.csv", voters)
        started = time.perf_counter()
        office = load_office(OFFICE / "office.toml", folder / "roll.csv", OFFICE / "ballots.csv")
        reader.warm()
        warm = time.perf_counter()
        said = sum(1 for _ in rehearse([mailbox], office))
        ended = time.perf_counter()
        for path in sorted(mailbox.iterdir()):
            body = email.message_from_bytes(path.read_bytes(), policy=email.policy.default).get_body(("plain", "html"))
            if body is not None:
                try:
                    body.get_content()
                except (LookupError, UnicodeError):
                    continue
        alone = time.perf_counter() - ended
        print(
            f"rehearse      {said / (ended - warm):7.1f} mails a second (bar 60); with the start of "
            f"{warm - started:.1f} s {said / (ended - started):.1f}"
        )
        print(f"email alone   {said / alone:7.1f} mails a second   ratio {(ended - warm) / alone:.1f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
