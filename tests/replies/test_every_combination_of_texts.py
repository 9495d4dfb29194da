"""Every proposal, reason and language: a text is there, in that language, and nothing in it is left to be filled in."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from replacements.proposals.types import Action
from replacements.reading.types import Cause, Topic
from replacements.replies.samples import example
from replacements.replies.sources import PROPOSALS, REPLIES, TOPICS, languages
from replacements.replies.texts import IDENTITY_FACTS, ReplyFacts, render
from replacements.requests.judging import NO_REPLY
from replacements.rules.office import Rules, parse_rules

FILE = (Path(__file__).parent / "quillhaven.toml").read_text(encoding="utf-8")
POSTMARKED = FILE.replace('"received"', '"postmarked"').replace(
    "return_by = 2026-11-03T19:30:00", "return_by = 2026-11-03T19:30:00\ngrace_until = 2026-11-07T17:00:00"
)
BARE = re.sub(r"(?s)\[\[drop_boxes\]\].*", "", FILE).replace('hours = "Monday to Friday, 8 am to 5 pm"\n', "")
OFFICES = tuple(
    parse_rules(text + suspends)
    for text, suspends in product((FILE, POSTMARKED, BARE), ("", '[replacements]\noriginal = "suspend"\n'))
)
LEFT = re.compile(r"[{}<>\[\]_]|\b(?:None|True|False|Undefined|TODO|TBD|XXX)\b|\(\s*\)|\.\.|  |\s[,.;:](?!\S)")


def facts(rules: Rules, cause: str) -> list[ReplyFacts]:
    """What a reply may be filled with under these rules and for this cause."""
    whole = replace(example(rules), cause=cause)
    bare = replace(
        whole, mailing_day=None, chance=None, last_good_day=None, old_ballot_number="", materials=(), lapses_on=None
    )
    late = replace(whole, chance=0.2)
    overseas = replace(whole, overseas=True, open_for_post=False, waited_for="details")
    asked = [replace(whole, missing=(fact,)) for fact in IDENTITY_FACTS]
    several = replace(whole, names_election=True)
    found = [whole, bare, late, overseas, several, *asked]
    found += [replace(one, on_file=False) for one in (whole, bare, late)]
    found += [replace(one, adopted=False) for one in (whole, bare)]
    return [replace(one, stopped=stopped) for one in found for stopped in (True, False, None)]


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", REPLIES)
def test_every_proposal_reason_and_language_has_a_text_with_nothing_left_to_fill_in(name: str, language: str) -> None:
    causes = [cause.value for cause in Cause] if name == "reissue" else [""]
    for rules, cause in product(OFFICES, causes):
        for one in facts(rules, cause):
            reply = render(name, language, one)
            assert (reply.language, reply.template) == (language, name)
            left = LEFT.search(reply.subject + "\n" + reply.text.replace(rules.office.website, "x"))
            assert left is None, (left, reply.text)
            assert len(reply.text.split("\n\n")) >= 4, reply.text


def test_every_proposal_that_is_answered_has_a_text() -> None:
    answered = {action.value for action in Action} - {action.value for action in NO_REPLY} - {Action.ANSWER.value}
    assert answered <= set(PROPOSALS)


def test_every_topic_that_is_read_has_an_answer() -> None:
    read = {topic.value for topic in Topic}
    assert read <= set(TOPICS)


@pytest.mark.parametrize("language", languages())
def test_any_two_answers_in_one_reply_leave_nothing_to_fill_in(language: str) -> None:
    whole = example(OFFICES[0])
    for first, second in product(TOPICS, TOPICS):
        reply = render("answer", language, whole, topics=(first, second))
        assert LEFT.search(reply.subject + "\n" + reply.text.replace(whole.rules.office.website, "x")) is None
