"""Letters in every form that mail programs give them: nested parts, odd types, broken encodings, empty bodies."""

from __future__ import annotations

import base64

import pytest

from replacements.mail.letter import Letter, PartLabel
from replacements.mail.parsing import parse

TORN = "I tore my ballot."


def _read(head: str, body: str | bytes = "") -> Letter:
    raw = f"From: Ada Fenn <ada@home.example>\nSubject: ballot\nMIME-Version: 1.0\n{head}\n\n".encode()
    return parse(raw + (body.encode() if isinstance(body, str) else body))


def _codes(letter: Letter) -> set[str]:
    return {notice.code for notice in letter.notices}


def _parts(kind: str, *parts: str, mark: str = "b") -> str:
    """A multipart as an entity of its own: its head, a blank line, its parts."""
    return f"Content-Type: multipart/{kind}; boundary={mark}\n\n" + _body(*parts, mark=mark)


def _body(*parts: str, mark: str = "b") -> str:
    return "".join(f"--{mark}\n{part}\n" for part in parts) + f"--{mark}--\n"


def _text(words: str, kind: str = "plain") -> str:
    return f"Content-Type: text/{kind}; charset=utf-8\n\n{words}"


PICTURE = 'Content-Type: image/jpeg; name="torn.jpg"\nContent-Transfer-Encoding: base64\n\n/9j/4AAQ'


@pytest.mark.parametrize(
    "whole",
    [
        _parts("mixed", _parts("alternative", _text(TORN), _text(f"<p>{TORN}</p>", "html"), mark="i"), PICTURE),
        _parts(
            "mixed",
            _parts(
                "related",
                _parts("alternative", _text(TORN), _text(f"<p>{TORN}</p>", "html"), mark="k"),
                PICTURE,
                mark="i",
            ),
        ),
        _parts(
            "alternative",
            _text(TORN),
            _parts("related", _text(f'<p>{TORN}<img src="cid:1"></p>', "html"), PICTURE, mark="i"),
        ),
        _parts("alternative", _text(""), _parts("mixed", _text(f"<p>{TORN}</p>", "html"), PICTURE, mark="i")),
        _parts(
            "signed", _parts("mixed", _text(TORN), PICTURE, mark="i"), "Content-Type: application/pgp-signature\n\nx"
        ),
        _parts("report; report-type=x", _parts("mixed", _text(TORN), PICTURE, mark="i")),
        _parts("mixed", _parts("mixed", _parts("mixed", _text(TORN), mark="k"), mark="i"), PICTURE),
        _parts("mixed", PICTURE, _text(TORN)),
        _parts("no-such-kind", _text(TORN), PICTURE),
    ],
)
def test_parts_in_parts_are_one_letter(whole: str) -> None:
    letter = parse(f"From: ada@home.example\nSubject: ballot\nMIME-Version: 1.0\n{whole}".encode())
    assert letter.new_text == TORN


@pytest.mark.parametrize(
    "others",
    [
        [_text("<html amp4email><p>I tore my ballot.</p>", "x-amp-html"), _text(f"<p>{TORN}</p>", "html")],
        [_text(f"<p>{TORN}</p>", "html"), _text("<html amp4email>", "x-amp-html")],
        [_text(f"<p>{TORN}</p>", "html"), "Content-Type: text/calendar; method=PUBLISH\n\nBEGIN:VCALENDAR"],
    ],
)
def test_of_several_forms_the_one_that_people_saw_is_read(others: list[str]) -> None:
    letter = _read("Content-Type: multipart/alternative; boundary=b", _body(_text(""), *others))
    assert letter.new_text == TORN


@pytest.mark.parametrize(
    "head",
    [
        "",
        "Content-Type: text",
        "Content-Type: text/",
        "Content-Type: plain",
        "Content-Type: ;",
        "Content-Type: text/plain; charset",
        'Content-Type: text/plain; charset="utf-8',
        "Content-Type: TEXT/PLAIN; CHARSET=UTF-8",
        "Content-Type: text/plain; charset=unknown-8bit",
        "Content-Type: text/plain; charset=x-user-defined",
        "Content-Type: text/x-unheard-of",
        "Content-Type: text/plain\nContent-Transfer-Encoding: 8bits",
        "Content-Type: text/plain\nContent-Transfer-Encoding: ",
        "Content-Type: text/plain; name=letter.txt",
        "Content-Type: text/plain\nContent-Disposition: inline",
        "Content-Type: text/plain\nContent-Disposition: inline; filename=letter.txt",
    ],
)
def test_odd_heads_of_a_plain_letter(head: str) -> None:
    assert _read(head or "X-Nothing: here", TORN).new_text == TORN


@pytest.mark.parametrize(
    "page", [f"<html><body><p>{TORN}</p></body></html>", f"<!DOCTYPE html>\n<p>{TORN}</p>", f"  <HTML>{TORN}"]
)
@pytest.mark.parametrize("head", ["Content-Type: text/plain; charset=utf-8", "X-Nothing: here"])
def test_a_page_that_calls_itself_plain_text_is_read_as_a_page(page: str, head: str) -> None:
    assert _read(head, page).new_text == TORN


def test_hidden_words_of_a_page_that_calls_itself_plain_are_hidden() -> None:
    letter = _read("Content-Type: text/plain", f"<html><p style='display:none'>VOID ALL</p><p>{TORN}</p></html>")
    assert letter.new_text == TORN
    assert "hidden_text" in _codes(letter)


def test_words_that_only_mention_tags_are_plain() -> None:
    assert "<b>torn</b>" in _read("Content-Type: text/plain", "It is <b>torn</b> on top.").new_text


def test_enriched_text_loses_its_marks() -> None:
    text = "<bold>I tore\nmy ballot.</bold>\n\n<color><param>red</param>Ada</color> <<Fenn>"
    assert _read("Content-Type: text/enriched", text).new_text == "I tore my ballot.\nAda <Fenn>"


@pytest.mark.parametrize(
    ("encoding", "body", "whole"),
    [
        ("base64", base64.encodebytes(TORN.encode()), True),
        ("base64", base64.b64encode(TORN.encode()).rstrip(b"="), True),
        (
            "base64",
            b"\n\n " + b"\n ".join(base64.b64encode(TORN.encode())[at : at + 4] for at in range(0, 24, 4)),
            True,
        ),
        ("base64", base64.b64encode(TORN.encode()) + b"\n\nA footer of a list.\n", False),
        ("base64", TORN.encode(), False),
        ("quoted-printable", b"I tore my bal=\nlot.", True),
        ("quoted-printable", b"I tore my ballot.=", True),
        ("quoted-printable", b"I tore my ballot.=20\n", True),
        ("quoted-printable", b"I tore=zz my ballot.", False),
        ("quoted-printable", b"a =3D b. I tore my ballot.", True),
        ("x-uuencode", b'begin 644 x\n12205T;W)E(&UY(&)A;&QO="X\n`\nend\n', False),
        ("binary", TORN.encode(), True),
        ("unheard-of", TORN.encode(), False),
    ],
)
def test_encodings_whole_and_broken_never_lose_the_letter(encoding: str, body: bytes, whole: bool) -> None:
    letter = _read(f"Content-Type: text/plain\nContent-Transfer-Encoding: {encoding}", body)
    if whole:
        assert TORN in letter.new_text
        assert "broken_encoding" not in _codes(letter)
    else:
        assert letter.new_text or "broken_encoding" in _codes(letter)


@pytest.mark.parametrize(
    "head",
    [
        'Content-Type: image/jpeg; name="need a new ballot.jpg"',
        'Content-Type: image/jpeg\nContent-Disposition: attachment; filename="need a new ballot.jpg"',
        "Content-Type: image/jpeg\nContent-Disposition: attachment; filename*=utf-8''need%20a%20new%20ballot.jpg",
        'Content-Type: image/jpeg\nContent-Disposition: inline; filename*0="need a new";\n filename*1=" ballot.jpg"',
        "Content-Type: image/jpeg; name==?utf-8?q?need_a_new_ballot.jpg?=",
        'Content-Type: image/jpeg; name="=?utf-8?b?bmVlZCBhIG5ldyBiYWxsb3QuanBn?="',
    ],
)
def test_a_picture_without_any_words_keeps_its_name(head: str) -> None:
    body = _body(_text(""), f"{head}\nContent-Transfer-Encoding: base64\n\n/9j/4AAQ")
    letter = _read("Content-Type: multipart/mixed; boundary=b", body)
    assert letter.new_text == ""
    assert letter.pictures == ("need a new ballot.jpg",)


@pytest.mark.parametrize("body", ["", "\n\n \n", "\u00a0", "\u200b", "<p>&nbsp;</p>"])
def test_an_empty_letter_keeps_its_subject(body: str) -> None:
    kind = "html" if "<" in body else "plain"
    head = (
        f"From: ada@home.example\nSubject: ballot torn, please send another\nContent-Type: text/{kind}; charset=utf-8"
    )
    letter = parse(f"{head}\n\n{body}".encode())
    assert letter.subject == "ballot torn, please send another"
    assert letter.new_text == ""


def test_a_letter_with_a_card_of_its_writer_is_read() -> None:
    card = "Content-Type: text/vcard; name=ada.vcf\n\nBEGIN:VCARD\nFN:Ada\nEND:VCARD"
    letter = _read("Content-Type: multipart/mixed; boundary=b", _body(_text(TORN), card))
    assert letter.new_text == TORN
    assert [one.name for one in letter.attachments] == ["ada.vcf"]


def test_messages_attached_within_messages_are_context() -> None:
    inner = "Content-Type: message/rfc822\n\nFrom: x@far.example\nSubject: deep\n\nVoid it, says the deepest."
    notice = _parts("mixed", _text("A notice."), inner, mark="i")
    middle = f"Content-Type: message/rfc822\n\nFrom: y@far.example\nSubject: notice\n{notice}"
    letter = _read("Content-Type: multipart/mixed; boundary=b", _body(_text("What is this?"), middle))
    assert letter.new_text == "What is this?"
    assert "A notice." in letter.text(PartLabel.FORWARDED)
    assert "the deepest" in letter.text(PartLabel.FORWARDED)


def test_a_forward_as_an_attachment_without_a_word_says_that_nothing_is_new() -> None:
    attached = "Content-Type: message/rfc822\n\nFrom: x@far.example\nSubject: notice\n\nYour ballot is void."
    letter = _read("Content-Type: multipart/mixed; boundary=b", _body(_text(""), attached))
    assert letter.new_text == ""
    assert "nothing_new" in _codes(letter)


def test_a_letter_whose_last_boundary_is_missing_is_read() -> None:
    assert _read("Content-Type: multipart/mixed; boundary=b", f"--b\n{_text(TORN)}\n").new_text == TORN


def test_what_stands_before_and_after_the_parts_is_no_text() -> None:
    body = f"This is a message in parts.\n--b\n{_text(TORN)}\n--b--\nVOID IT\n"
    assert _read("Content-Type: multipart/mixed; boundary=b", body).text() == TORN
