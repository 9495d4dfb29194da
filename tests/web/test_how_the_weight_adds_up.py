"""The page of a request says, fact by fact, how a candidate's weight comes about: in words, with a bar beside them."""

from __future__ import annotations

import json
import re
from datetime import date
from html import unescape
from typing import Any

import pytest

from replacements.requests.answer import candidate_json
from replacements.roll.matching import identify
from replacements.roll.memory import MemoryRoll
from replacements.roll.standing import SUFFICIENT
from replacements.roll.types import AddressClue, Clues, Voter
from replacements.store.tables import Request
from replacements.web.waterfall import WIDTH, falls, odds_in_words
from tests.web.invented_office import Site

TODAY = date(2026, 9, 28)
CLUES = Clues(
    names=("Lottie Marsh",), birth_dates=((1951, 2, 17),), addresses=(AddressClue("12 Tern St", city="Dell"),)
)


def candidates() -> list[dict[str, Any]]:
    """As judged: the voter, and a namesake of the same house who was born in another year."""
    place = {"street": "12 Tern St", "city": "Dell", "state": "OR", "zip": "97001"}
    own = Voter("V-100", "Marsh", "Lottie", birth_date="1951-02-17", **place)
    other = Voter("V-101", "Marsh", "Lottie", birth_date="1983-11-30", **place)
    found = identify(CLUES, MemoryRoll([own, other]), sufficient=SUFFICIENT, today=TODAY)
    weighed = [found.candidates[0]]
    only = identify(CLUES, MemoryRoll([other]), sufficient=SUFFICIENT, today=TODAY)
    return [candidate_json(candidate) for candidate in (*weighed, *only.candidates)]


def judged_so(site: Site) -> None:
    with site.database.write() as session:
        request = session.get_one(Request, 1)
        request.judged = request.judged | {"candidates": candidates()}


def test_the_answer_holds_a_waterfall_that_adds_up() -> None:
    for found in json.loads(json.dumps(candidates())):
        fall = found["waterfall"]
        assert fall["prior"] + sum(step["weight"] for step in fall["steps"]) == pytest.approx(fall["result"], abs=0.02)
        assert [step["fact"] for step in fall["steps"]] == ["name", "birth_date", "address"]
        assert fall["steps"][0]["words"] == "first and last name are the ones on record"
        assert 0 <= fall["p"] <= 1


def test_every_bar_begins_where_the_one_before_ended() -> None:
    first, second = falls(candidates(), ["A", "B"])
    for fall in (first, second):
        assert fall.bars[0].words.startswith("before anything is read")
        at = fall.even
        for bar in fall.bars:
            assert min(abs(bar.left - at), abs(bar.left + bar.width - at)) <= 0.7
            at = bar.left if bar.against else bar.left + bar.width
            assert bar.left >= -0.01
            assert bar.left + bar.width <= WIDTH + 0.6
        assert fall.bars[-1].after == pytest.approx(fall.result, abs=0.02)
    assert any(bar.against and bar.fact == "birth_date" for bar in second.bars)
    assert falls([{"voter_id": "1", "weight": 3.0}], ["older"]) == ()


@pytest.mark.parametrize(
    ("bits", "words"),
    [
        (0.0, "as likely as not"),
        (1.0, "about 2 to 1 for this voter"),
        (-3.0, "about 8 to 1 against this voter"),
        (12.3, "about 5,000 to 1 for this voter"),
        (90.0, "more than 1,000,000,000,000 to 1 for this voter"),
    ],
)
def test_odds_are_said_in_words(bits: float, words: str) -> None:
    assert odds_in_words(bits) == words


def test_a_clerk_reads_it_without_seeing_the_picture(site: Site) -> None:
    judged_so(site)
    page = unescape(site.see("clerk", "/requests/1").get_data(as_text=True))
    assert page.count("How the weight adds up") == 2
    for words in ("first and last name are the ones on record", "another birth date", "At first", "this voter"):
        assert words in page
    pictures = re.findall(r'<svg class="bar long"[^>]*>', page)
    assert len(pictures) == 8
    assert all('aria-hidden="true"' in picture for picture in pictures)


def test_an_observer_sees_the_weights_and_nothing_personal(site: Site) -> None:
    judged_so(site)
    page = unescape(site.see("observer", "/requests/1").get_data(as_text=True))
    assert 'How the weight adds up: <span dir="auto">Candidate A' in page
    for personal in ("Lottie", "Marsh", "1951", "Tern St"):
        assert personal not in page


def test_a_request_that_was_judged_before_there_were_waterfalls_is_shown_without(site: Site) -> None:
    page = site.see("clerk", "/requests/1").get_data(as_text=True)
    assert "How the weight adds up" not in page
