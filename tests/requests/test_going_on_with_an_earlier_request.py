"""A letter that answers an earlier one is found to go on with it, on both databases."""

from __future__ import annotations

from datetime import timedelta

from tests.requests.conftest import MONDAY, OfficeAtWork


def test_a_letter_in_the_thread_of_an_earlier_one_is_read_and_goes_on_with_it(at_work: OfficeAtWork) -> None:
    first = at_work.spoiled_by_ada()
    again = at_work.spoiled_by_ada(at=MONDAY + timedelta(hours=1), answers="<mail-1@post.example>")
    assert again.continues == first.id
    assert again.proposal == "read"
