"""Words that stand where a name would, and are none; names written as their bearers type them."""

from __future__ import annotations

import pytest

from replacements.reading.types import Kind
from tests.reading.known_kinds import people


@pytest.mark.parametrize(
    ("text", "sender", "language", "name"),
    [
        ("it got soaked. wantin anotherone. po box 61 dell. tobin marsh", "tobin m", "en", "tobin marsh"),
        (
            "I tore my ballot, another one please.\n\nOla Brandt\nReceiving, Second Floor",
            "Ola Brandt",
            "en",
            "Ola Brandt",
        ),
        ("Señorita, se me rompió la boleta. Ramón Ibáñez, para servirle.", "Ramón Ibáñez", "es", "Ramón Ibáñez"),
        ("Olá! Meu nome é Inês Prado. Rasguei a minha cédula.", "Inês Prado", "pt", "Inês Prado"),
        ("toi la Vo Thi Sen 8 Elm St. toi lam rach phieu, xin la khac", "sen vo", "vi", "Vo Thi Sen"),
        ("Toi ten la Do Van Hung, sinh ngay 3/9/1971. Phieu cua toi bi uot.", "Hung Do", "vi", "Do Van Hung"),
        ("ten toi la Tran Quoc Khanh, o 8 Elm St. phieu bi rach", "", "vi", "Tran Quoc Khanh"),
    ],
)
def test_words_are_not_taken_for_names(text: str, sender: str, language: str, name: str) -> None:
    (person,) = people(text, sender, language=language)
    assert person.name == name


def test_vietnamese_without_marks_tells_a_birth_date_and_a_relative() -> None:
    (person,) = people(
        "Toi viet giup cho me toi la Bui Thi Nhan, sinh ngay 4 thang 2 nam 1940. "
        "Phieu cua me toi bi rach, xin gui lai cho me.",
        "Minh Bui",
        language="vi",
    )
    assert (person.name, person.relation, person.is_writer) == ("Bui Thi Nhan", "mother", False)
    assert person.birth_dates == ((1940, 2, 4),)


def test_a_pronoun_with_a_capital_is_nobody() -> None:
    (person,) = people(
        "Mi abuelo Anselmo Rojas no puede firmar. Él vive en 60 Elm St.\n\nSonia",
        "Sonia Rojas",
        language="es",
        kinds=(Kind.ASSISTANCE,),
        says=(("no puede firmar", Kind.ASSISTANCE),),
    )
    assert (person.name, person.relation) == ("Anselmo Rojas", "grandfather")
