"""Hangul against the Revised Romanization of Korean (National Institute of Korean Language, Ministry of Culture and
Tourism notice 2000-8, July 2000); the spellings of family names in use are common practice; all from memory."""

from __future__ import annotations

import pytest

from replacements.roll.romanisation import given_pattern, romanise, same_surname, split_name, surname_spellings


@pytest.mark.parametrize(
    ("hangul", "roman"),
    [
        ("부산", "busan"),
        ("인천", "incheon"),
        ("제주", "jeju"),
        ("한복남", "hanboknam"),
        ("홍빛나", "hongbitna"),
        ("민용하", "minyongha"),
        ("송나리", "songnari"),
    ],
)
def test_syllables_of_the_official_table(hangul: str, roman: str) -> None:
    # names and places of the notice in which no sound changes across syllables
    assert romanise(hangul) == roman


@pytest.mark.parametrize(
    ("hangul", "spellings"),
    [
        ("이", {"lee", "yi", "rhee"}),
        ("박", {"park", "pak"}),
        ("최", {"choi", "choe"}),
        ("임", {"lim", "im"}),
        ("정", {"jung", "chung", "jeong"}),
    ],
)
def test_family_names_in_every_spelling_in_use(hangul: str, spellings: set[str]) -> None:
    assert spellings <= surname_spellings(hangul)


@pytest.mark.parametrize(
    ("hangul", "roman"),
    [
        ("지영", "jiyoung"),
        ("민수", "minsoo"),
        ("은주", "eunjoo"),
        ("성호", "sungho"),
        ("영철", "youngchul"),
        ("미경", "mikyung"),
        ("혜진", "hyejin"),
    ],
)
def test_a_given_name_in_hangul_fits_the_spelling_that_people_use(hangul: str, roman: str) -> None:
    assert given_pattern(hangul).fullmatch(roman)


@pytest.mark.parametrize(("hangul", "roman"), [("지영", "minyoung"), ("민수", "minji"), ("은주", "eunji")])
def test_and_not_another_name(hangul: str, roman: str) -> None:
    assert not given_pattern(hangul).fullmatch(roman)


def test_family_and_given_name_in_hangul() -> None:
    assert split_name("남궁민수") == ("남궁", "민수")
    assert split_name("김 민수 씨") == ("김", "민수")
    assert split_name("김민수") == ("김", "민수")


def test_two_spellings_of_one_family_name() -> None:
    assert same_surname("park", "pak")
    assert not same_surname("park", "kim")
