"""Birth dates in every form that voters write, and dates that are none."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replacements.reading.facts.dates import find_ages, find_dates, full_year
from replacements.reading.types import PartialDate

ARRIVED = date(2026, 10, 20)
MONTHS = """January February March April May June July August September October November December
enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre"""
ENGLISH, SPANISH = (line.split() for line in MONTHS.splitlines())


def births(text: str, language: str = "en") -> list[PartialDate]:
    return [r for d in find_dates(text, language, ARRIVED) if d.is_birth for r in d.readings]


@pytest.mark.parametrize(
    ("text", "language", "expected"),
    [
        ("Ida Moss, DOB 4/7/59", "en", [(1959, 4, 7), (1959, 7, 4)]),
        ("born May 2 1937", "en", [(1937, 5, 2)]),
        ("I was born March 5th '61.", "en", [(1961, 3, 5)]),
        ("dob: 05031961", "en", [(1961, 5, 3), (1961, 3, 5)]),
        ("DOB 050361", "en", [(1961, 5, 3), (1961, 3, 5)]),
        ("b. 8-19-53", "en", [(1953, 8, 19)]),
        ("my birthday is 16 May 1962", "en", [(1962, 5, 16)]),
        ("Ida Moss\n12 Elm St\n1962-07-19", "en", [(1962, 7, 19)]),
        ("born Groundhog Day 1956", "en", [(1956, 2, 2)]),
        ("Juneteenth baby, 1972", "en", [(1972, 6, 19)]),
        ("born on Christmas day in 1948", "en", [(1948, 12, 25)]),
        ("I was born in 1950", "en", [(1950, None, None)]),
        ("born the fifth of March, nineteen sixty-one", "en", [(1961, 3, 5)]),
        ("bday 10/27/87", "en", [(1987, 10, 27)]),
        ("9/28/03 is my birthdate", "en", [(2003, 9, 28)]),
        ("my birthday is March 9", "en", [(None, 3, 9)]),
        ("D.O.B. 10.30.1936", "en", [(1936, 10, 30)]),
        ("Date of birth: Feb. 6, 2004", "en", [(2004, 2, 6)]),
        ("nacido el 17 de agosto de 1958", "es", [(1958, 8, 17)]),
        ("nací el 1ro de mayo del 66", "es", [(1966, 5, 1)]),
        ("fecha de nacimiento 4/3/1970", "es", [(1970, 3, 4), (1970, 4, 3)]),
        ("nací el cinco de marzo de mil novecientos sesenta y uno", "es", [(1961, 3, 5)]),
        ("nacida en Navidad de 1948", "es", [(1948, 12, 25)]),
        ("sinh ngày 7 tháng 6 năm 1989", "vi", [(1989, 6, 7)]),
        ("Tôi sinh năm 1950", "vi", [(1950, None, None)]),
        ("sinh 11/5/1977", "vi", [(1977, 5, 11), (1977, 11, 5)]),
        ("sinh ngày 2 tháng giêng năm 1971", "vi", [(1971, 1, 2)]),
        ("생년월일은 1981년 4월 6일입니다", "ko", [(1981, 4, 6)]),
        ("1950. 3. 9. 생입니다", "ko", [(1950, 3, 9)]),
        ("56년생", "ko", [(1956, None, None)]),
        ("出生日期 1968年6月27日", "zh", [(1968, 6, 27)]),
        ("née le 3 août 1959", "fr", [(1959, 8, 3)]),
    ],
)
def test_a_birth_date_is_read_in_the_form_it_was_written(text: str, language: str, expected: list[PartialDate]) -> None:
    assert births(text, language) == expected


@pytest.mark.parametrize(
    ("text", "language"),
    [
        ("we were married on 6/12/1985", "en"),
        ("you mailed it 10/02/2026", "en"),
        ("we have voted together since 1972", "en"),
        ("my mother passed away on May 3, 1999", "en"),
        ("I moved here 3/4/1999", "en"),
        ("a citizen since July 4, 1988", "en"),
        ("the election is November 3, 2026", "en"),
        ("I was in the hospital on 9/9/2008", "en"),
        ("filled out 2/3 of it", "en"),
        ("ballot 1/2 of 2 pages", "en"),
        ("me casé el 6 de junio de 1985", "es"),
        ("vivo aquí desde 1990", "es"),
        ("tôi dọn nhà ngày 3 tháng 4 năm 1999", "vi"),
        ("결혼한 날은 1985년 6월 12일입니다", "ko"),
        ("I may 5 times have tried", "en"),
    ],
)
def test_a_date_of_something_else_is_no_birth_date(text: str, language: str) -> None:
    assert births(text, language) == []


@pytest.mark.parametrize(
    ("text", "language", "age"),
    [
        ("I'm the 24 year old one", "en", 24),
        ("I am 84 and my eyes are poor", "en", 84),
        ("age: 67", "en", 67),
        ("tengo 76 años", "es", 76),
        ("Tengo setenta y dos años", "es", 72),
        ("Tôi 78 tuổi", "vi", 78),
        ("저는 72세입니다", "ko", 72),
    ],
)
def test_an_age_is_read(text: str, language: str, age: int) -> None:
    assert [a.age for a in find_ages(text, language)] == [age]


@pytest.mark.parametrize(
    "text", ["my 2 year old drew on it", "I am 12 Elm St", "I'm 30 minutes away", "I am 45 miles out"]
)
def test_a_number_that_is_no_voters_age_is_left_alone(text: str) -> None:
    assert find_ages(text, "en") == ()


@pytest.mark.parametrize(("written", "year"), [("61", 1961), ("'05", 2005), ("09", 2009), ("10", 1910), ("1962", 1962)])
def test_two_digits_mean_the_year_that_makes_an_adult(written: str, year: int) -> None:
    assert full_year(written, 2026) == year


birth_days = st.dates(date(1925, 1, 1), date(2008, 12, 31))


@settings(max_examples=120, deadline=None)
@given(birth_days, st.integers(0, 19))
def test_every_written_form_of_a_date_has_a_reading_equal_to_it(day: date, form: int) -> None:
    y, m, d = day.year, day.month, day.day
    forms = [
        (f"DOB {m}/{d}/{y}", "en"),
        (f"born {m:02}-{d:02}-{y}", "en"),
        (f"dob {m}.{d}.{y % 100:02}", "en"),
        (f"born {ENGLISH[m - 1]} {d}, {y}", "en"),
        (f"born {ENGLISH[m - 1][:3]}. {d} {y}", "en"),
        (f"born {d} {ENGLISH[m - 1]} {y}", "en"),
        (f"birthday {d}-{ENGLISH[m - 1][:3]}-{y}", "en"),
        (f"DOB {m:02}{d:02}{y}", "en"),
        (f"DOB {y}-{m:02}-{d:02}", "en"),
        (f"Ana Poe, {m}/{d}/{y}, 12 Elm St", "en"),
        (f"nací el {d} de {SPANISH[m - 1]} de {y}", "es"),
        (f"nacida el {SPANISH[m - 1]} {d}, {y}", "es"),
        (f"nací el {d}/{m}/{y}", "es"),
        (f"sinh ngày {d} tháng {m} năm {y}", "vi"),
        (f"sinh {d}/{m}/{y}", "vi"),
        (f"sinh ngày {d}-{m}-{y}", "vi"),
        (f"생년월일 {y}년 {m}월 {d}일", "ko"),
        (f"생년월일: {y}.{m}.{d}", "ko"),
        (f"{y}년{m}월{d}일생", "ko"),
        (f"生日 {y}年{m}月{d}日", "zh"),
    ]
    text, language = forms[form]
    assert (y, m, d) in births(text, language), text


@settings(max_examples=150, deadline=None)
@given(
    st.text(alphabet="0123456789/-. ,'abdhmnorty년월일năm", max_size=60),
    st.sampled_from(["en", "es", "vi", "ko", "und"]),
)
def test_no_text_breaks_the_reading_of_dates(text: str, language: str) -> None:
    for found in find_dates(text, language, ARRIVED):
        assert text[found.start : found.end] == found.text
        for _year, month, day in found.readings:
            assert month is None or 1 <= month <= 12
            assert day is None or 1 <= day <= 31
