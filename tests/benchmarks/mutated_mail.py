"""Reads many mutated mails and tells which broke the reading and which took long. Ends with 1 where any did.

    python -m tests.benchmarks.mutated_mail [COUNT] [SEED] [parse|read]

`parse`: bytes to letter (`replacements.mail`); `read` (the default): the letter's reading too. Seconds are of processor
time. Each mail that is told can be made again by its number: the same seed gives the same mails.
"""

from __future__ import annotations

import signal
import sys
import time
import traceback
from types import FrameType

from replacements.mail.letter import UnreadableMail
from replacements.mail.parsing import parse
from replacements.reading.reader import read
from tests.mail.mutations import mutated, seeds

SLOW = 1.0  # seconds
GIVE_UP = 5.0


class TooLongError(Exception):
    """Reading was given up."""


def give_up(_signal: int, frame: FrameType | None) -> None:
    raise TooLongError(traceback.extract_stack(frame)[-1])


def main(count: int = 20_000, seed: int = 1, stage: str = "read") -> int:
    signal.signal(signal.SIGPROF, give_up)
    originals = seeds()
    crashes, slow, refused, longest = 0, 0, 0, 0.0
    for number, raw in enumerate(mutated(originals, count, seed)):
        started = time.process_time()
        signal.setitimer(signal.ITIMER_PROF, GIVE_UP)
        try:
            letter = parse(raw)
            if stage == "read":
                read(letter)
        except UnreadableMail:
            refused += 1
        except TooLongError as where:
            print(f"mail {number}, {len(raw)} bytes: given up after {GIVE_UP} s at {where}")
        except Exception as error:
            crashes += 1
            print(f"mail {number}, {len(raw)} bytes: {error!r} at {traceback.extract_tb(error.__traceback__)[-1]}")
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
        took = time.process_time() - started
        longest = max(longest, took)
        if took > SLOW:
            slow += 1
            print(f"mail {number}, {len(raw)} bytes: {took:.2f} s")
    print(
        f"{count} mails from {len(originals)} originals: {crashes} crashes, {slow} over {SLOW:.0f} s "
        f"(longest {longest:.2f} s), {refused} without any header line"
    )
    return 1 if crashes or slow else 0


if __name__ == "__main__":
    arguments = sys.argv[1:]
    sys.exit(main(*map(int, arguments[:2]), *arguments[2:3]))
