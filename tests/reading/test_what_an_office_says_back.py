"""In a quotation: what the office repeats of what a voter told it, turned back into the voter's own words."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from replacements.mail.letter import Letter, PartLabel, Sender, TextPart
from replacements.reading.earlier import earlier


def told(quoted: str) -> tuple[str, ...]:
    parts = (TextPart(PartLabel.NEW, "Born 3/7/1958."), TextPart(PartLabel.QUOTED, quoted))
    return earlier(
        Letter("<1@post.example>", Sender("ada@post.example", "Ada"), "Re:", datetime(2026, 10, 5, tzinfo=UTC), parts)
    ).told


@pytest.mark.parametrize(
    ("quoted", "words"),
    [
        ("> Thank you. You told us that your ballot\n> never arrived. Please send your name.", "your ballot"),
        ("> Usted nos dijo que se le mojó su boleta.\n> Díganos su nombre.", "se le mojó mi boleta."),
        ("> Quý vị cho biết lá phiếu bị rách.\n> Xin gửi họ tên.", "lá phiếu bị rách."),
        ("> 투표용지를 받지 못하셨다고 하셨습니다.\n> 성명을 알려 주십시오.", "투표용지를 받지 못하셨다고 하셨습니다."),
        ("> You asked for another ballot because it tore.", "I need another ballot because it tore."),
    ],
)
def test_only_the_sentence_that_repeats_the_voter_is_found(quoted: str, words: str) -> None:
    (only,) = told(quoted)
    assert only == words.replace("your ballot", "my ballot never arrived.")


def test_what_the_office_asks_and_the_heads_of_a_quoted_letter_are_not_the_voters() -> None:
    assert told("From: Elections\nSubject: what you wrote\n\nPlease tell us your name. We can help with that.") == ()
