"""The cue files: what voters say, TOML files by language, made into patterns that are compiled when first needed.

A cue is a plain phrase over folded text (see `folding`) with a few signs: `(a|b)` one of these, `x?` perhaps, `(x)*`
any number of times, `word*` any ending, `_` up to three words between, `__` up to seven words, `{name}` an entry of the
file's `[parts]`. An apostrophe may always be left out. Gaps never cross the end of a sentence and are bounded, so that
a long mail cannot make a cue slow.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

_NO_SPACES = frozenset({"ko", "zh", "ja"})  # written with few or no spaces between what a cue puts together
_START = 3  # letters
_PART = re.compile(r"\{(\w+)\}")


class CueFileError(ValueError):
    """A cue file says something that cannot be understood; the text names the file, the concept and the cue."""


@dataclass(slots=True)
class Cue:
    """One phrase of one concept. `needs`: wherever the phrase can match, the text holds at least one of these; and of
    each of `besides`, too."""

    concept: str
    source: str
    needs: tuple[str, ...]
    besides: tuple[tuple[str, ...], ...]
    pattern: str
    _compiled: re.Pattern[str] | None = field(default=None)

    def spans(self, text: str, within: list[tuple[int, int]] | None = None) -> Iterator[tuple[int, int]]:
        """Where the phrase stands in a folded text, or in the lines of it that are given. No phrase goes on over the
        end of a line."""
        if self._compiled is None:
            self._compiled = re.compile(self.pattern)
        for begin, end in [(0, len(text))] if within is None else within:
            for match in self._compiled.finditer(text, begin, end):
                yield match.span()


@dataclass(frozen=True, slots=True)
class CueFile:
    """The cues of one language. `words`: small words that only this language uses so often. `needs`: those of all cues,
    so that each is looked for once."""

    language: str
    cues: tuple[Cue, ...]
    words: frozenset[str]
    needs: dict[str, tuple[str, ...]]  # by their first letters, three or, where they have no more, two
    needing: dict[str, list[int]]  # the numbers of the cues that need a word; under "" those that need none
    besides: tuple[tuple[int, ...], ...]  # of each cue: the numbers of the `alternatives` that it needs one each of
    alternatives: tuple[tuple[str, ...], ...]

    def spans(self, text: str) -> Iterator[tuple[str, tuple[int, int]]]:
        """Where the phrases of every concept stand in a folded text."""
        lines: dict[int, set[tuple[int, int]] | None] = dict.fromkeys(self.needing.get("", ()))  # by the cue's number
        begun = self.needs.keys() & {text[at : at + size] for size in (2, _START) for at in range(len(text))}
        for need in (need for start in sorted(begun) for need in self.needs[start]):
            if need in text:
                here = _lines(text, need)
                for number in self.needing[need]:
                    lines[number] = (lines.get(number) or set()).union(here)
        held: dict[int, bool] = {}  # whether the text holds one of these words, looked for once
        for number in sorted(lines):
            for these in self.besides[number]:
                if these not in held:
                    held[these] = any(word in text for word in self.alternatives[these])
                if not held[these]:
                    break
            else:
                within = lines[number]
                for span in self.cues[number].spans(text, None if within is None else sorted(within)):
                    yield self.cues[number].concept, span


def _lines(text: str, need: str) -> list[tuple[int, int]]:
    """The lines of a text that hold a word: most lines hold none of those that a cue needs."""
    found = []
    at = text.find(need)
    while at >= 0:
        end = text.find("\n", at)
        end = len(text) if end < 0 else end
        found.append((text.rfind("\n", 0, at) + 1, end))
        at = text.find(need, end)
    return found


@cache
def cue_file(language: str) -> CueFile:
    """The cues of a language, read once. Raises `CueFileError`; a language without a file has no cues."""
    data: dict[str, dict[str, list[str]]] = {"language": {}, "parts": {}, "concepts": {}}
    for source in _sources(language):
        for section, entries in tomllib.loads(source.read_text(encoding="utf-8")).items():
            data[section].update(entries)
    parts: dict[str, str] = {}
    for name, phrases in data["parts"].items():
        parts[name] = "(" + "|".join(_fill(p, parts, f"{language}, part {name}") for p in phrases) + ")"
    cues = []
    for concept, phrases in data["concepts"].items():
        where = f"{language}, {concept}"
        for phrase in phrases:
            plain = _fill(phrase, parts, where)
            pattern = _pattern(plain, spaced=language not in _NO_SPACES)
            needs, *besides = _needed(plain) or [()]
            cues.append(Cue(concept, phrase, needs, tuple(besides), pattern))
    needing: dict[str, list[int]] = {}
    for number, cue in enumerate(cues):
        for need in cue.needs or ("",):
            needing.setdefault(need, []).append(number)
    alternatives = {these: number for number, these in enumerate(dict.fromkeys(t for c in cues for t in c.besides))}
    return CueFile(
        language,
        tuple(cues),
        frozenset(data["language"].get("words", ())),
        _by_start(needing),
        needing,
        tuple(tuple(alternatives[these] for these in cue.besides) for cue in cues),
        tuple(alternatives),
    )


def _by_start(needing: dict[str, list[int]]) -> dict[str, tuple[str, ...]]:
    """The needed words by their first letters: of more than a thousand, a letter holds the beginnings of few."""
    found: dict[str, tuple[str, ...]] = {}
    for need in needing:
        if need:
            found[need[:_START]] = (*found.get(need[:_START], ()), need)
    return found


def languages() -> tuple[str, ...]:
    """The languages that have a cue file, by code."""
    folder = files("replacements.reading") / "cues"
    names = {f.name.removesuffix(".toml").split("_")[0] for f in folder.iterdir() if f.name.endswith(".toml")}
    return tuple(sorted(names))


def _sources(language: str) -> list[Traversable]:
    """The files of a language: `en.toml`, which holds the parts, and those that continue it, `en_topics.toml`."""
    folder = files("replacements.reading") / "cues"
    mine = [f for f in folder.iterdir() if f.name == f"{language}.toml" or f.name.startswith(f"{language}_")]
    return sorted(mine, key=lambda f: f.name)


def compile_all() -> None:
    """Compile every cue of every language. Raises `CueFileError` naming the first that cannot be."""
    for language in languages():
        for cue in cue_file(language).cues:
            try:
                list(cue.spans("".join(cue.needs[:1]) or "x"))
            except re.error as error:
                raise CueFileError(f"{language}, {cue.concept}: {cue.source!r}: {error}") from error


def _fill(phrase: str, parts: dict[str, str], where: str) -> str:
    def part(match: re.Match[str]) -> str:
        if match.group(1) not in parts:
            raise CueFileError(f"{where}: there is no part {match.group(1)!r}")
        return parts[match.group(1)]

    return _PART.sub(part, phrase)


def _pattern(plain: str, *, spaced: bool) -> str:
    between = r"[ \"*-]+" if spaced else r"[ \"*-]*"
    word = r"[^\s.!?]+"
    wide = {"__": 7, "_": 3} if spaced else {"__": 22, "_": 8}
    out: list[str] = []
    for piece in re.split(
        r"(\[[^\]]*\]| __ | _ |__|_| \?| |(?<!\))\*|')", plain.replace("(", "(?:").replace("(?:?", "(?")
    ):
        sign = piece.strip()
        if sign in wide and piece:
            # Atomic: a row of dashes could be cut up into "between" and "word" in countless ways, all of them tried.
            gap = f"(?>{between}{word}){{0,{wide[sign]}}}?{between}" if spaced else f"[^.!?\\n]{{0,{wide[sign]}}}?"
            out.append(gap)
        elif piece == " ":
            out.append(between)
        elif piece == " ?":
            out.append(f"(?:{between})?")
        elif piece == "*":
            out.append(r"\w*")
        elif piece == "'":
            out.append("'?")
        else:
            out.append(piece)
    # An optional word takes its space along: "(the )?wrong" is written with the space inside the bracket.
    body = "".join(out)
    return rf"(?<!\w)(?:{body})(?!\w)" if spaced else f"(?:{body})"


def _needed(plain: str) -> list[tuple[str, ...]]:
    """Stretches of letters: every match holds at least one of each of these. The most telling come first; a first look
    at a text by them is much cheaper than the phrase itself."""
    alternatives = _split(plain)
    if len(alternatives) == 1:
        return _in_sequence(plain)
    found: list[str] = []
    for alternative in alternatives:
        needed = _in_sequence(alternative)
        if not needed:
            return []
        found.extend(needed[0])
    return [tuple(dict.fromkeys(found))]


def _in_sequence(sequence: str) -> list[tuple[str, ...]]:
    """The same of a phrase without alternatives at its top."""
    options: list[tuple[str, ...]] = []
    literal: list[str] = []
    at = 0
    while at <= len(sequence):
        char = sequence[at] if at < len(sequence) else " "
        optional = sequence[at + 1 : at + 2] in ("?", "*") and char.isalnum() and sequence[at + 1] == "?"
        if char.isalnum() and not optional:
            literal.append(char)
            at += 1
            continue
        if literal:
            options.append(("".join(literal),))
            literal = []
        if char == "(":
            depth, end = 1, at + 1
            while end < len(sequence) and depth:
                depth += {"(": 1, ")": -1}.get(sequence[end], 0)
                end += 1
            inner = sequence[at + 1 : end - 1]
            if sequence[end : end + 1] not in ("?", "*", "{") and not inner.startswith("?"):
                options.extend(_needed(inner))
            at = end
        elif char in "[{":
            at = sequence.index("]" if char == "[" else "}", at) + 1
        elif char == "\\":
            at += 2
        else:
            at += 2 if optional else 1
    options = [o for o in options if min(len(word) for word in o) >= 2]
    return sorted(dict.fromkeys(options), key=lambda o: (-min(map(len, o)), len(o)))


def _split(plain: str) -> list[str]:
    parts, depth, start = [], 0, 0
    for at, char in enumerate(plain):
        if char == "(":
            depth += 1
        elif char == ")":
            depth -= 1
        elif char == "|" and depth == 0:
            parts.append(plain[start:at])
            start = at + 1
    return [*parts, plain[start:]]
