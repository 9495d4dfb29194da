"""The ledger's hashing against NIST FIPS 180-4 (SHA-256), against another implementation (the program `openssl`, where
it is installed), and two worked values of h(n) = SHA-256(h(n-1) in hexadecimal + entry), h(0) = 64 zeros.

The two chained values were worked out by hand with a SHA-256 program, not taken from a publication.
"""

from __future__ import annotations

import shutil
import subprocess

import pytest

from replacements.ballots.ledger import BEFORE_THE_FIRST, canonical, chained

FIRST = "f65d3fb9a7c55ec5a09a8cd0d698cda60664bf1d253378ea9bc8cc45dc278855"
SECOND = "15adfb83fcdbe80dea5e163a0d1d09bd3f9950f89ecc658cbcf44970da5c45f9"


def test_sha_256_of_abc_as_in_the_examples_of_fips_180() -> None:
    """NIST, "Examples with Intermediate Values", SHA-256, one-block message "abc" (from memory)."""
    assert chained("", "abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_chain_of_two() -> None:
    first = chained(BEFORE_THE_FIRST, canonical({"type": "void", "seq": 1}))
    assert first == FIRST
    assert chained(first, canonical({"seq": 2, "type": "reissue"})) == SECOND


def test_the_same_chain_with_openssl() -> None:
    program = shutil.which("openssl")
    if program is None:
        pytest.skip("openssl is not installed")
    text = "0" * 64 + '{"seq":1,"type":"void"}'
    done = subprocess.run([program, "dgst", "-sha256"], input=text.encode(), capture_output=True, check=True)
    assert done.stdout.decode().split()[-1] == FIRST
