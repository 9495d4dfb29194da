"""The same words as a request, and none: what is denied, supposed, told of others, or already done."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from replacements.mail.letter import Attachment, Letter, Machine, PartLabel, Sender, TextPart
from replacements.reading.kinds import find_kinds
from replacements.reading.types import Cause, Flag, Kind, Topic

AT = datetime(2026, 10, 12, 9, 0, tzinfo=UTC)


def letter(
    text: str,
    *,
    subject: str = "",
    quoted: str = "",
    attachments: tuple[Attachment, ...] = (),
    machine: Machine | None = None,
) -> Letter:
    parts = [TextPart(PartLabel.NEW, text)]
    if quoted:
        parts.append(TextPart(PartLabel.QUOTED, quoted))
    return Letter(
        "<1@mail.example>", Sender("w@mail.example", ""), subject, AT, tuple(parts), (), (), (), attachments, machine
    )


def kinds(text: str, *, subject: str = "", quoted: str = "") -> set[Kind]:
    return {k.kind for k in find_kinds(letter(text, subject=subject, quoted=quoted)).kinds}


@pytest.mark.parametrize(
    "text",
    [
        "What if I spoil it?",
        "I did not spoil it.",
        "Please don't send another, mine is fine.",
        "If it gets lost I will write again.",
        "My neighbor tore hers. Mine is fine. Where is the drop box?",
        "Suppose somebody spills coffee on a ballot, is there a second one?",
        "I haven't lost it.",
    ],
)
def test_a_mishap_that_did_not_happen_asks_for_no_ballot(text: str) -> None:
    assert not kinds(text) & {Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED}


@pytest.mark.parametrize(
    ("text", "cause"),
    [
        ("colored in the wrong bubble", Cause.SPOILED),
        ("coffee all over it", Cause.DAMAGED),
        ("the dog got it", Cause.DAMAGED),
        ("I filled in two where it says vote for one", Cause.SPOILED),
        ("signed it in the wrong place", Cause.SPOILED),
        ("tore it opening the envelope", Cause.DAMAGED),
    ],
)
def test_a_mishap_needs_no_word_for_the_ballot(text: str, cause: Cause) -> None:
    found = find_kinds(letter(text))
    assert [k.kind for k in found.kinds] == [Kind.SPOILED_BALLOT]
    assert found.cause is cause


@pytest.mark.parametrize(
    ("text", "cause"),
    [
        ("My ballot never came.", Cause.NOT_RECEIVED),
        ("I lost my ballot and need another.", Cause.LOST),
        ("My husband threw my ballot in the trash.", Cause.LOST),
        ("Thieves took our mail and my ballot was stolen.", Cause.STOLEN),
        ("My ballot was returned to sender, please mail it again.", Cause.UNDELIVERABLE),
    ],
)
def test_a_ballot_that_is_not_there_has_its_cause(text: str, cause: Cause) -> None:
    found = find_kinds(letter(text))
    assert Kind.NOT_RECEIVED in {k.kind for k in found.kinds}
    assert found.cause is cause


def test_an_envelope_is_not_a_ballot() -> None:
    assert kinds("I tore the return envelope. The ballot is fine.") == {Kind.MISSING_MATERIALS}


def test_a_mailed_ballot_that_the_voter_regrets_is_flagged() -> None:
    found = find_kinds(letter("I mailed my ballot Monday but I marked the wrong oval. Please send a new one."))
    assert Kind.SPOILED_BALLOT in {k.kind for k in found.kinds}
    assert Flag.BALLOT_ALREADY_SENT in found.flags


def test_asking_whether_a_returned_ballot_arrived_is_a_question() -> None:
    found = find_kinds(letter("I mailed my ballot on the 3rd. Did it get there?"))
    assert [k.kind for k in found.kinds] == [Kind.QUESTION]
    assert found.topics == (Topic.STATUS,)


def test_a_short_answer_to_the_office_is_details() -> None:
    quoted = "Please reply with your date of birth."
    assert kinds("May 4, 1960", subject="Re: your ballot", quoted=quoted) == {Kind.DETAILS}


def test_a_machine_asks_nothing_whatever_its_words() -> None:
    found = find_kinds(letter("I spoiled my ballot", machine=Machine("out_of_office", "Auto-Submitted")))
    assert [(k.kind, k.p) for k in found.kinds] == [(Kind.AUTOMATIC, 0.99)]


def test_a_picture_name_speaks_only_where_the_writer_does_not() -> None:
    picture = (Attachment("ballot_coffee_spill_need_new_one.jpg", "image/jpeg", 9),)
    assert Kind.SPOILED_BALLOT in {k.kind for k in find_kinds(letter("", attachments=picture)).kinds}
    found = find_kinds(letter("Where is the drop box?", attachments=picture))
    assert [k.kind for k in found.kinds] == [Kind.QUESTION]


def test_a_mail_of_nothing_that_the_office_does_is_other() -> None:
    (found,) = find_kinds(letter("Blue skies over the lake today.")).kinds
    assert found.kind is Kind.OTHER


def test_a_request_and_its_withdrawal_in_one_mail_conflict_or_leave_one_of_them() -> None:
    found = find_kinds(letter("Never mind, I found my ballot."))
    assert [k.kind for k in found.kinds] == [Kind.WITHDRAWAL]


ASKED = "> Which of these can you send us: birth date, voter number, or the address of your home?"


@pytest.mark.parametrize(
    ("text", "taken_back"),
    [
        ("My voter number is 31462. It was on the card in my wallet all along.", False),
        ("I found it, the number on my voter card is 31462.", False),
        ("Never mind, I found my ballot. It was under the mail all along.", True),
        ("I found it! The ballot was in the car the whole time, so no need to send another.", True),
    ],
)
def test_what_turns_up_may_be_the_number_that_was_asked_for(text: str, taken_back: bool) -> None:
    found = find_kinds(letter(text, subject="Re: your message", quoted=ASKED))
    assert (Kind.WITHDRAWAL in {kind.kind for kind in found.kinds}) == taken_back


@pytest.mark.parametrize(
    ("text", "missing"),
    [
        ("I have two envelopes, instructions, a pink form, and no actual ballot.", True),
        ("The envelopes came and the ballot was not in the packet.", True),
        ("I only got the ballot, no envelopes were in the packet.", False),
        ("En el paquete solamente venían la boleta y los dos sobres, no trae la hoja de instrucciones.", False),
        ("Solo venía la boleta, no venía el sobre. Mándenme uno.", False),
        ("No venía la boleta, solo el sobre.", True),
    ],
)
def test_where_only_the_ballot_came_the_ballot_is_there(text: str, missing: bool) -> None:
    assert (Flag.BALLOT_MISSING in find_kinds(letter(text)).flags) == missing


@pytest.mark.parametrize(
    ("text", "sent"),
    [
        ("친구들은 다들 벌써 받아서 보냈다는데 저만 아직 투표용지가 안 왔습니다.", False),
        ("옆집은 이미 투표용지를 보냈다던데 저는 아직 못 받았습니다.", False),
        ("이미 투표용지를 보냈는데 잘못 칠한 것 같습니다.", True),
    ],
)
def test_what_others_are_said_to_have_mailed_is_not_the_writers_in_korean(text: str, sent: bool) -> None:
    assert (Flag.BALLOT_ALREADY_SENT in find_kinds(letter(text)).flags) == sent
