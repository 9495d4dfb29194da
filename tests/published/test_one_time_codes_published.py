"""RFC 6238 (TOTP: Time-Based One-Time Password Algorithm, May 2011), Appendix B: Test Vectors, table 1.

The table's seeds are ASCII digits, as long as the hash's output (RFC 6238, errata 2866): 20, 32 and 64 bytes.
"""

from __future__ import annotations

import base64
import hashlib
from typing import Any

import pyotp
import pytest

from replacements.people.second_factor import STEP, app_of

DIGITS = "1234567890" * 7
HASHES: dict[str, tuple[Any, int]] = {
    "SHA1": (hashlib.sha1, 20),
    "SHA256": (hashlib.sha256, 32),
    "SHA512": (hashlib.sha512, 64),
}
VECTORS = [
    (59, "94287082", "SHA1"),
    (59, "46119246", "SHA256"),
    (59, "90693936", "SHA512"),
    (1111111109, "07081804", "SHA1"),
    (1111111109, "68084774", "SHA256"),
    (1111111109, "25091201", "SHA512"),
    (1111111111, "14050471", "SHA1"),
    (1111111111, "67062674", "SHA256"),
    (1111111111, "99943326", "SHA512"),
    (1234567890, "89005924", "SHA1"),
    (1234567890, "91819424", "SHA256"),
    (1234567890, "93441116", "SHA512"),
    (2000000000, "69279037", "SHA1"),
    (2000000000, "90698825", "SHA256"),
    (2000000000, "38618901", "SHA512"),
    (20000000000, "65353130", "SHA1"),
    (20000000000, "77737706", "SHA256"),
    (20000000000, "47863826", "SHA512"),
]


def _seed(name: str) -> str:
    return base64.b32encode(DIGITS[: HASHES[name][1]].encode()).decode()


@pytest.mark.parametrize(("seconds", "code", "name"), VECTORS)
def test_the_library_gives_the_codes_of_the_table(seconds: int, code: str, name: str) -> None:
    assert pyotp.TOTP(_seed(name), digits=8, digest=HASHES[name][0]).generate_otp(seconds // 30) == code


@pytest.mark.parametrize(("seconds", "code"), [(seconds, code) for seconds, code, name in VECTORS if name == "SHA1"])
def test_our_six_digits_are_the_last_six_of_the_table(seconds: int, code: str) -> None:
    """RFC 4226, 5.3: a code of fewer digits is the same number modulo a smaller power of ten."""
    assert app_of(_seed("SHA1")).generate_otp(seconds // STEP) == code[-6:]
