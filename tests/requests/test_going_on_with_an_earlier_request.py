"""A letter that answers an earlier one is found to go on with it, on both databases."""

from __future__ import annotations

from datetime import timedelta

from replacements.proposals.types import Action
from replacements.requests import deciding
from tests.requests.conftest import MONDAY, OfficeAtWork


def test_a_letter_in_the_thread_of_an_earlier_one_is_read_and_goes_on_with_it(at_work: OfficeAtWork) -> None:
    first = at_work.spoiled_by_ada()
    again = at_work.spoiled_by_ada(at=MONDAY + timedelta(hours=1), answers="<mail-1@post.example>")
    assert again.continues == first.id
    assert again.proposal == "read"


def test_a_request_that_waited_for_the_voter_is_done_when_the_answer_is_decided(at_work: OfficeAtWork) -> None:
    (first,) = at_work.receive("My ballot got wet and tore, I need another one. Ada", sender="ada@elsewhere.example")
    asked = deciding.approve(
        at_work.database, first.id, version=first.version, by="clara", roles=("clerk",), at=MONDAY,
        action=Action.ASK_IDENTITY, note="Only a given name."
    )  # fmt: skip
    assert asked.state == "asked"
    answer = at_work.spoiled_by_ada(at=MONDAY + timedelta(hours=1), answers="<mail-1@post.example>")
    assert answer.continues == first.id
    deciding.approve(
        at_work.database, answer.id, version=answer.version, by="clara", roles=("clerk",), at=MONDAY,
        action=Action.READ, note="Told by telephone."
    )  # fmt: skip
    settled = at_work.request(first.id)
    assert (settled.state, settled.decision) == ("done", "ask_identity")


def test_an_answer_that_is_declined_leaves_the_question_open(on_sqlite: OfficeAtWork) -> None:
    (first,) = on_sqlite.receive("My ballot got wet and tore, I need another one. Ada", sender="ada@elsewhere.example")
    deciding.approve(
        on_sqlite.database, first.id, version=first.version, by="clara", roles=("clerk",), at=MONDAY,
        action=Action.ASK_IDENTITY, note="Only a given name."
    )  # fmt: skip
    answer = on_sqlite.spoiled_by_ada(at=MONDAY + timedelta(hours=1), answers="<mail-1@post.example>")
    deciding.decline(
        on_sqlite.database, answer.id, version=answer.version, by="clara", at=MONDAY, note="Not from the voter."
    )
    assert on_sqlite.request(first.id).state == "asked"
