"""Passwords: which are accepted, and how they are kept.

A password is the only factor here, so it has at least 15 characters; there are no composition rules and no forced
changes, spaces and any script are welcome, and what everybody would try first is refused (NIST SP 800-63B-4, 3.1.1).
Kept as Argon2id (RFC 9106).
"""

from __future__ import annotations

import unicodedata
from functools import cache
from itertools import pairwise
from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

SHORTEST = 15  # characters, where the password is the only factor
LONGEST = 1024  # so that nobody can keep the server busy with a book
_COMMON = Path(__file__).with_name("common_passphrases.txt")
_hasher = PasswordHasher()


class PasswordRefused(Exception):
    """This password is not accepted; the text says why."""


def _normal(password: str) -> str:
    """One form for what different keyboards send for the same characters (NFC); nothing is cut or changed in case."""
    return unicodedata.normalize("NFC", password)


def _bare(text: str) -> str:
    return "".join(c for c in unicodedata.normalize("NFKC", text).casefold() if c.isalnum())


@cache
def _common() -> frozenset[str]:
    lines = _COMMON.read_text(encoding="utf-8").splitlines()
    return frozenset(_bare(line) for line in lines if line.strip() and not line.startswith("#"))


def _repeats(bare: str) -> bool:
    """Whether it is one short piece over and over: `abcabcabcabcabc`, `passwordpassword`."""
    return any(
        (bare[:size] * (len(bare) // size + 1))[: len(bare)] == bare for size in range(1, min(9, len(bare) // 2 + 1))
    )


def _is_a_run(bare: str) -> bool:
    """Whether each character follows the one before it: `123456789012345`, `abcdefghijklmno`."""
    steps = [ord(b) - ord(a) for a, b in pairwise(bare)]
    return all(step in (1, -9) for step in steps) or all(step in (-1, 9) for step in steps)


def accept(password: str, *, account: str = "", full_name: str = "") -> None:
    """Raise PasswordRefused where a new password is too short, far too long, or among the first that are tried."""
    shape = _normal(password)
    if len(shape) < SHORTEST:
        raise PasswordRefused(
            f"The password has {len(shape)} characters; {SHORTEST} are needed. Four or five words that belong to no "
            "known saying work well. Spaces are allowed."
        )
    if len(shape) > LONGEST:
        raise PasswordRefused(f"The password has more than {LONGEST} characters.")
    bare = _bare(shape)
    own = {_bare(account), _bare(full_name)} - {""}
    left = bare
    for word in own:
        left = left.replace(word, "")
    if bare in _common() or _repeats(bare) or _is_a_run(bare) or (left != bare and len(left) < 5):
        raise PasswordRefused("That password is among the first that anybody would try. Choose words of your own.")


def hashed(password: str) -> str:
    """The form in which a password is kept."""
    return _hasher.hash(_normal(password))


def fits(kept: str, password: str) -> bool:
    """Whether this is the password that was kept. About the same time whether it is or not."""
    try:
        return _hasher.verify(kept, _normal(password[: LONGEST + 1]))
    except (VerificationError, InvalidHashError):
        return False


def needs_new_hash(kept: str) -> bool:
    """Whether a kept password was hashed with weaker settings than are used now."""
    return _hasher.check_needs_rehash(kept)


@cache
def nobodys() -> str:
    """A hash to check against where the account does not exist, so that the answer takes as long."""
    return hashed("nobody has this account, and nobody will")
