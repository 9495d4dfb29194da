"""Some voters say what happened to the ballot and nothing else; that is a request all the same."""

from __future__ import annotations

import pytest

from replacements.mail.letter import Letter
from replacements.mail.parsing import parse
from replacements.proposals.situation import SURE_ENOUGH
from replacements.reading.reader import read
from replacements.reading.types import Kind


def _letter(text: str) -> Letter:
    head = "From: someone@post.example\nTo: ballots@saltgrass.example\nContent-Type: text/plain; charset=utf-8\n\n"
    return parse((head + text + "\n").encode())


@pytest.mark.parametrize(
    "text",
    [
        "Soup ruined my ballot.",
        "my ballot is ripped",
        "My ballot was wrecked by a leaking thermos.",
        "the parrot tore my ballot",
        "I tore the ballot, sorry",
        "La boleta se me manchó de tinta.",
        "phiếu bầu của tôi rách mất rồi",
        "투표용지가 물에 젖어서 찢어졌어요",
    ],
)
def test_a_mishap_without_a_wish_is_read_as_a_spoiled_ballot(text: str) -> None:
    (found,) = read(_letter(text)).kinds
    assert found.kind is Kind.SPOILED_BALLOT
    assert found.p >= SURE_ENOUGH


@pytest.mark.parametrize(
    "text",
    [
        "Rain ruined our picnic.",
        "my jacket is ripped",
        "The parcel from you came soaked.",
        "El café arruinó mi libro de cocina.",
        "커피를 쏟아서 책이 망가졌어요",
    ],
)
def test_a_mishap_of_something_else_is_no_wish_for_a_ballot(text: str) -> None:
    assert not any(found.kind is Kind.SPOILED_BALLOT and found.p >= SURE_ENOUGH for found in read(_letter(text)).kinds)
