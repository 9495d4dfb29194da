"""Real replies in which one text stands, with everything there and with each thing missing in turn."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from replacements.replies.catalogue import facts
from replacements.replies.sources import FRAME, REPLIES, SEVERAL, Texts
from replacements.replies.syntax import names_of
from replacements.replies.texts import (
    IDENTITY_FACTS,
    ReplyFacts,
    context_of,
    fill,
    fill_whole,
    paragraphs,
    with_phrases,
)
from replacements.rules.office import Rules


@dataclass(frozen=True, slots=True)
class Sample:
    """A reply, whole, and by itself the text that it was made for."""

    text: str
    body: str


def samples(language: str, name: str, texts: Texts, rules: Rules) -> list[Sample]:
    """Replies with this text. Raises what a text raises that cannot be filled."""
    return [
        Sample(
            fill_whole([reply], language, case, texts).text,
            paragraphs(fill(texts, language, name, with_phrases(case, language, texts) | {"body": "."})),
        )
        for reply in using(language, name, texts)
        for case in _cases(language, rules)
    ]


def using(language: str, name: str, texts: Texts) -> list[str]:
    """The replies that this text is part of."""
    if name in REPLIES:
        return [name]
    if name in (FRAME, SEVERAL):
        return list(REPLIES)
    phrase = name.removeprefix("phrases/")
    in_frame = phrase in reached(language, FRAME, texts)
    return [reply for reply in REPLIES if in_frame or phrase in reached(language, reply, texts)]


def reached(language: str, name: str, texts: Texts) -> set[str]:
    """Every phrase and fact that a text names, itself or through its phrases."""
    found: set[str] = set()
    todo = [name]
    while todo:
        source = texts.of(language, todo.pop())
        new = names_of(source.body) - found if source is not None else frozenset()
        found |= new
        todo += [f"phrases/{one}" for one in new]
    return found


def example(rules: Rules) -> ReplyFacts:
    """Invented facts under these rules, with everything there."""
    day = rules.dates.last_request_by_mail.date() - timedelta(days=14)
    return ReplyFacts(
        rules=rules,
        adopted=True,
        voter_name="Wren Applegarth",
        on_file=True,
        mailing_day=day,
        chance=0.98,
        last_good_day=day + timedelta(days=7),
        ballot_number="80000019",
        old_ballot_number="5000018",
        missing=IDENTITY_FACTS,
        cause="spoiled",
        materials=("return envelope", "instructions"),
        stopped=True,
        lapses_on=day + timedelta(days=5),
        waited_for="statement",
    )


def _cases(language: str, rules: Rules) -> Iterator[dict[str, Any]]:
    whole = context_of(example(rules), language)
    late = whole["return_by"] + timedelta(days=4)
    whole["grace_until"] = whole["grace_until"] or late
    whole["overseas_last_request"] = whole["overseas_last_request"] or whole["last_request"]
    whole["hours"] = whole["hours"] or "Monday to Friday, 8 am to 5 pm"
    whole["website"] = whole["website"] or "https://office.example"
    yield whole
    for name, fact in facts().items():
        if fact.kind == "yes_no":
            yield whole | {name: not whole[name]}
        elif fact.kind == "answer":
            yield whole | {name: None}
            yield whole | {name: False}
        elif fact.kind == "boxes" or (fact.optional and fact.kind == "list"):
            yield whole | {name: []}
        elif fact.optional:
            yield whole | {name: None if fact.is_day else ""}
