"""What the writer says now, apart from what is quoted, forwarded, or added by a program."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replacements.mail.letter import Letter, PartLabel
from replacements.mail.markup import Line
from replacements.mail.parsing import parse
from replacements.mail.parts import labelled

NEW, QUOTED, FORWARDED = PartLabel.NEW, PartLabel.QUOTED, PartLabel.FORWARDED
SIGNATURE, DISCLAIMER = PartLabel.SIGNATURE, PartLabel.DISCLAIMER


def _letter(body: str, subject: str = "Re: Your ballot", kind: str = "plain") -> Letter:
    head = f"From: Ada Fenn <ada@home.example>\nSubject: {subject}\nContent-Type: text/{kind}; charset=utf-8\n\n"
    return parse((head + body).encode())


@pytest.mark.parametrize(
    "attribution",
    [
        "On Mon, Oct 5, 2026 at 9:12 AM County Ballots <ballots@county.example> wrote:",
        "On Mon, Oct 5, 2026 at 9:12 AM County Ballots\n<ballots@county.example> wrote:",
        "El lun, 5 oct 2026 a las 9:12, County Ballots (<ballots@county.example>) escribió:",
        "Vào Th 2, 5 thg 10, 2026 vào lúc 09:12 County Ballots <ballots@county.example> đã viết:",
        "2026년 10월 5일 (월) 오전 9:12, County Ballots <ballots@county.example>님이 작성:",
        "Le lun. 5 oct. 2026 à 09:12, County Ballots <ballots@county.example> a écrit :",
        "Am Mo., 5. Okt. 2026 um 09:12 Uhr schrieb County Ballots <ballots@county.example>:",
        "County Ballots <ballots@county.example> wrote:",
    ],
)
@pytest.mark.parametrize("mark", ["> ", ""])
def test_an_attribution_begins_the_quotation(attribution: str, mark: str) -> None:
    letter = _letter(
        f"I was born 3 May 1950.\n\nAda\n\n{attribution}\n{mark}When were you born?\n{mark}Nothing is changed yet.\n"
    )
    assert letter.new_text == "I was born 3 May 1950.\n\nAda"
    assert "When were you born?" in letter.text(QUOTED)


@pytest.mark.parametrize(
    "block",
    [
        "________________________________\nFrom: "
        "County Ballots <ballots@county.example>\n"
        "Sent: Monday, October 5, 2026\n"
        "To: Ada Fenn\nSubject: Your ballot",
        "From: County Ballots\nSent: Monday, October 5, 2026 9:12 AM\nTo: Ada Fenn\nSubject: Your ballot",
        "De: County Ballots\nEnviado: lunes, 5 de octubre de 2026\nPara: Ada Fenn\nAsunto: Su boleta",
        "Từ: County Ballots\nĐã gửi: Thứ Hai, 5 tháng 10, 2026\nĐến: Ada Fenn\nChủ đề: Lá phiếu",
        "보낸 사람: County Ballots\n보낸 날짜: 2026년 10월 5일\n받는 사람: Ada Fenn\n제목: 투표용지",
        "Von: County Ballots\nGesendet: Montag, 5. Oktober 2026\nAn: Ada Fenn\nBetreff: Ballot",
        "*From:* County Ballots\n*Date:* Monday, October 5, 2026\n*To:* Ada Fenn\n*Subject:* Your ballot",
        "-----Original Message-----\nFrom: County Ballots\nSubject: Your ballot",
        "---- Original message ----",
        "-------- Mensaje original --------\nDe: County Ballots",
        "-------- 원본 메시지 --------\n보낸 사람: County Ballots",
    ],
)
def test_a_header_block_begins_the_earlier_message(block: str) -> None:
    letter = _letter(f"Yes, that is me.\nAda Fenn\n\n{block}\n\nIs this you? Void means void.\n")
    assert letter.new_text == "Yes, that is me.\nAda Fenn"
    assert "Is this you?" in letter.text(QUOTED)


def test_answers_between_quoted_lines_are_new() -> None:
    letter = _letter(
        "On 5 Oct 2026 County wrote:\n> When were you born?\n3 May 1950\n> Where do you live?\n12 Mill Row\n> Thanks\n"
    )
    assert letter.new_text == "3 May 1950\n\n12 Mill Row"
    assert [part.label for part in letter.parts] == [QUOTED, NEW, QUOTED, NEW, QUOTED]


def test_a_voter_who_tells_what_somebody_wrote_is_not_quoting() -> None:
    letter = _letter("On Monday my son wrote:\nI have no idea what to do\nso please send another ballot.\n", "ballot")
    assert "send another ballot" in letter.new_text


@pytest.mark.parametrize(
    "letter",
    [
        "To: Election office\nFrom: Ada Fenn\nDate: 5 Oct 2026\nSubject: spoiled ballot\n\nI tore it.\n",
        "Dear office,\n\nFrom: Ada Fenn\nDate: 5 Oct 2026\nSubject: spoiled ballot\n\nI tore it.\n",
        "Nombre: Ada Fenn\nFecha: 5/10/2026\nDe: Ada\nPara: oficina\nAsunto: boleta\n\nI tore it.\n",
        "On Oct 1, 2026 my neighbor wrote:\nyour ballot is here. But I tore it.\n",
        (
            "This is confidential and privileged; delete it after you "
            "sent my ballot, I am not the intended recipient. I tore it.\n"
        ),
        "I am Ada.\nOwner, 12 Mill Row. I tore it.\nwww.fenn.example\n",
    ],
)
def test_a_letter_of_unusual_layout_is_all_new(letter: str) -> None:
    assert "I tore it." in _letter(letter, "spoiled ballot").new_text


@pytest.mark.parametrize(
    "mark",
    [
        "---------- Forwarded message ---------",
        "Begin forwarded message:",
        "---------- Mensaje reenviado ---------",
        "---------- Thư đã chuyển tiếp ----------",
        "---------- 전달된 메일 ----------",
    ],
)
def test_forwarded_text_is_not_the_writers(mark: str) -> None:
    letter = _letter(
        f"Is this real?\n\n{mark}\nFrom: Someone <x@far.example>\nSubject: ballots\n\nYour ballot is void.\n",
        "Fwd: ballots",
    )
    assert letter.new_text == "Is this real?"
    assert "Your ballot is void." in letter.text(FORWARDED)


def test_an_outlook_block_under_a_forward_subject_is_forwarded() -> None:
    letter = _letter(
        "See below.\n\nFrom: X\nSent: 5 Oct 2026\nTo: Ada\nSubject: hm\n\nYour ballot is void.\n", "FW: hm"
    )
    assert letter.new_text == "See below."
    assert "void" in letter.text(FORWARDED)


def test_a_mail_of_nothing_but_a_forward_says_so() -> None:
    letter = _letter("---------- Forwarded message ---------\nFrom: X <x@far.example>\n\nhello\n", "Fwd: x")
    assert letter.new_text == ""
    assert "nothing_new" in {notice.code for notice in letter.notices}


@pytest.mark.parametrize(
    "html",
    [
        '<p>I was born 3 May 1950.</p><div class="gmail_quote"><div>On Mon, Oct 5, 2026 County wrote:<br></div>'
        '<blockquote class="gmail_quote" '
        'style="margin:0;border-left:1px '
        '#ccc solid">When were you '
        "born?</blockquote></div>",
        "<p>I was born 3 May "
        "1950.</p><p>On 5 Oct 2026, County "
        'wrote:</p><blockquote type="cite">When '
        "were you born?</blockquote>",
        '<p>I was born 3 May 1950.</p><hr><div id="divRplyFwdMsg"><b>From:</b> '
        "County<br><b>Sent:</b> Monday, 5 Oct 2026<br>"
        "<b>To:</b> Ada<br><b>Subject:</b> Your ballot</div><div>When were you born?</div>",
    ],
)
def test_quotations_in_html(html: str) -> None:
    letter = _letter(html, kind="html")
    assert letter.new_text == "I was born 3 May 1950."
    assert "When were you born?" in letter.text(QUOTED)


def test_answers_that_may_stand_among_quoted_lines_are_told() -> None:
    block = "-----Original Message-----\nFrom: County\n\nWhen were you born? 3 May 1950\n"
    assert "answers_below" in {notice.code for notice in _letter(f"See my answers below.\n\n{block}").notices}
    assert "answers_below" not in {notice.code for notice in _letter(f"I was born 3 May 1950.\n\n{block}").notices}


def test_an_indented_paragraph_in_html_is_no_quotation() -> None:
    html = '<p>Hello</p><blockquote style="margin:0 0 0 40px;border:none;padding:0">I tore my ballot.</blockquote>'
    assert "I tore my ballot." in _letter(html, kind="html").new_text


def test_the_block_below_the_dashes_is_a_signature() -> None:
    letter = _letter("I tore my ballot.\n\nLou Fenn\n\n-- \nFenn Roofing. Free estimates.\nAda, 555-0144\n")
    assert letter.new_text == "I tore my ballot.\n\nLou Fenn"
    assert "Fenn Roofing" in letter.text(SIGNATURE)


def test_a_birth_date_below_the_dashes_stays_the_writers_word() -> None:
    letter = _letter("I tore my ballot.\n-- \nAda Fenn\n12 Mill Row\nborn 5/3/1950\nwww.fennroofing.example\n")
    assert "Ada Fenn\n12 Mill Row\nborn 5/3/1950" in letter.new_text
    assert "www.fennroofing.example" in letter.text(SIGNATURE)


def test_a_name_and_street_below_the_dashes_of_an_unsigned_letter_tell_who_writes() -> None:
    assert "Ada Fenn\n12 Mill Row" in _letter("My ballot is torn.\n\n-- \nAda Fenn\n12 Mill Row\nRiverton\n").new_text
    assert "12 Mill Row" not in _letter("My ballot is torn.\n\nLou Fenn\n\n-- \nAda Fenn\n12 Mill Row\n").new_text


def test_a_name_typed_under_two_dashes_is_no_signature_block() -> None:
    assert "Ada Fenn" in _letter("I tore my ballot, please help me\n--\nAda Fenn\n12 Mill Row\n").new_text


@pytest.mark.parametrize(
    "line",
    [
        "Sent from my phone",
        "Enviado desde mi teléfono",
        "Gửi từ điện thoại của tôi",
        "나의 전화기에서 보냄",
        "Get Letterbox for Pocket",
    ],
)
def test_a_line_that_the_telephone_added_is_no_word_of_the_writer(line: str) -> None:
    letter = _letter(f"I tore my ballot.\nAda Fenn\n\n{line}\n")
    assert letter.new_text == "I tore my ballot.\nAda Fenn"
    assert letter.text(SIGNATURE) == line


def test_such_words_inside_a_sentence_stay() -> None:
    assert "Sent from my desk" in _letter("It was\nSent from my desk to yours\nand never came.\n").new_text


def test_a_business_block_keeps_name_and_street_new() -> None:
    letter = _letter("Please send another.\n\nAda Fenn\nBranch Manager\n12 Mill Row\nwww.fenn.example\n555-555-0144\n")
    assert "Ada Fenn" in letter.new_text
    assert "12 Mill Row" in letter.new_text
    assert "www.fenn.example" in letter.text(SIGNATURE)


def test_a_telephone_number_under_a_name_stays() -> None:
    letter = _letter("Please send another.\n\nAda Fenn\n555-555-0144\nada@home.example\n")
    assert letter.new_text.endswith("Ada Fenn\n555-555-0144\nada@home.example")


@pytest.mark.parametrize(
    "paragraph",
    [
        "CONFIDENTIALITY NOTICE: This "
        "e-mail is intended only for the "
        "person named. If you received "
        "this message in error, delete it.",
        "This message is confidential "
        "and may be privileged. If you "
        "are not the intended recipient, "
        "please notify the sender.",
        "AVISO DE CONFIDENCIALIDAD: Este "
        "mensaje es confidencial y para "
        "su destinatario. Si lo recibió "
        "por error, elimine el mensaje.",
        "이 메일은 기밀 정보를 포함하고 있으며 지정된 수신인만을 위한 것입니다. "
        "잘못 전송된 경우 즉시 삭제하여 주시고, 무단 사용은 금지됩니다. "
        "문의 사항이 있으시면 보낸 사람에게 연락하시기 바랍니다. 감사합니다.",
    ],
)
def test_a_legal_paragraph_is_a_disclaimer(paragraph: str) -> None:
    letter = _letter(f"I tore my ballot.\nAda Fenn\n\n{paragraph}\n")
    assert letter.new_text == "I tore my ballot.\nAda Fenn"
    assert letter.text(DISCLAIMER) == paragraph


def test_a_voter_who_asks_for_confidence_is_no_disclaimer() -> None:
    letter = _letter(
        "This is confidential: I am in the address program, please do not print my street on anything you send.\n"
    )
    assert "address program" in letter.new_text


def test_the_offices_banner_above_a_letter_from_outside_is_not_the_letter() -> None:
    letter = _letter("CAUTION: This email originated from outside the county. Do not click links.\nI tore my ballot.\n")
    assert letter.new_text == "I tore my ballot."


def test_a_voter_who_cautions_the_office_is_no_banner() -> None:
    letter = _letter("Caution: this email is from my daughter's account. I tore my ballot.\n")
    assert "I tore my ballot." in letter.new_text


_SHAPES = st.sampled_from(
    [
        *("", "I tore my ballot.", "On Mon, Oct 5, 2026 X <x@far.example> wrote:", "-- ", "--", "From: X", "Sent: now"),
        *("To: Y", "Subject: Z", "---- Original message ----", "Begin forwarded message:", "Sent from my phone"),
        *("www.fenn.example", "Tel: 555-0144", "Ada Fenn", "________________", "born 5/3/1950"),
        "CONFIDENTIALITY NOTICE: intended recipient, confidential, delete it " + "x " * 40,
    ]
)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(st.builds(Line, _SHAPES, st.integers(0, 2), st.booleans()), max_size=30),
    st.sampled_from(["", "Re: x", "Fwd: x"]),
)
def test_no_word_is_lost_or_told_twice(lines: list[Line], subject: str) -> None:
    parts = labelled(lines, subject=subject)
    assert " ".join(part.text for part in parts).split() == " ".join(line.text for line in lines).split()
    assert all(part.text.strip() for part in parts)
