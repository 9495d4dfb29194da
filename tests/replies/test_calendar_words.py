"""Days and hours as people of each language write them."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from replacements.replies.calendar_words import full_day, hour, opening, short_day

DAY = date(2026, 10, 15)


@pytest.mark.parametrize(
    ("language", "full", "short"),
    [
        ("en", "Thursday, October 15, 2026", "October 15"),
        ("es", "jueves 15 de octubre de 2026", "15 de octubre"),
        ("vi", "thứ Năm, ngày 15 tháng 10 năm 2026", "ngày 15 tháng 10"),
        ("ko", "2026년 10월 15일 목요일", "10월 15일"),
    ],
)
def test_a_day_is_written_in_the_reply_s_language(language: str, full: str, short: str) -> None:
    assert full_day(DAY, language) == full
    assert short_day(DAY, language) == short


@pytest.mark.parametrize(
    ("language", "five", "half_past", "noon"),
    [
        ("en", "5 pm", "9:30 am", "noon"),
        ("es", "las 5:00 p. m.", "las 9:30 a. m.", "las 12:00 del mediodía"),
        ("vi", "17 giờ", "9 giờ 30 phút", "12 giờ trưa"),
        ("ko", "오후 5시", "오전 9시 30분", "낮 12시"),
    ],
)
def test_an_hour_is_written_in_the_reply_s_language(language: str, five: str, half_past: str, noon: str) -> None:
    assert hour(datetime(2026, 10, 15, 17), language) == five  # noqa: DTZ001
    assert hour(datetime(2026, 10, 15, 9, 30), language) == half_past  # noqa: DTZ001
    assert hour(datetime(2026, 10, 15, 12), language) == noon  # noqa: DTZ001


def test_one_o_clock_and_midnight_have_their_own_words() -> None:
    assert hour(datetime(2026, 10, 15, 13), "es") == "la 1:00 p. m."  # noqa: DTZ001
    assert hour(datetime(2026, 10, 15, 0), "es") == "la medianoche"  # noqa: DTZ001
    assert hour(datetime(2026, 10, 15, 0), "en") == "midnight"  # noqa: DTZ001


@pytest.mark.parametrize(
    ("language", "written"),
    [
        ("en", "Monday to Friday, 8 am to 4:30 pm"),
        ("es", "de lunes a viernes, de las 8:00 a. m. a las 4:30 p. m."),
        ("vi", "từ thứ Hai đến thứ Sáu, từ 8 giờ đến 16 giờ 30 phút"),
        ("ko", "월요일부터 금요일까지, 오전 8시부터 오후 4시 30분까지"),
    ],
)
def test_an_office_s_hours_are_said_in_the_reply_s_language(language: str, written: str) -> None:
    assert opening("Monday to Friday, 8 am to 4:30 pm", language) == written
    assert opening("At all hours", "es") == "a toda hora"
    assert opening("Sunday, 12 pm to 5 pm", "ko") == "일요일, 낮 12시부터 오후 5시까지"


@pytest.mark.parametrize("hours", ["", "by appointment", "Monday to Friday, 8-5, closed Wed at noon"])
def test_hours_of_another_form_stay_as_the_office_wrote_them(hours: str) -> None:
    assert opening(hours, "es") == hours
