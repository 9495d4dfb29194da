"""A voter who answers inside the office's quoted question is understood, though no program marks the answer."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from replacements.requests import deciding
from replacements.store.tables import Reply
from tests.requests.conftest import MONDAY, OfficeAtWork

BLOCK = "__________________\nFrom: Ballots <ballots@saltgrass.example>\nSent: Monday, October 5, 2026 9:12 AM\n"


@pytest.mark.parametrize("marked", [False, True])
def test_a_birth_date_typed_behind_our_question_finds_the_voter(at_work: OfficeAtWork, marked: bool) -> None:
    text = "I spoiled my ballot with tea, please send another.\nAda Quillfeather\n"
    (request,) = at_work.receive(text, sender="who@post.example")
    assert request.proposal == "ask_identity"
    deciding.approve(
        at_work.database, request.id, version=request.version, by="clara", roles=("clerk",), at=MONDAY, note=""
    )
    with at_work.database.read() as session:
        reply = session.scalars(select(Reply).where(Reply.request_id == request.id)).one()
    asked = next(line for line in reply.text.split("\n") if "date of birth" in line or "address" in line)
    filled = reply.text.replace(asked, f"{asked}\nMarch 7, 1958, 14 Otter Bank Rd, Eelpoint")
    body = f"{BLOCK}To: who\nSubject: {reply.subject}\n\n{filled}"
    if marked:
        quoted = reply.text.replace(asked, f"{asked} March 7, 1958, 14 Otter Bank Rd, Eelpoint")
        body = "On Mon, Oct 5, 2026 the office <ballots@saltgrass.example> wrote:\n" + "".join(
            f"> {line}\n" for line in quoted.split("\n")
        )
    (answer,) = at_work.receive(
        body, sender="who@post.example", subject=f"Re: {reply.subject}", answers=reply.message_id
    )
    assert answer.continues == request.id
    assert answer.voter_id is not None
    assert answer.standing == "certain"
