"""One sender, one thing asked, one answer: not the same words again within a week."""

from __future__ import annotations

from datetime import timedelta

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
