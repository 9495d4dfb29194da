"""Where the cues of a language stand in a text, and in which mood: denied, supposed, asked.

"I did not spoil it", "what if I spoil it" and "did I spoil it?" hold the same words as a request and are none.
"""

from __future__ import annotations

import bisect
from dataclasses import dataclass

from replacements.reading.cue_files import cue_file
from replacements.reading.folding import Folded, fold
from replacements.reading.sentences import Sentence, sentences

# Cues that hold their own denial ("never came"), or that are about mood or manner itself.
_OWN_MOOD = frozenset(
    [
        "never",
        "own",
        "thing",
        "lacking",
        "neg",
        "clause",
        "hypo",
        "hypo_if",
        "ask",
        "context",
        "ballot",
        "envelope",
        "form",
        "page",
        "packet",
        "opening",
        "other_person",
        "fine",
        "no_need",
        "unworried",
        "undeliverable",
        "unsure",
        "answer",
        "press",
        "junk",
        "job",
        "threat",
        "commands",
        "bulk",
        "never_mind",
        "asks_details",
        "thanks",
        "assist",
        "assist_weak",
    ]
)
_OBJECTS = ("opening", "envelope", "ballot", "form", "page")
_DENIED_AFTER = ("지 않", "지는 않", "지도 않", "지 마", "진 않", "것은 아니", "건 아니", "게 아니", "지 못했지만")
_NO_SPACES = frozenset({"ko", "zh", "ja"})
_REACH = {"ko": 4, "zh": 8, "ja": 10}  # how many characters before a cue its denial may stand
_WORDS_BACK = 5
_TURNS = (" but ", " pero ", " nhung ", " mais ")


@dataclass(frozen=True, slots=True)
class Hit:
    """A cue found: its concept, its place in the plain text, the sentence that it stands in, and its mood."""

    concept: str
    start: int
    end: int
    sentence: int
    denied: bool = False
    supposed: bool = False


@dataclass(frozen=True, slots=True)
class Scan:
    """All cues of one text. `asked[i]`: sentence i asks something."""

    text: str
    folded: Folded
    sentences: tuple[Sentence, ...]
    hits: dict[str, list[Hit]]
    asked: tuple[bool, ...]

    def real(self, *concepts: str) -> list[Hit]:
        """Hits that are neither denied nor supposed, in the order of the text."""
        return [h for h in self.all(*concepts) if not h.denied and not h.supposed]

    def denied(self, *concepts: str) -> list[Hit]:
        """Hits that the writer denies."""
        return [h for h in self.all(*concepts) if h.denied]

    def supposed(self, *concepts: str) -> list[Hit]:
        """Hits that the writer only supposes."""
        return [h for h in self.all(*concepts) if h.supposed and not h.denied]

    def all(self, *concepts: str) -> list[Hit]:
        """Hits in any mood, in the order of the text."""
        found = [h for c in concepts for h in self.hits.get(c, ())]
        return sorted(found, key=lambda h: (h.start, -h.end))

    def has(self, *concepts: str) -> bool:
        """Whether any of these cues stands anywhere."""
        return any(self.hits.get(c) for c in concepts)

    def words(self, hit: Hit) -> str:
        """The writer's own words for a hit."""
        start, end = self.folded.span(hit.start, hit.end)
        return " ".join(self.text[start:end].split())

    def span(self, hit: Hit) -> tuple[int, int]:
        """Where the writer's own words for a hit stand in the text as written."""
        return self.folded.span(hit.start, hit.end)


def scan(text: str, language: str) -> Scan:
    """Find every cue of a language in a text."""
    folded = fold(text)
    parts = sentences(text)
    plain, starts = _joined(folded, parts)
    raw: dict[str, list[tuple[int, int]]] = {}
    for concept, span in cue_file(language).spans(plain):
        raw.setdefault(concept, []).append(span)
    spans = {concept: _longest(found) for concept, found in raw.items()}
    _claim_objects(spans)
    moods = _Moods(plain, spans, starts, language)
    hits = {
        concept: [moods.hit(concept, start, end) for start, end in found]
        for concept, found in spans.items()
        if concept not in ("neg", "clause")
    }
    return Scan(text, folded, parts, hits, _asked(parts, hits))


def _joined(folded: Folded, parts: tuple[Sentence, ...]) -> tuple[str, list[int]]:
    """The plain text, wrapped lines joined and sentence ends marked by line breaks; where each sentence begins."""
    plain = folded.text.replace("\r", " ").replace("\n", " ")
    if folded.origin is None:
        starts = [p.start for p in parts]
    else:
        starts = [bisect.bisect_left(folded.origin, p.start) for p in parts]
    chars = list(plain)
    for start in starts[1:]:
        if chars[start - 1] == " ":
            chars[start - 1] = "\n"
    return "".join(chars), starts


def _longest(found: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Overlapping spans of one concept count once, as the longest."""
    kept: list[tuple[int, int]] = []
    for start, end in sorted(set(found), key=lambda s: (s[0], -s[1])):
        if kept and start < kept[-1][1]:
            if end - start > kept[-1][1] - kept[-1][0]:
                kept[-1] = (start, end)
            continue
        kept.append((start, end))
    return kept


def _claim_objects(spans: dict[str, list[tuple[int, int]]]) -> None:
    """ "Ballot envelope" is an envelope, not a ballot: the first in the list claims the words."""
    claimed: list[tuple[int, int]] = []
    for concept in _OBJECTS:
        free = [s for s in spans.get(concept, []) if not any(a < s[1] and s[0] < b for a, b in claimed)]
        if concept in spans:
            spans[concept] = free
        claimed.extend(free)


class _Moods:
    """Tells which cues of a text are denied or only supposed."""

    def __init__(self, plain: str, spans: dict[str, list[tuple[int, int]]], starts: list[int], language: str) -> None:
        self._plain = plain
        self._starts = starts
        self._denials = spans.get("neg", [])
        self._breaks = sorted(spans.get("clause", []))
        self._supposing = spans.get("hypo", [])
        self._ifs = spans.get("hypo_if", [])
        self._spaced = language not in _NO_SPACES
        self._reach = _REACH.get(language, 0)

    def hit(self, concept: str, start: int, end: int) -> Hit:
        sentence = max(0, bisect.bisect_right(self._starts, start) - 1)
        if concept in _OWN_MOOD and concept != "never":
            return Hit(concept, start, end, sentence)
        supposed = self._is_supposed(start, end, sentence)
        denied = concept not in _OWN_MOOD and self._is_denied(start, end, 4 if concept == "want" else _WORDS_BACK)
        return Hit(concept, start, end, sentence, denied, supposed)

    def _is_denied(self, start: int, end: int, words_back: int) -> bool:
        if not self._spaced and any(d in self._plain[end - 4 : end + 8] for d in _DENIED_AFTER):
            return True
        for d_start, d_end in self._denials:
            if d_end > start or d_start >= start:
                continue
            between = self._plain[d_end:start]
            if "\n" in between or any(c in between for c in ".!?"):
                continue
            if len(between) > (self._reach or 60) or (self._spaced and len(between.split()) > words_back - 1):
                continue
            if any(d_end <= b_start < start for b_start, _ in self._breaks):
                continue
            return True
        return False

    def _breaks_off(self, start: int, end: int) -> bool:
        """Whether a supposition is over: a comma or a "but" stands between."""
        between = self._plain[start : max(start, end)]
        return "," in between or any(word in f" {between} " for word in _TURNS)

    def _is_supposed(self, start: int, end: int, sentence: int) -> bool:
        begin = self._starts[sentence]
        finish = self._starts[sentence + 1] if sentence + 1 < len(self._starts) else len(self._plain)
        if any(begin <= s < finish and (s < end or not self._spaced) for s, _ in self._supposing):
            return True
        for s, e in self._ifs:
            if not begin <= s < finish:
                continue
            if not self._spaced:
                # The condition stands at the end of its clause: "…면".
                if start < e and "," not in self._plain[end:s] and e - end <= 15:
                    return True
            elif s < end and start - e <= 60 and not self._breaks_off(e, start):
                return True
        return False


def _asked(parts: tuple[Sentence, ...], hits: dict[str, list[Hit]]) -> tuple[bool, ...]:
    asking = {h.sentence for h in hits.get("ask", ())}
    return tuple("?" in p.text or "？" in p.text or i in asking for i, p in enumerate(parts))
