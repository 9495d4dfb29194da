"""A letter of a megabyte holds nobody up, and goes to a person."""

from __future__ import annotations

import time

from tests.requests.conftest import OfficeAtWork

TEXT = (
    "I filled in the wrong oval and then spilled tea over my ballot. Please send me another one.\n\n"
    "Ada Quillfeather\n14 Otter Bank Rd, Eelpoint\nborn March 7, 1958\n\n"
)


def test_a_letter_without_end_is_read_as_far_as_is_sensible_and_by_a_person(on_sqlite: OfficeAtWork) -> None:
    started = time.monotonic()
    requests = on_sqlite.receive(TEXT + "I spoiled my ballot. " * 50_000)
    assert time.monotonic() - started < 30
    assert {request.proposal for request in requests} == {"read"}
    assert "trade.too_long" in {reason["rule"] for request in requests for reason in request.reasons}


def test_a_long_thread_below_a_short_letter_changes_nothing(on_sqlite: OfficeAtWork) -> None:
    below = "On Mon, Oct 5, 2026 at 8:00 AM the office wrote:\n" + "> You may vote by mail in this election.\n" * 2_000
    (request,) = on_sqlite.receive(TEXT + below)
    assert request.proposal == "reissue"
