"""What is asked, on invented messages in several voices.

The weights learned from `messages/`, so that what is asked of those only guards against going back; the writers in
`unseen/` never taught anything and measure the reading.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from replacements.mail.letter import Letter
from replacements.reading.kinds import KindsFound, find_kinds
from replacements.reading.teaching import example
from replacements.reading.types import Kind

MESSAGES = Path(__file__).parent / "messages"


def letter(message: dict[str, Any]) -> Letter:
    return example(message).letter


def messages(part: str, name: str = "*") -> Iterator[dict[str, Any]]:
    for path in sorted((MESSAGES / part).glob(f"{name}.jsonl")):
        for line in path.read_text(encoding="utf-8").splitlines():
            message: dict[str, Any] = json.loads(line)
            message.setdefault("lang", path.stem if len(path.stem) == 2 else "en")
            yield message


def f1(part: str, name: str = "*") -> tuple[float, list[str]]:
    """Micro F1 over kinds (a tolerated kind counts for nothing or stands in for a missed one), and what was misread."""
    tally: Counter[str] = Counter()
    misread = []
    for message in messages(part, name):
        got = {k.kind.value for k in find_kinds(letter(message)).kinds}
        want, tolerated = set(message["kinds"]), set(message.get("kinds_ok", ()))
        missed, extra = len(want - got), len(got - want - tolerated)
        missed = max(0, missed - len(got & tolerated))
        tally.update(right=len(want) - missed, missed=missed, extra=extra)
        if missed or extra:
            misread.append(f"{message['text'][:60]!r}: want {sorted(want)}, got {sorted(got)}")
    return 2 * tally["right"] / max(1, 2 * tally["right"] + tally["missed"] + tally["extra"]), misread


@pytest.mark.parametrize("name", ["en*", "es*", "vi*", "ko*", "long_other", "negatives*"])
def test_what_is_asked_is_read_in_every_language_of_the_office(name: str) -> None:
    score, misread = f1("dev", name)
    assert score >= 0.95, misread


def test_no_mail_that_asks_for_no_ballot_is_read_as_asking_for_one() -> None:
    for message in messages("dev", "negatives*"):
        got = {k.kind for k in find_kinds(letter(message)).kinds}
        tolerated = {Kind(k) for k in message.get("kinds_ok", ())}
        assert not (got - tolerated) & {Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED}, message["text"]


def share(field: str, part: str) -> float:
    """The share of messages whose causes, topics or flags all came out."""
    right = total = 0
    for message in messages(part):
        if field not in message:
            continue
        total += 1
        right += _came_out(field, message, find_kinds(letter(message)))
    return right / total


def _came_out(field: str, message: dict[str, Any], found: KindsFound) -> bool:
    if field == "cause":
        return found.cause is not None and found.cause.value in {message["cause"], *message.get("cause_ok", ())}
    if field == "topics":
        return set(message["topics"]) <= {t.value for t in found.topics} | set(message.get("topics_ok", ()))
    return set(message["flags"]) <= {f.value for f in found.flags} | set(message.get("flags_ok", ()))


@pytest.mark.parametrize("field", ["cause", "topics", "flags"])
def test_causes_topics_and_flags_come_out(field: str) -> None:
    assert share(field, "dev") >= 0.9


def test_every_kind_is_shown_with_words_that_the_writer_wrote() -> None:
    for message in messages("dev"):
        found = find_kinds(letter(message))
        for evidence in found.evidence:
            if evidence.start >= 0:
                stretch = " ".join(message["text"][evidence.start : evidence.end].split())
                assert stretch.startswith(evidence.words.removesuffix("…"))
        for kind in found.kinds:
            assert kind.because or kind.kind is Kind.OTHER, message["text"]
            assert all(len(words) <= 90 for words in kind.because)


def test_the_same_letter_always_gives_the_same_reading() -> None:
    for message in messages("dev", "en"):
        assert find_kinds(letter(message)) == find_kinds(letter(message))
