"""Names, addresses, dates, telephones and keys in their normal forms."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replacements.roll.address_fit import agreement
from replacements.roll.addresses import delivery_line, parse
from replacements.roll.dates import age_agreement, normal_birth_date
from replacements.roll.dates import agreement as date_agreement
from replacements.roll.keys import clue_keys, ids_near, name_sound, voter_keys
from replacements.roll.name_fit import compare, near
from replacements.roll.names import fold, on_file, read_name, suffix_form
from replacements.roll.nicknames_known import relation
from replacements.roll.phones import digits, same
from replacements.roll.types import AddressClue, Clues, Voter


@pytest.mark.parametrize(
    ("written", "folded"),
    [
        ("Ñuñez-O’Brien", "nunez obrien"),
        ("ĐẶNG Thị Mỹ", "dang thi my"),
        ("J.R. d'Angelo", "j r dangelo"),
        ("Łukasz  Żółć", "lukasz zolc"),
        ("STRAẞE", "strasse"),
        ("ｆｕｌｌ ｗｉｄｔｈ", "full width"),
        ("", ""),
    ],
)
def test_names_are_folded(written: str, folded: str) -> None:
    assert fold(written) == folded


@pytest.mark.parametrize(
    ("written", "tokens", "suffix"),
    [
        ("Quested, Owen P.", ("owen", "p", "quested"), ""),
        ("Quested, Jr., Owen", ("owen", "quested"), "jr"),
        ("Owen Quested, Jr.", ("owen", "quested"), "jr"),
        ("Owen Quested the third", ("owen", "quested"), "iii"),
        ("Dr. Owen Quested PhD", ("owen", "quested"), ""),
        ("Sr. Juan Pérez", ("juan", "perez"), ""),
        ("Juan Pérez Sr.", ("juan", "perez"), "sr"),
        ("OWEN QUESTED JUNIOR", ("owen", "quested"), "jr"),
    ],
)
def test_titles_suffixes_and_order_of_a_written_name(written: str, tokens: tuple[str, ...], suffix: str) -> None:
    (found,) = read_name(written)
    assert (found.tokens, found.suffix) == (tokens, suffix)


def test_brackets_and_quotation_marks_hold_further_names() -> None:
    assert [w.tokens for w in read_name('Robert "Bob" Quested')] == [("robert", "quested"), ("bob", "quested")]
    assert [w.tokens for w in read_name("Ida Quested (née Vane)")] == [("ida", "quested"), ("ida", "vane")]
    assert [w.tokens for w in read_name("Ida Quested formerly Vane")] == [("ida", "quested"), ("ida", "vane")]
    assert [(w.tokens, w.hangul) for w in read_name("김민수(Min-soo Kim)")] == [
        ((), "김민수"),
        (("min", "soo", "kim"), ""),
    ]
    assert [w.tokens for w in read_name("Ida Quested <ida@post.example>")] == [("ida", "quested")]
    assert read_name("王小明") == ()


def test_don_may_be_a_title_or_a_name() -> None:
    assert [w.tokens for w in read_name("Don Quested")] == [("don", "quested")]
    assert [w.tokens for w in read_name("Dona Quested")] == [("dona", "quested")]
    assert [w.tokens for w in read_name("Don José Ibáñez")] == [("don", "jose", "ibanez"), ("jose", "ibanez")]


def test_a_family_name_alone_is_known_for_one() -> None:
    for text in ("The Questeds", "Quested family", "Mr. Quested", "Familia Ibáñez"):
        (found,) = read_name(text)
        assert found.surname_only, text
    assert read_name("Mrs. Owen Quested")[0].wife_form


@pytest.mark.parametrize(
    ("text", "form"), [("Jr.", "jr"), ("JUNIOR", "jr"), ("the elder", "sr"), ("3rd", "iii"), ("Quested", ""), ("", "")]
)
def test_suffixes_have_one_form(text: str, form: str) -> None:
    assert suffix_form(text) == form


@pytest.mark.parametrize(
    ("written", "first", "middle", "last", "word"),
    [
        ("Owen Quested", "Owen", "", "Quested", "same"),
        ("Owen Questad", "Owen", "", "Quested", "typo"),
        ("Eric Quested", "Erin", "", "Quested", "similar name"),
        ("Erik Quested", "Owen", "Erik", "Quested", "middle name"),
        ("Ana Ruiz Soler", "Ana", "", "Ruiz Vega", "other last name"),
        ("Ana Ruiz Soler", "Ana", "", "Ruiz", "part of last name"),
        ("James Thomas Vane", "James", "", "Thomas", "part of last name"),
        ("Quested Owen", "Owen", "", "Quested", "swapped order"),
        ("Ted Quested", "Edward", "", "Quested", "nickname"),
        ("Bill Quested", "Robert", "", "Quested", "loose nickname"),
        ("Owen", "Owen", "", "Quested", "first name only"),
        ("Quested", "Owen", "", "Quested", "last name only"),
        ("Owen Q.", "Owen", "", "Quested", "first name only"),
        ("Ida Vane", "Owen", "", "Quested", "differs"),
        ("João Silva", "João", "", "Fernandes da Silva", "part of last name"),
        ("Ada Mac Donald", "Ada", "", "McDonald", "transliteration"),
        ("María Teresa Núñez", "Ma. Teresa", "", "Nuñez", "nickname"),
        ("Minh Tran", "Thi Minh", "", "Tran", "part"),
        ("Wm. Quested", "William", "", "Quested", "nickname"),
    ],
)
def test_how_a_written_name_fits_one_on_file(written: str, first: str, middle: str, last: str, word: str) -> None:
    (name,) = read_name(written)
    assert compare(name, on_file(first, middle, last, "", "")).word == word


def test_two_names_are_not_a_slip_of_each_other_when_they_are_short() -> None:
    assert not near("ann", "amy")
    assert near("quested", "qusted")


@pytest.mark.parametrize(
    ("short", "full"),
    [
        ("nacho", "ignacio"),
        ("pepe", "jose"),
        ("lupita", "guadalupe"),
        ("beto", "alberto"),
        ("beto", "roberto"),
        ("memo", "guillermo"),
    ],
)
def test_spanish_short_forms(short: str, full: str) -> None:
    assert relation(short, full) == relation(full, short) == "nickname"


HOME = Voter("1", "Quested", "Owen", street="220 N Pell St", unit="Apt 4B", city="Ostrey", state="OR", zip="97999")


@pytest.mark.parametrize(
    ("clue", "level"),
    [
        (AddressClue("220 North Pell Street Apartment 4-B"), "same"),
        (AddressClue("220 Pell st. #4b", city="ostrey"), "same"),
        (AddressClue("220 N Pell St 4B"), "same"),
        (AddressClue("220 N. Pell, Unit 4B, Ostrey OR 97999"), "same"),
        (AddressClue("220 N Pell St"), "unit not given"),
        (AddressClue("220 N Pell St Apt 5"), "unit differs"),
        (AddressClue("220 N Pel St", "4B", "Ostrey"), "street typo"),
        (AddressClue("202 N Pell St"), "house number slip"),
        (AddressClue("220 S Pell St"), "differs"),
        (AddressClue("220 N Pell Ave"), "other street type"),
        (AddressClue("220 N Pell St", "4B", "Tolsham", "OR", "97988"), "other city"),
        (AddressClue("220 N Pell St", "4B", "Old Ostrey", "OR", "97999"), "same"),
        (AddressClue("N Pell Street"), "street only"),
        (AddressClue(city="Ostrey"), "city only"),
        (AddressClue("9 Brine Ct"), "differs"),
        (AddressClue(), ""),
        (AddressClue("220 N Pell St Apt 4B, Ostrey"), "same"),
        (AddressClue("220 N Pell St Apt 4B, Tolsham"), "other city"),
        (AddressClue("220 pell apt 4b"), "same"),
    ],
)
def test_how_an_address_agrees(clue: AddressClue, level: str) -> None:
    assert agreement((clue,), HOME)[0] == level


def test_a_new_address_says_nothing_where_it_does_not_agree() -> None:
    assert agreement((AddressClue("9 Brine Ct", moved=True),), HOME) == ("", False)
    assert agreement((AddressClue("220 N Pell St Apt 4B", moved=True),), HOME) == ("same", True)


@pytest.mark.parametrize(
    ("mail", "clue", "level"),
    [
        (
            {"mail_street": "PO Box 12", "mail_city": "Ostrey"},
            AddressClue("P.O. Box 12", city="Ostrey"),
            "mailing address",
        ),
        ({"mail_street": "PO Box 12", "mail_city": "Ostrey"}, AddressClue("P.O. Box 21", city="Ostrey"), "same town"),
        (
            {"mail_street": "PSC 3 Box 45", "mail_city": "APO"},
            AddressClue("PSC 3, Box 45", city="APO"),
            "mailing address",
        ),
        (
            {"mail_street": "Unit 99 Box 7", "mail_city": "FPO"},
            AddressClue("UNIT 99 BOX 7", city="FPO"),
            "mailing address",
        ),
        (
            {"mail_street": "88 Rowan Hall", "mail_unit": "Rm 214", "mail_city": "Farwick"},
            AddressClue("Rowan Hall Room 214", city="Farwick"),
            "mailing address",
        ),
        (
            {"mail_street": "RR 2 Box 9", "mail_city": "Mardle"},
            AddressClue("Rural Route 2, Box 9", city="Mardle"),
            "mailing address",
        ),
    ],
)
def test_how_a_mailing_address_agrees(mail: dict[str, str], clue: AddressClue, level: str) -> None:
    fields: dict[str, Any] = {
        "voter_id": "1",
        "last_name": "Quested",
        "first_name": "Owen",
        "street": "3 Elm St",
        "city": "Mardle",
        **mail,
    }
    assert agreement((clue,), Voter(**fields))[0] == level


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60), st.text(max_size=12))
def test_any_text_has_a_delivery_line_that_stays(street: str, unit: str) -> None:
    parse(street, unit)
    assert isinstance(delivery_line(street, unit), str)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60))
def test_any_text_can_be_read_as_a_name(text: str) -> None:
    filed = on_file("Owen", "P", "Quested", "", "")
    for written in read_name(text):
        compare(written, filed)
    assert fold(fold(text)) == fold(text)


@pytest.mark.parametrize(
    ("text", "iso"),
    [
        ("1961-04-09", "1961-04-09"),
        ("4/9/1961", "1961-04-09"),
        ("04/09/1961", "1961-04-09"),
        ("1961", "1961"),
        ("", ""),
        ("1961-4-9", "1961-04-09"),
    ],
)
def test_birth_dates_of_a_roll_file(text: str, iso: str) -> None:
    assert normal_birth_date(text) == iso


@pytest.mark.parametrize(
    ("said", "level"),
    [
        ((1961, 4, 9), "same"),
        ((1961, 9, 4), "swapped"),
        ((1961, 4, 8), "slip"),
        ((1961, 4, 29), "slip"),
        ((1961, 4, 25), "one part differs"),
        ((1962, 4, 9), "slip"),
        ((1916, 4, 9), "year differs"),
        ((1991, 4, 9), "year differs"),
        ((1961, 7, 22), "differs"),
        ((None, 4, 9), "day and month"),
        ((1961, 4, None), "month and year"),
        ((1961, None, None), "year"),
        ((1970, None, None), "year differs"),
        ((None, None, None), ""),
    ],
)
def test_how_a_birth_date_agrees(said: tuple[int | None, int | None, int | None], level: str) -> None:
    assert date_agreement((said,), "1961-04-09") == level


def test_the_better_of_two_readings_of_a_date_counts() -> None:
    assert date_agreement(((1961, 9, 4), (1961, 4, 9)), "1961-04-09") == "same"
    assert date_agreement(((1961, 4, 9),), "") == ""
    assert date_agreement(((1961, 4, 9),), "1961") == "year"


def test_ages_agree_within_a_year() -> None:
    today = date(2026, 10, 15)
    assert age_agreement(65, "1961-04-09", today) == "same"
    assert age_agreement(67, "1961-04-09", today) == "near"
    assert age_agreement(40, "1961-04-09", today) == "differs"
    assert age_agreement(65, "1961", today) == "same"
    assert age_agreement(None, "1961-04-09", today) == ""


def test_telephones_are_compared_by_digits() -> None:
    assert digits("+1 (541) 555-0101") == "5415550101"
    assert same("541.555.0101", "(541) 555-0101")
    assert same("555-0101", "(541) 555-0101")
    assert not same("(804) 555-0101", "(541) 555-0101")
    assert not same("0101", "(541) 555-0101")


def test_one_slip_anywhere_leaves_a_key_in_common() -> None:
    voter = Voter(
        "W48213",
        "Quested",
        "Owen",
        birth_date="1961-04-09",
        street="220 N Pell St",
        city="Ostrey",
        email="oq@post.example",
    )
    keys = voter_keys(voter)
    told = [
        Clues(names=("Owen Questde",), birth_dates=((1961, 4, 8),)),
        Clues(names=("Oewn Quested",)),
        Clues(names=("O. Qusted",)),
        Clues(birth_dates=((1961, 9, 4),)),
        Clues(addresses=(AddressClue("220 Pel Street"),)),
        Clues(names=("Owen Vane",), addresses=(AddressClue("202 Pell St"),)),
        Clues(voter_ids=("W48231",)),
        Clues(voter_ids=("w4821",)),
        Clues(emails=("OQ@post.example",)),
        Clues(names=("Quested",)),
    ]
    for clues in told:
        assert keys & clue_keys(clues), clues


def test_ids_near_one_are_all_its_slips() -> None:
    assert {"12345", "12354", "1234", "12346", "112345"} <= ids_near("12345")
    assert "54321" not in ids_near("12345")


def test_names_that_sound_alike_share_a_sound() -> None:
    assert name_sound("peterson") == name_sound("petersen")
    assert name_sound("quested") != name_sound("halloran")
