"""Every code that people meet has its words, in the one file that pages, paper and mail share."""

from __future__ import annotations

from enum import Enum

import pytest

from replacements.proposals.types import Action
from replacements.reading.cue_files import languages
from replacements.reading.language import language_of
from replacements.reading.types import Cause, Kind
from replacements.roll.types import Standing
from replacements.summary.history import CAUSES, KINDS
from replacements.words import with_capital, word, words


@pytest.mark.parametrize(
    ("codes", "group"),
    [(Kind, "kind"), (Cause, "cause"), (Action, "action"), (Action, "action_short"), (Standing, "standing")],
)
def test_every_code_of_the_trade_has_its_words(codes: type[Enum], group: str) -> None:
    assert {one.value for one in codes} - words(group).keys() == set()


def test_what_a_loaded_election_may_hold_has_words() -> None:
    assert set(KINDS) <= words("kind").keys()
    assert set(CAUSES) <= words("cause").keys()


@pytest.mark.parametrize(
    "text",
    [
        "Ο ψήφος μου καταστράφηκε και χρειάζομαι άλλον",
        "บัตรเลือกตั้งของฉันเสียหายและฉันต้องการใบใหม่",
        "ፈጽሞ አልደረሰኝም እባክዎን ሌላ ይላኩልኝ ድምፅ መስጫዬ ተበላሽቷል",
        "Мій бюлетень зіпсований, надішліть, будь ласка, інший, щоб я міг проголосувати",
        "میرا بیلٹ خراب ہو گیا ہے، براہ کرم مجھے دوسرا بیلٹ بھیج دیں",
        "La mia scheda si è rovinata con il caffè, per favore mandatemene una nuova per posta",
        "Bilten vòt mwen an gate, tanpri voye yon lòt ban mwen pa lapòs anvan eleksyon an",
    ],
)
def test_a_language_that_is_told_apart_is_called_by_its_name(text: str) -> None:
    code, _ = language_of(text)
    assert code in words("language")
    assert code != "en"


def test_the_languages_that_are_read_come_first() -> None:
    assert set(list(words("language"))[: len(languages())]) == set(languages())


def test_a_code_without_a_word_is_spaced_out() -> None:
    assert word("never_heard_of", "cause") == "never heard of"
    assert word(None, "cause") == ""
    with pytest.raises(KeyError):
        word("spoiled", "no such group")


def test_a_name_of_two_words_keeps_both_its_capitals() -> None:
    assert with_capital(word("ht", "language")) == "Haitian Creole"
    assert with_capital(word("und", "language")) == "Not recognised"
    assert with_capital("") == ""
