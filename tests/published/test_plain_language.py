"""Replies are plain: Flesch–Kincaid grade of the English texts.

Source: J. P. Kincaid and others, Derivation of New Readability Formulas for Navy Enlisted Personnel, 1975: the grade is
0.39 × words a sentence + 11.8 × syllables a word − 15.59. The formula and its numbers are from memory; the values of
the first test are worked from it by hand.
"""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from replacements.replies.texts import PROPOSALS, TOPICS, ReplyFacts, render
from replacements.rules.office import load_rules

OFFICE = Path(__file__).parents[1] / "replies" / "quillhaven.toml"


def grade(words: int, sentences: int, syllables: int) -> float:
    return 0.39 * words / sentences + 11.8 * syllables / words - 15.59


def syllables(word: str) -> int:
    """Groups of vowels, without a silent e; at least one."""
    word = word.lower()
    groups = len(re.findall(r"[aeiouy]+", word))
    silent = (word.endswith("e") and not word.endswith(("le", "ee"))) or re.search(r"[^td]ed$", word) is not None
    return max(1, groups - int(silent))


def grade_of(text: str) -> float:
    text = re.sub(r"\S+@\S+|https?://\S+|\(\d{3}\) [\d-]+", "x", text)
    sentences = [s for s in re.split(r"[.!?:]+(?:\s|$)|\n", text) if re.search(r"[A-Za-z]", s)]
    words = [word for sentence in sentences for word in re.findall(r"[A-Za-z']+|\d[\d,.:]*", sentence)]
    return grade(len(words), len(sentences), sum(syllables(word) for word in words))


@pytest.mark.parametrize(("words", "sentences", "count", "expected"), [(30, 4, 36, 1.495), (6, 1, 6, -1.45)])
def test_the_formula_gives_the_published_grades(words: int, sentences: int, count: int, expected: float) -> None:
    assert grade(words, sentences, count) == pytest.approx(expected, abs=0.005)


def test_a_plain_paragraph_is_graded_as_by_hand() -> None:
    text = (
        "Your old ballot is void. We will mail you a new ballot on Friday. Please use only the new ballot. "
        "Call us if it does not come in seven days."
    )
    assert grade_of(text) == pytest.approx(1.5, abs=0.4)


@pytest.mark.parametrize("name", [*PROPOSALS, *(f"answer/{topic}" for topic in TOPICS)])
def test_every_english_reply_reads_at_eighth_grade_or_easier(name: str) -> None:
    for on_file in (True, False):
        for stopped in (True, False, None):
            facts = ReplyFacts(
                rules=load_rules(OFFICE),
                adopted=False,
                on_file=on_file,
                mailing_day=date(2026, 10, 15),
                chance=0.5 if stopped else 0.95,
                last_good_day=date(2026, 10, 20),
                missing=("name", "birth_date", "address", "voter_id"),
                stopped=stopped,
            )
            assert grade_of(render(name, "en", facts).text) <= 8.0
