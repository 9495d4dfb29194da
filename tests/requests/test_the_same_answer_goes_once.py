"""One sender, one thing asked, one answer: not the same words again within a week."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import select

from replacements.proposals.types import Action
from replacements.requests import deciding
from replacements.store.tables import Reply, Request
from tests.requests.conftest import MONDAY, OfficeAtWork

QUESTION = "What pen may I use to mark my ballot?"


def decide(at_work: OfficeAtWork, request: Request, days: int = 0, **more: object) -> deciding.Outcome:
    wanted = {"version": request.version, "by": "clara", "roles": ("clerk",), "at": MONDAY + timedelta(days=days)}
    wanted |= {"action": Action.COME_IN, "note": "told so"} | more
    return deciding.approve(at_work.database, request.id, **wanted)  # type: ignore[arg-type]


def sent(at_work: OfficeAtWork) -> int:
    with at_work.database.read() as session:
        return len(session.scalars(select(Reply)).all())


def ask(at_work: OfficeAtWork, days: int = 0, sender: str = "Ada <ada.q@post.example>") -> Request:
    return at_work.receive(QUESTION, sender=sender, at=MONDAY + timedelta(days=days))[0]


def test_the_same_question_again_gets_no_second_answer_in_the_same_words(at_work: OfficeAtWork) -> None:
    decide(at_work, ask(at_work))
    outcome = decide(at_work, ask(at_work, days=1), days=1)
    assert outcome.state == "done"
    assert "same words" in outcome.text
    assert sent(at_work) == 1


def test_another_sender_is_answered(on_sqlite: OfficeAtWork) -> None:
    decide(on_sqlite, ask(on_sqlite))
    decide(on_sqlite, ask(on_sqlite, days=1, sender="Bram <bram@post.example>"), days=1)
    assert sent(on_sqlite) == 2


def test_after_a_week_the_answer_goes_again(on_sqlite: OfficeAtWork) -> None:
    decide(on_sqlite, ask(on_sqlite))
    decide(on_sqlite, ask(on_sqlite, days=8), days=8)
    assert sent(on_sqlite) == 2


def test_words_of_the_clerks_own_always_go(on_sqlite: OfficeAtWork) -> None:
    decide(on_sqlite, ask(on_sqlite))
    decide(on_sqlite, ask(on_sqlite, days=1), days=1, reply_text="As we wrote: black or blue ink.")
    assert sent(on_sqlite) == 2


def twice(at_work: OfficeAtWork, *senders: str) -> list[Request]:
    """One mail as it came on several ways, one of which added a line below it."""
    found = []
    for number, sender in enumerate(senders):
        raw = (
            f"From: {sender}\r\nTo: ballots@saltgrass.example\r\nSubject: ballot\r\n"
            "Date: Mon, 05 Oct 2026 09:00:00 -0400\r\nMessage-ID: <one@post.example>\r\n\r\n"
            f"I spoiled my ballot, please send me another one.\r\n{'-- ' * number}\r\n"
        )
        at_work.mails += 1
        found += at_work.receive_raw(raw.encode())
    return found


ASKED = {"action": Action.ASK_IDENTITY, "note": "Nobody is named."}


def test_a_mail_that_came_on_two_ways_is_asked_about_once(at_work: OfficeAtWork) -> None:
    first, second = twice(at_work, "Ada <ada.q@post.example>", "Ada <ada.q@post.example>")
    assert decide(at_work, first, **ASKED).state == "asked"
    with pytest.raises(deciding.Refused, match=f"this mail came before.*request {first.id}"):
        decide(at_work, second, **ASKED)
    assert at_work.request(second.id).state == "waiting"  # a person sees both
    assert sent(at_work) == 1
    assert decide(at_work, second, action=Action.DROP, note="The same mail as before.").state == "filed"


def test_somebody_else_under_the_same_message_id_is_asked_too(on_sqlite: OfficeAtWork) -> None:
    first, second = twice(on_sqlite, "Ada <ada.q@post.example>", "Bram <bram@post.example>")
    decide(on_sqlite, first, **ASKED)
    assert decide(on_sqlite, second, **ASKED).state == "asked"
    assert sent(on_sqlite) == 2


def test_nobody_is_waited_for_who_cannot_be_asked(on_sqlite: OfficeAtWork) -> None:
    (request,) = twice(on_sqlite, "Ada <ada@b..example>")
    assert request.proposal == "read"  # a person sees whether she can be reached another way
    with pytest.raises(deciding.Refused, match="Nothing can be asked"):
        decide(on_sqlite, request, **ASKED)
    assert on_sqlite.request(request.id).state == "waiting"
    assert sent(on_sqlite) == 0
