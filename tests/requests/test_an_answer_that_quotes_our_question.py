"""A voter sends the details that were asked for; what was asked first is known from nowhere but the quotation."""

from __future__ import annotations

import pytest

from replacements.store.tables import Request
from tests.requests.conftest import OfficeAtWork

DETAILS = "Here is what you need: Ada Quillfeather, born March 7, 1958, 14 Otter Bank Rd, Eelpoint.\n\n"
ON = "On Mon, Oct 5, 2026 at 8:02 AM Elections <ballots@saltgrass.example> wrote:\n"
ASKS = "> Please send us your full name, date of birth and registered address.\n"


def _answer(office: OfficeAtWork, quoted: str) -> list[Request]:
    return office.receive(DETAILS + ON + quoted, answers="<long-ago@saltgrass.example>", subject="Re: question")


@pytest.mark.parametrize(
    "quoted",
    [
        "> Thank you for writing. You told us that coffee ruined your ballot.\n" + ASKS,
        "> You wrote that you marked the wrong candidate and would like a new\n> ballot.\n" + ASKS,
        "> You asked for another ballot because your dog chewed up the first one.\n" + ASKS,
        '> You wrote: "i tore my ballot in half when i opened it, please send another".\n' + ASKS,
    ],
)
def test_what_we_said_back_to_the_voter_tells_what_was_asked(on_sqlite: OfficeAtWork, quoted: str) -> None:
    (request,) = _answer(on_sqlite, quoted)
    assert {"details", "spoiled_ballot"} <= set(request.kinds)
    assert (request.standing, request.proposal) == ("certain", "reissue")


@pytest.mark.parametrize(
    "quoted",
    [
        ASKS,
        "> More than one voter fits what you wrote.\n" + ASKS,
        "> You asked when the deadline is. That depends on where you live.\n" + ASKS,
        "> You asked us to stop the replacement ballot.\n" + ASKS,
        "> If the ballot that you received is damaged, tell us and we will send another.\n" + ASKS,
        "> You wrote that a page was missing from your packet.\n" + ASKS,
    ],
)
def test_a_quotation_that_tells_of_no_ruined_ballot_voids_none(on_sqlite: OfficeAtWork, quoted: str) -> None:
    (request,) = _answer(on_sqlite, quoted)
    assert request.proposal != "reissue"


def test_the_rules_for_the_cause_that_we_said_back_hold_for_the_answer(on_sqlite: OfficeAtWork) -> None:
    quoted = "> You told us that your ballot was stolen from your mailbox.\n" + ASKS
    (request,) = _answer(on_sqlite, quoted)
    assert request.cause in ("stolen", "not_received", "lost")
    assert request.proposal != "reissue" or request.two_people
