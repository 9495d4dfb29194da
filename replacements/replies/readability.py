"""How plain a text is, by published formulas: English by school grade, Spanish by a scale of ease, others by sentences.

English: Flesch–Kincaid grade (Kincaid and others, 1975). Spanish: the perspicuity of Szigriszt Pazos (1993) on the
scale INFLESZ (Barrio Cantalejo and others, An. Sist. Sanit. Navar. 31, 2008), and the ease of Fernández Huerta (1959),
whose 60 to 70 stands for grades seven and eight. For Vietnamese and Korean no formula is in common use.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

MOST_GRADE = 8.0
LEAST_EASE = 55.0  # INFLESZ: from 55 "normal", from 65 "quite easy"
# Words of a sentence that still reads easily (common practice; what is one word elsewhere is often two in Vietnamese).
LONG_SENTENCE = {"en": 30, "es": 35, "vi": 50, "ko": 25}
_ADDRESSES = re.compile(r"\S+@\S+|https?://\S+|\(\d{3}\) [\d-]+")
_WORD = re.compile(r"[^\W\d_][^\W\d_'’]*|\d[\d,.:]*")


@dataclass(frozen=True, slots=True)
class Counts:
    """What the formulas are made of."""

    words: int
    sentences: int
    syllables: int


def sentences(text: str) -> list[str]:
    """The text's sentences; a line of a list is one. Addresses and phone numbers count as a word each."""
    text = _ADDRESSES.sub("x", text)
    text = re.sub(r"(?m)^(?:- |\d+\. )", "", text)
    text = re.sub(r"\b([ap])\. m\.", r"\1m", text)  # Spanish hours
    return [s.strip() for s in re.split(r"[.!?:]+(?:\s|$)|\n", text) if re.search(r"[^\W\d_]", s)]


def _counts(text: str, language: str) -> Counts:
    found = sentences(text)
    words = [word for sentence in found for word in _WORD.findall(sentence)]
    count = spanish_syllables if language == "es" else english_syllables
    return Counts(max(len(words), 1), max(len(found), 1), sum(count(word) for word in words))


def english_syllables(word: str) -> int:
    """Groups of vowels, without a silent e; at least one."""
    word = word.lower()
    groups = len(re.findall(r"[aeiouy]+", word))
    silent = (word.endswith("e") and not word.endswith(("le", "ee"))) or re.search(r"[^td]ed$", word) is not None
    return max(1, groups - int(silent))


def spanish_syllables(word: str) -> int:
    """Each strong vowel (a, e, o, or one with an accent) is a syllable; weak ones beside it belong to it."""
    word = re.sub(r"q[u]|g[u](?=[eiéí])", "q", word.lower())
    word = re.sub(r"y(?![aeiouáéíóú])", "i", word)
    groups = re.findall(r"[aeiouáéíóúü]+", word)
    return max(1, sum(max(1, len(re.findall(r"[aeoáéíóú]", group))) for group in groups))


def grade(counts: Counts) -> float:
    """Flesch–Kincaid: the school grade that reads this with ease."""
    return 0.39 * counts.words / counts.sentences + 11.8 * counts.syllables / counts.words - 15.59


def perspicuity(counts: Counts) -> float:
    """Szigriszt Pazos: from 0, very hard, to 100, very easy."""
    return 206.835 - 62.3 * counts.syllables / counts.words - counts.words / counts.sentences


def huerta(counts: Counts) -> float:
    """Fernández Huerta: from 0, very hard, to 100, very easy."""
    return 206.84 - 60 * counts.syllables / counts.words - 1.02 * counts.words / counts.sentences


def english_grade(text: str) -> float:
    return grade(_counts(text, "en"))


def spanish_ease(text: str) -> float:
    return perspicuity(_counts(text, "es"))


def spanish_huerta(text: str) -> float:
    return huerta(_counts(text, "es"))


def longest_sentence(text: str) -> str:
    """The sentence with the most words."""
    return max(sentences(text), key=lambda sentence: len(sentence.split()), default="")
