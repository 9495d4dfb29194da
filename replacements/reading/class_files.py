"""Classes of words, TOML files by language: what one writer calls coffee another calls tea.

The learned weights are over these classes too, so that a word which no message taught still says what its class says,
and what one language taught holds in the others. The classes have the same names in every file. An entry is a word in
its plain form (see `folding`); `tear*` is a beginning of words, `a_b` words that follow each other. In a language that
joins its words up (Korean) every entry is a beginning, and those of two syllables and more may stand within a word.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.resources import files

from replacements.reading.folding import Folded
from replacements.reading.ngrams import Place

_JOINED = frozenset({"ko"})
_LONGEST_WITHIN = 6  # syllables
_TOKEN = re.compile(r"[^\W\d_]+(?:['-][^\W\d_]+)*|\d+|[.!?\n]+")
_LONGEST = 6_000  # characters that are looked at, as for words
_MOST_KNOWN = 2_000  # words whose classes are kept at hand; names and numbers come without end
_REACH = 4  # words between two classes that are taken together


class Classes:
    """The classes of one language. Raises KeyError where there is no file of that language."""

    def __init__(self, language: str) -> None:
        source = files("replacements.reading") / "classes" / f"{language}.toml"
        if not source.is_file():
            raise KeyError(language)
        self.joined = language in _JOINED
        self.names: list[str] = []
        self._entries: dict[str, int] = {}
        self._whole: dict[str, list[str]] = {}
        self._begin: dict[str, list[str]] = {}
        self._follow: dict[str, _Following] = {}
        self._known: dict[str, frozenset[str]] = {}
        for name, entries in tomllib.loads(source.read_text(encoding="utf-8")).items():
            self.names.append(name)
            self._entries[name] = len(entries.split())
            for entry in entries.split():
                self._enter(entry.lower(), name)

    def _enter(self, entry: str, name: str) -> None:
        words = [w for w in entry.split("_") if w]
        if len(words) > 1:
            self._follow.setdefault(words[0], _Following()).enter(words[1:], name, open_end=self.joined)
        elif entry.endswith("*") or self.joined:
            self._begin.setdefault(words[0].removesuffix("*"), []).append(name)
        elif words:
            self._whole.setdefault(words[0], []).append(name)

    def entries(self, name: str) -> int:
        """How many words and phrases a class holds."""
        return self._entries[name]

    def of_word(self, word: str) -> frozenset[str]:
        """The classes that a single word belongs to."""
        known = self._known.get(word)
        if known is None:
            if len(self._known) >= _MOST_KNOWN:
                self._known.clear()
            known = self._known[word] = frozenset(self._classes(word))
        return known

    def _classes(self, word: str) -> list[str]:
        found = list(self._whole.get(word, ()))
        starts = range(len(word) if self.joined else 1)
        for start in starts:
            longest = min(len(word), start + _LONGEST_WITHIN) if self.joined else len(word)
            for end in range(start + (1 if start == 0 else 2), longest + 1):
                found.extend(self._begin.get(word[start:end], ()))
        return found

    def at(self, words: list[str], number: int) -> set[str]:
        """The classes of a word, and of the words together that begin with it."""
        found = set(self.of_word(words[number]))
        following = self._follow.get(words[number])
        if following is not None:
            found.update(following.classes(words, number + 1))
        return found


class _Following:
    """The entries of several words that begin with one word, by the word after it: "the" begins many, few go on."""

    def __init__(self) -> None:
        self._by_next: dict[str, list[tuple[list[str], str]]] = {}
        self._by_start: list[tuple[str, str]] = []  # beginnings of a second and last word

    def enter(self, rest: list[str], name: str, *, open_end: bool) -> None:
        *middle, last = rest
        last = f"{last.removesuffix('*')}*" if open_end or last.endswith("*") else last
        if middle:
            self._by_next.setdefault(middle[0], []).append(([*middle[1:], last], name))
        elif last.endswith("*"):
            self._by_start.append((last[:-1], name))
        else:
            self._by_next.setdefault(last, []).append(([], name))

    def classes(self, words: list[str], at: int) -> Iterator[str]:
        """The classes of the entries that go on with the words from this one on."""
        if at >= len(words):
            return
        for start, name in self._by_start:
            if words[at].startswith(start):
                yield name
        for rest, name in self._by_next.get(words[at], ()):
            here = words[at + 1 : at + 1 + len(rest)]
            if here == rest or (len(here) == len(rest) and here[:-1] == rest[:-1] and _ends(here[-1], rest[-1])):
                yield name


def _ends(word: str, entry: str) -> bool:
    return word.startswith(entry[:-1]) if entry.endswith("*") else word == entry


@cache
def classes(language: str) -> Classes:
    """The classes of a language, read once; those of English where it has none."""
    try:
        return Classes(language)
    except KeyError:  # the same for each of a hundred languages
        return classes("en")


def class_signs(folded: Folded, language: str) -> dict[str, Place]:
    """The classes that a text holds, and pairs of classes that stand near each other in one sentence, each with the
    place where it first stands. `k:liquid`; `k:liquid>ballot` for a liquid followed by a ballot."""
    matches = list(_TOKEN.finditer(folded.text[:_LONGEST]))
    words = [m[0] for m in matches]
    own, english = classes(language), classes("en")
    found: dict[str, Place] = {}
    before: list[tuple[int, int, set[str]]] = []  # number of the word, where it begins, its classes
    for number, match in enumerate(matches):
        word = words[number]
        if word[0] in ".!?\n":
            before = []
            continue
        here = (english if own.joined and word.isascii() else own).at(words, number)
        if not here:
            continue
        before = [b for b in before if number - b[0] <= _REACH]
        for name in sorted(here):
            found.setdefault(f"k:{name}", match.span())
            for _, start, earlier in before:
                for other in sorted(earlier):
                    if other != name:
                        found.setdefault(f"k:{other}>{name}", (start, match.end()))
        before.append((number, match.start(), here))
    return found
