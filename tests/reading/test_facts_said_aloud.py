"""Facts as people dictate them or put them in an order of their own."""

from __future__ import annotations

from datetime import date

import pytest

from replacements.reading.facts.addresses import find_addresses
from replacements.reading.facts.dates import find_dates
from replacements.reading.facts.dictation import as_written
from replacements.reading.types import AddressRole, Kind
from tests.reading.known_kinds import people


@pytest.mark.parametrize(
    ("said", "street"),
    [
        ("i live at route two box thirty one dell", "route 2 box 31"),
        ("My address is forty two Fern Street", "42 Fern Street"),
        ("we are at twelve oh five North Fern Avenue", "1205 North Fern Avenue"),
        ("I live at three hundred and ten Fern Road", "310 Fern Road"),
        ("mail is P.O. Box two twelve, Dell", "P.O. Box 212"),
    ],
)
def test_numbers_said_in_words_make_an_address(said: str, street: str) -> None:
    written = as_written(said)
    assert len(written) == len(said)
    assert [a.found.street for a in find_addresses(written, "en")] == [street]


@pytest.mark.parametrize(
    "text",
    [
        "One more street sign fell on me.",
        "Two people on the road saw it.",
        "My time period of waiting is over, period.",
        "I voted a lot two weeks ago.",
    ],
)
def test_words_that_are_no_dictation_stay(text: str) -> None:
    assert as_written(text) == text


def test_marks_said_aloud_end_names_and_sentences() -> None:
    (person,) = people(
        "good morning this is edwin sallow period my hand slipped comma and I marked two period "
        "I live at route two box thirty one dell period born march second nineteen forty period thanks",
        "Edwin S",
    )
    assert person.name == "edwin sallow"
    assert person.birth_dates == ((1940, 3, 2),)
    assert [(a.street, a.city) for a in person.addresses] == [("route 2 box 31", "dell")]


@pytest.mark.parametrize(
    ("text", "language", "street", "city"),
    [
        ("vivo en el 14 de fern st en Dell", "es", "14 fern st", "Dell"),
        ("Vivo en el 14 de la Fern St.", "es", "14 Fern St", ""),
        ("Para servirle. Olmo 27, Dell. Gracias.", "es", "27 Olmo", "Dell"),
        ("I live on Long Quay in Dell at no. 27.", "en", "27 Long Quay", "Dell"),
        ("it is for Bo Tarn, 27 gorse bank, dob 1/2/60", "en", "27 gorse bank", ""),
    ],
)
def test_an_address_in_an_order_of_its_own(text: str, language: str, street: str, city: str) -> None:
    (place,) = find_addresses(text, language)
    assert (place.found.street, place.found.city) == (street, city)


@pytest.mark.parametrize(
    ("text", "language"),
    [("Nací el 8 de mayo de 1960.", "es"), ("Lo mandé el 3 de octubre.", "es"), ("El lunes 5, María lo mojó.", "es")],
)
def test_a_date_is_no_address(text: str, language: str) -> None:
    assert not [a for a in find_addresses(text, language) if a.found.city]


def test_the_day_told_after_month_and_year() -> None:
    (found,) = find_dates("I was born in March of 1961, on the 9th.", "en", date(2026, 10, 1))
    assert (found.readings, found.is_birth) == (((1961, 3, 9),), True)


@pytest.mark.parametrize(
    ("text", "language"),
    [
        ("Tôi dọn nhà từ 8 Elm St qua 31 Fern Rd, Dell.", "vi"),
        ("Please change me from 8 Elm St to 31 Fern Rd.", "en"),
        ("Me mudé de 8 Elm St a 31 Fern Rd.", "es"),
    ],
)
def test_from_an_old_address_to_a_new_one(text: str, language: str) -> None:
    old, new = find_addresses(text, language, changes=True)
    assert (old.found.street, old.found.role) == ("8 Elm St", AddressRole.OLD)
    assert (new.found.street, new.found.role) == ("31 Fern Rd", AddressRole.NEW)


def test_the_address_beside_the_name_is_not_the_new_one() -> None:
    (person,) = people(
        "We leave on the 10th. Our box there is PO Box 881, Sandrock, FL 33901. Mail it there. Gil Lark, 8 Elm St.",
        "Gil Lark",
        kinds=(Kind.ADDRESS_CHANGE,),
    )
    assert [(a.street, a.role) for a in person.addresses] == [
        ("PO Box 881", AddressRole.NEW),
        ("8 Elm St", AddressRole.HOME),
    ]


def test_a_daughter_who_says_which_of_two_she_is_names_herself() -> None:
    (person,) = people("I tore mine. I'm the daughter, Elena, not Helen.", "El", address="el@post.example")
    assert (person.name, person.is_writer, person.suffix) == ("Elena", True, "")


def test_a_pet_form_in_the_account_does_not_replace_the_name_in_the_letter() -> None:
    (person,) = people("need a new ballot asap. its for K. Sundqvist, 27 gorse bank, dob 7/3/01", "kaykay")
    assert person.name == "K. Sundqvist"
