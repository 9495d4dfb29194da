"""Numbers of replacement ballots: the office's prefix, a running part, and a check digit.

The check digit is Damm's: it catches every single wrong digit and every swap of two neighbours, which is what goes
wrong when a number is typed or read aloud.
"""

from __future__ import annotations

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session
from stdnum import damm

from replacements.store.database import lock_ledger
from replacements.store.tables import Ballot

RUNNING_DIGITS = 6
_FEW = 10  # numbers looked at before all are
_OF_THIS_FORM = (
    select(Ballot.number)
    .where(Ballot.number.between(bindparam("lowest"), bindparam("highest")))
    .where(func.length(Ballot.number) == bindparam("length"))
    .order_by(Ballot.number.desc())
)
_A_FEW_OF_THIS_FORM = _OF_THIS_FORM.limit(_FEW)  # made once: nobody else can append meanwhile


def with_check_digit(body: str) -> str:
    """`body` and the Damm check digit over its digits (letters of an office's prefix do not count)."""
    return body + str(damm.calc_check_digit(_digits(body)))


def has_check_digit(number: str) -> bool:
    """Whether the last digit is the Damm check digit of the digits before it."""
    digits = _digits(number)
    return len(digits) > 1 and bool(damm.is_valid(digits))


def next_number(session: Session, prefix: str) -> str:
    """A number that no ballot ever had. Holds the ledger lock until the caller's transaction ends.

    The running part follows the highest number of this form on record, whoever issued it; voided ballots keep theirs.
    Raises ValueError for a prefix with anything but capital letters and digits: the desk reads numbers without dashes.
    """
    session.flush()
    lock_ledger(session)
    return free_number(session, prefix)


def free_number(session: Session, prefix: str) -> str:
    """The same, for who holds the ledger lock already."""
    if not prefix.isalnum() or not prefix.isascii() or prefix != prefix.upper():
        raise ValueError(f"a number prefix has capital letters and digits only, not {prefix!r}")
    width = RUNNING_DIGITS
    while (running := _highest(session, prefix, width) + 1) >= 10**width:
        width += 1
    return with_check_digit(f"{prefix}{running:0{width}d}")


def _highest(session: Session, prefix: str, width: int) -> int:
    """The highest running part of that many digits in use with this prefix; 0 where there is none."""
    form = {"lowest": prefix + "0" * (width + 1), "highest": prefix + "9" * (width + 1)}
    # Nearly always a few do; all of them only where many others have this form.
    for these in (_A_FEW_OF_THIS_FORM, _OF_THIS_FORM):
        numbers = session.scalars(these, form | {"length": len(prefix) + width + 1}).all()
        for number in numbers:
            running = number[len(prefix) : -1]
            if number.startswith(prefix) and running.isdecimal() and running.isascii():
                return int(running)
        if len(numbers) < _FEW:
            break
    return 0


def _digits(text: str) -> str:
    return "".join(character for character in text if character in "0123456789")
