"""Checked against NIST SP 800-63B-4 (2025), 3.1.1: length 15 for a single factor, no composition rules, long and
Unicode passwords accepted, none cut, a list of common ones refused. Section number from memory."""

import pytest
from argon2 import Type, extract_parameters

from replacements.people import passwords

pytestmark = pytest.mark.usefixtures("hashed_as_in_an_office")


@pytest.mark.parametrize(
    "password",
    [
        "copper kettle on a slow ferry",
        "aaaa bbbb cccc dddd?",
        "onlylowercaseletters",
        "9471 0358 2261 70",
        "bốn con cò đứng bên hồ",
        "갈대밭에 왜가리 일곱 마리가 서 있다",
        "🦆" * 3 + " three ducks, one pond",
        "a slow ferry " * 9 + "and then the long tail that makes it different from all before",
    ],
)
def test_length_is_all_that_is_asked(password: str) -> None:
    passwords.accept(password)


@pytest.mark.parametrize(
    "password",
    [
        "short",
        "fourteen chars",
        "Correct Horse Battery Staple!",
        "PASSWORD-password",
        "aaaaaaaaaaaaaaaaaaaa",
        "abcabcabcabcabcabc",
        "123456789012345",
        "abcdefghijklmnop",
        "987654321098765",
        "                    ",
    ],
)
def test_what_anybody_would_try_first_is_refused(password: str) -> None:
    with pytest.raises(passwords.PasswordRefused):
        passwords.accept(password)


def test_ones_own_name_is_no_password() -> None:
    with pytest.raises(passwords.PasswordRefused):
        passwords.accept("vera.quill.2026", account="vera.quill")
    with pytest.raises(passwords.PasswordRefused):
        passwords.accept("Josephina Winterbourne", account="jw", full_name="Josephina Winterbourne")


def test_no_character_is_cut_off_at_the_end() -> None:
    long = "x7 " * 60 + "end"
    kept = passwords.hashed(long)
    assert passwords.fits(kept, long)
    assert not passwords.fits(kept, long[:-1])
    assert not passwords.fits(kept, long.upper())


def test_two_keyboards_that_send_the_same_letter_differently_both_sign_in() -> None:
    kept = passwords.hashed("caf\u00e9 at the end of the pier")
    assert passwords.fits(kept, "cafe\u0301 at the end of the pier")


def test_a_hash_that_is_no_hash_fits_nothing() -> None:
    assert not passwords.fits("", "anything at all here")


def test_an_office_hashes_at_least_as_slowly_as_the_standard_recommends_where_memory_is_scarce() -> None:
    """RFC 9106 (2021), section 4, second recommended option: Argon2id, 3 passes, 4 lanes, 64 MiB. From memory."""
    kept = passwords.hashed("copper kettle on a slow ferry")
    found = extract_parameters(kept)
    assert found.type is Type.ID
    assert found.time_cost >= 3
    assert found.memory_cost >= 64 * 1024
    assert not passwords.needs_new_hash(kept)
