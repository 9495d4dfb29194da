"""Where the words of a reply come from: the project's own files, or the texts that an office has put in their place.

A text is named as its file: `reissue`, `answer/deadline`, `frame` (around every reply), or `phrases/…`: a phrase that
several texts use by its name, as if it were a fact.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType

from replacements.folders import TEMPLATES

FOLDER = TEMPLATES / "replies"
FRAME = "frame"
SEVERAL = "answer/several"  # the subject of a reply with more than one answer
PROPOSALS = (
    "reissue",
    "mailed",
    "statement_first",
    "come_in",
    "already_back",
    "no_ballot_out",
    "send_materials",
    "send_form",
    "ask_identity",
    "stop_reissue",
    "remind_statement",
    "remind_details",
    "lapsed",
    "complete_statement",
)
TOPICS = (
    "deadline",
    "postmark",
    "drop_box",
    "identification",
    "witness",
    "pen",
    "partial",
    "envelope",
    "secrecy",
    "status",
    "counted",
    "postage",
    "helper",
    "what_if",
    "in_person",
)
REPLIES = (*PROPOSALS, *(f"answer/{topic}" for topic in TOPICS))
_PHRASE = "phrases/"


@dataclass(frozen=True, slots=True)
class Source:
    """One text before it is filled. A phrase and the frame have no subject, `answer/several` has no body."""

    subject: str
    body: str


@dataclass(frozen=True, slots=True)
class Texts:
    """The texts in force: the project's own, except where `edited` has another, by language and name."""

    edited: Mapping[tuple[str, str], Source] = field(default_factory=lambda: MappingProxyType({}))

    def of(self, language: str, name: str) -> Source | None:
        """None where this language has no such text."""
        return self.edited.get((language, name)) or own(language, name)

    def but(self, language: str, name: str, source: Source) -> Texts:
        """These texts with one of them changed."""
        return Texts(MappingProxyType({**self.edited, (language, name): source}))


FILES = Texts()


def has_subject(name: str) -> bool:
    return name != FRAME and not name.startswith(_PHRASE)


def has_body(name: str) -> bool:
    return name != SEVERAL


@cache
def phrases() -> tuple[str, ...]:
    """The names of all phrases, as texts use them."""
    return tuple(sorted(path.stem for path in (FOLDER / "en" / "phrases").glob("*.txt")))


@cache
def names() -> tuple[str, ...]:
    """Every text that there is, in the order in which people look for them."""
    return (*REPLIES, SEVERAL, FRAME, *(f"{_PHRASE}{name}" for name in phrases()))


@cache
def own(language: str, name: str) -> Source | None:
    """The project's own text; None where this language has none. Raises ValueError where a file has no subject."""
    if name not in names() or not re.fullmatch("[a-z]{2,3}", language):
        return None
    path = FOLDER / language / f"{name}.txt"
    if not path.is_file():
        return None
    text = path.read_text(encoding="utf-8")
    if not has_subject(name):
        return Source("", text.strip("\n"))
    first, _, rest = text.partition("\n")
    label, _, subject = first.partition(":")
    if label != "Subject" or not subject.strip():
        raise ValueError(f"the first line of {path.name} must be 'Subject: …'")
    return Source(subject.strip(), rest.strip("\n"))


@cache
def languages() -> tuple[str, ...]:
    """The languages that have texts, English first."""
    found = {path.parent.name for path in FOLDER.glob("*/frame.txt")}
    return ("en", *sorted(found - {"en"}))
