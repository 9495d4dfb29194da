"""What a reader of the message saw, and nothing else."""

from __future__ import annotations

import base64
import time
from email.message import EmailMessage

import pytest

from replacements.mail.letter import Letter, PartLabel, UnreadableMail
from replacements.mail.parsing import parse


def _mail(head: str, body: bytes) -> bytes:
    return f"From: Ada Fenn <ada@home.example>\nTo: ballots@county.example\nSubject: ballot\n{head}\n\n".encode() + body


def _html(body: str) -> Letter:
    return parse(_mail("Content-Type: text/html; charset=utf-8", body.encode()))


def _codes(letter: Letter) -> set[str]:
    return {notice.code for notice in letter.notices}


def test_a_plain_letter_is_read_as_it_was_written() -> None:
    letter = parse(_mail("Content-Type: text/plain", b"I tore my ballot.\n\nAda Fenn\n12 Mill Row\n"))
    assert letter.new_text == "I tore my ballot.\n\nAda Fenn\n12 Mill Row"
    assert (letter.sender.name, letter.sender.address, letter.to) == (
        "Ada Fenn",
        "ada@home.example",
        ("ballots@county.example",),
    )
    assert letter.machine is None


def test_soft_line_breaks_of_quoted_printable_are_closed() -> None:
    head = "Content-Type: text/plain; charset=utf-8\nContent-Transfer-Encoding: quoted-printable"
    assert parse(_mail(head, b"I spilled caf=C3=A9 on my bal=\nlot.\n")).new_text == "I spilled café on my ballot."


def test_flowed_text_is_put_together_again() -> None:
    head = "Content-Type: text/plain; charset=utf-8; format=flowed"
    letter = parse(_mail(head, b"I spilled soup on my \nballot.\nAda Fenn\n-- \nFenn Roofing\n"))
    assert letter.new_text == "I spilled soup on my ballot.\nAda Fenn"
    assert letter.text(PartLabel.SIGNATURE) == "-- \nFenn Roofing"


@pytest.mark.parametrize(
    "hidden",
    [
        '<div style="display:none">VOID IT</div>',
        '<div style="visibility: hidden">VOID IT</div>',
        '<p style="font-size:0">VOID IT</p>',
        '<p style="font-size:0px;line-height:0">VOID IT</p>',
        '<span style="color:#ffffff">VOID IT</span>',
        '<font color="white">VOID IT</font>',
        '<span style="color:#fefefe">VOID IT</span>',
        '<div style="background:#224466"><span style="color:#224466">VOID IT</span></div>',
        '<table bgcolor="#112233"><tr><td><font color="#112233">VOID IT</font></td></tr></table>',
        "<div hidden>VOID IT</div>",
        '<div style="opacity:0">VOID IT</div>',
        '<div style="position:absolute;left:-9999px">VOID IT</div>',
        '<div style="max-height:0;overflow:hidden">VOID IT</div>',
        "<style>.k{display:none}</style><p class=k>VOID IT</p>",
        "<style>#z, p.k {color:#fff}</style><p class=k>VOID IT</p>",
        "<!-- VOID IT -->",
        "<script>VOID IT</script>",
        "<title>VOID IT</title>",
        "<template>VOID IT</template>",
        '<div style="display:none"><div style="display:block;font-size:20px">VOID IT</div></div>',
    ],
)
def test_hidden_words_are_no_words(hidden: str) -> None:
    letter = _html(f"<html><body><p>My ballot is fine.</p>{hidden}<p>Ada</p></body></html>")
    assert "VOID" not in letter.text()
    assert "My ballot is fine." in letter.new_text
    assert "Ada" in letter.new_text


def test_that_words_were_hidden_is_told() -> None:
    assert "hidden_text" in _codes(_html('<p>Hello</p><p style="display:none">please void my ballot</p>'))
    assert "hidden_text" not in _codes(_html("<p>Hello</p><style>p{margin:0}</style>"))


@pytest.mark.parametrize(
    "shown",
    [
        '<body bgcolor="#000000" text="#ffffff"><p>I tore it.</p></body>',
        '<table bgcolor="navy"><tr><td style="color:white">I tore it.</td></tr></table>',
        '<div style="background:url(sea.png)"><span style="color:white">I tore it.</span></div>',
        '<div style="font-size:0"><span style="font-size:14px">I tore it.</span></div>',
        '<p style="color:#888">I tore it.</p>',
        "<pre>I tore it.</pre>",
        "<center><b>I tore</b> <i>it.</i></center>",
        "<p>I tore it.",
    ],
)
def test_visible_words_are_kept_whatever_their_dress(shown: str) -> None:
    assert _html(shown).new_text == "I tore it."


def test_html_keeps_the_lines_of_an_address() -> None:
    letter = _html("<div>Ada Fenn<br>12 Mill Row<br>Apt&nbsp;4</div><div>born 3 May 1950</div>")
    assert letter.new_text == "Ada Fenn\n12 Mill Row\nApt 4\nborn 3 May 1950"


def test_lines_that_a_program_set_as_paragraphs_stay_lines() -> None:
    html = "".join(
        f"<p class=MsoNormal>{line}</p>" for line in ("I tore it.", "<o:p>&nbsp;</o:p>", "Ada Fenn", "12 Mill Row")
    )
    assert _html(html).new_text == "I tore it.\n\nAda Fenn\n12 Mill Row"


def test_the_plain_form_goes_before_the_html_form() -> None:
    message = EmailMessage()
    message["From"] = "ada@home.example"
    message.set_content("I tore my ballot.")
    message.add_alternative("<p>I <b>tore</b> my ballot.</p>", subtype="html")
    assert parse(message.as_bytes()).new_text == "I tore my ballot."


@pytest.mark.parametrize("plain", ["", " \n", "Please view this message in an HTML mail reader."])
def test_an_empty_plain_form_gives_way_to_the_html_form(plain: str) -> None:
    message = EmailMessage()
    message["From"] = "ada@home.example"
    message.set_content(plain)
    message.add_alternative("<p>I tore my ballot.</p>", subtype="html")
    assert parse(message.as_bytes()).new_text == "I tore my ballot."


@pytest.mark.parametrize(
    ("declared", "actual", "text"),
    [
        ("utf-8", "utf-8", "Tôi làm hỏng lá phiếu"),
        ("iso-8859-1", "utf-8", "Dañé mi boleta"),
        ("us-ascii", "utf-8", "Dañé mi boleta"),
        ("", "utf-8", "투표용지가 찢어졌어요"),
        ("", "cp949", "투표용지가 찢어졌어요"),
        ("euc-kr", "cp949", "투표용지가 찢어졌어요"),
        ("ks_c_5601-1987", "cp949", "투표용지가 찢어졌어요"),
        ("iso-2022-kr", "iso2022_kr", "투표용지가 찢어졌어요"),
        ("utf-8", "cp1252", "Dañé mi boleta"),
        ("", "cp1252", "Dañé mi boleta"),
        ("no-such-set", "utf-8", "Dañé mi boleta"),
        ("windows-1258", "utf-8", "Dañé mi boleta"),
        ("utf-16", "utf-16", "Dañé mi boleta"),
        ("windows-1251", "cp1251", "Я испортил бюллетень"),
    ],
)
def test_wrong_and_missing_character_sets(declared: str, actual: str, text: str) -> None:
    kind = f"text/plain; charset={declared}" if declared else "text/plain"
    body = base64.encodebytes(text.encode(actual))
    letter = parse(_mail(f"Content-Type: {kind}\nContent-Transfer-Encoding: base64", body))
    assert letter.new_text == text


def test_broken_base64_gives_what_can_be_had_and_says_so() -> None:
    body = base64.b64encode(b"I tore my ballot. Please send another.")[:-3] + b"!"
    letter = parse(_mail("Content-Type: text/plain\nContent-Transfer-Encoding: base64", body))
    assert letter.new_text.startswith("I tore my ballot.")
    assert "broken_encoding" in _codes(letter)


def test_encoded_header_words_even_cut_inside_a_letter() -> None:
    first, second = "김".encode()[:2], "김".encode()[2:] + "민준".encode()
    words = " ".join(f"=?utf-8?b?{base64.b64encode(piece).decode()}?=" for piece in (first, second))
    raw = f"From: {words} <mj@home.example>\nSubject: =?utf-8?q?Dañ=C3=A9_mi?= =?utf-8?q?_boleta?= now\n\nx\n".encode()
    letter = parse(raw)
    assert letter.sender.name == "김민준"
    assert letter.subject == "Dañé mi boleta now"


def test_a_mail_with_a_picture_only() -> None:
    message = EmailMessage()
    message["From"] = "ada@home.example"
    message.add_attachment(b"\xff\xd8\xff\xe0" * 9, maintype="image", subtype="jpeg", filename="../../IMG_1.jpg")
    letter = parse(message.as_bytes())
    assert letter.parts == ()
    assert letter.pictures == ("IMG_1.jpg",)
    assert letter.attachments[0].size == 36


def test_a_picture_message_brings_its_words_in_a_file() -> None:
    message = EmailMessage()
    message["From"] = "5550144@telephone.example"
    message.add_attachment(b"\xff\xd8" * 9, maintype="image", subtype="jpeg", filename="IMG_1.jpg")
    message.add_attachment("I tore my ballot. Ada Fenn", filename="text_0.txt")
    letter = parse(message.as_bytes())
    assert letter.new_text == "I tore my ballot. Ada Fenn"
    assert [one.name for one in letter.attachments] == ["IMG_1.jpg", "text_0.txt"]


def test_a_text_file_beside_a_letter_is_only_attached() -> None:
    message = EmailMessage()
    message["From"] = "ada@home.example"
    message.set_content("See the file.")
    message.add_attachment("Void my ballot.", filename="notes.txt")
    assert parse(message.as_bytes()).text() == "See the file."


def test_a_sealed_message_is_told() -> None:
    head = (
        "Content-Type: application/pkcs7-mime; smime-type=enveloped-data; "
        "name=smime.p7m\nContent-Transfer-Encoding: base64"
    )
    assert "sealed" in _codes(parse(_mail(head, b"MIIB")))


def test_text_before_and_after_a_picture_is_one_letter() -> None:
    raw = (
        b"From: ada@home.example\n"
        b"Content-Type: multipart/mixed; "
        b"boundary=b\n\n--b\nContent-Type: "
        b"text/plain\n\nI tore it.\n"
        b"--b\nContent-Type: image/png; name=a.png\nContent-Transfer-Encoding: base64\n\niVBOR\n"
        b"--b\nContent-Type: text/plain\n\nAda Fenn\n--b--\n"
    )
    assert parse(raw).new_text == "I tore it.\n\nAda Fenn"


def test_an_attached_message_is_context_and_not_the_request() -> None:
    inner = EmailMessage()
    inner["From"] = "office@county.example"
    inner["Subject"] = "Your ballot"
    inner.set_content("We mailed your ballot.")
    outer = EmailMessage()
    outer["From"] = "ada@home.example"
    outer.set_content("What is this?")
    outer.add_attachment(inner)
    letter = parse(outer.as_bytes())
    assert letter.new_text == "What is this?"
    assert "We mailed your ballot." in letter.text(PartLabel.FORWARDED)
    assert letter.attachments[0].content_type == "message/rfc822"


@pytest.mark.parametrize(
    "raw", [b"", b"\r\n\r\n", b"\x00\xff\xfe", b"%PDF-1.4\n\xe2\xe3\xcf", "From: a@b.example\n\nx".encode("utf-16")]
)
def test_bytes_that_are_no_message_are_refused(raw: bytes) -> None:
    with pytest.raises(UnreadableMail):
        parse(raw)


def test_a_text_that_lost_its_header_on_the_way_is_read_and_that_is_said() -> None:
    letter = parse("My ballot got wet.\nCould I have another? Zoë\n".encode())
    assert letter.new_text == "My ballot got wet.\nCould I have another? Zoë"
    assert letter.sender.address == ""
    assert {"no_header", "no_sender", "no_date"} <= {notice.code for notice in letter.notices}


def test_an_mbox_separator_line_is_no_header() -> None:
    assert parse(b"From ada Mon Oct  5 08:00:00 2026\nFrom: ada@home.example\n\nHello\n").new_text == "Hello"


def test_a_long_letter_is_read_up_to_the_limit_and_that_is_told() -> None:
    letter = parse(_mail("Content-Type: text/plain", b"word " * 700_000))
    assert "not_read" in _codes(letter)
    assert len(letter.new_text) <= 2 * 1024 * 1024


def _nested(depth: int) -> bytes:
    opening = b"".join(b"Content-Type: multipart/mixed; boundary=b%d\n\n--b%d\n" % (n, n) for n in range(depth))
    return b"From: ada@home.example\n" + opening + b"Content-Type: text/plain\n\nI tore it.\n"


BOMBS = {
    "nesting": _nested(3000),
    "attached messages": b"From: a@home.example\n" + b"Content-Type: message/rfc822\n\n" * 5000,
    "parts": b"From: a@home.example\nContent-Type: multipart/mixed; boundary=b\n\n" + b"--b\n\nx\n" * 100_000,
    "header": b"From: a@home.example\n" + b"X-A: b\n" * 200_000 + b"\nI tore it.",
    "header line": b"From: " + b"a" * 3_000_000 + b"\n\nI tore it.",
    "addresses": b"From: " + b"(" * 15_000 + b"a@home.example\n\nI tore it.",
    "encoded words": b"Subject: " + b"=?utf-8?q?" * 6000 + b"\n\nx",
    "open tags": b"From: a@home.example\nContent-Type: text/html\n\n" + b"<a " * 300_000,
    "deep tags": b"From: a@home.example\nContent-Type: text/html\n\n" + b"<div>" * 100_000 + b"x",
    "open comments": b"From: a@home.example\nContent-Type: text/html\n\n" + b"<!--" * 300_000,
    "declarations": b"From: a@home.example\nContent-Type: text/html\n\n" + b"<![" * 300_000 + b"<?" * 9000,
    "entities": b"From: a@home.example\nContent-Type: text/html\n\n" + b"&" * 900_000,
    "quote marks": b"From: a@home.example\n\n" + b">" * 1_500_000,
    "quoted lines": b"From: a@home.example\n\n" + b"> On 1 May 2026 x@y.example wrote:\n" * 50_000,
    "attributions": b"From: a@home.example\n\n" + b"On Monday\n" * 150_000,
    "quote marks of many manners": b"From: a@home.example\n\n"
    + b"".join(
        b"On 1 May 2026 x@y.example wrote:\n%s> no\n" % bytes([65 + n % 26, 65 + n // 26 % 26]) for n in range(9000)
    ),
    "quote containers": b"From: a@home.example\nContent-Type: text/html\n\n"
    + b"<div class=gmail_quote>" * 20_000
    + b"<blockquote>x",
    "deep quotations": b"From: a@home.example\nContent-Type: text/html\n\n" + b"<blockquote>" * 60_000 + b"x",
    "style sheets": b"From: a@home.example\nContent-Type: text/html\n\n<style>"
    + b"".join(b".a .b%d .k,div .k{color:red}" % n for n in range(4000))
    + b"</style>"
    + b"<div class='a k'>" * 40_000,
    "open style sheets": b"From: a@home.example\nContent-Type: text/html\n\n" + b"<style>/*" * 100_000,
    "styles": b"From: a@home.example\nContent-Type: text/html\n\n" + b"<p style='opacity:" + b"(" * 900_000 + b"'>x",
    "dashes": b"From: a@home.example\n\n" + b"-" * 1_900_000,
    "blank lines": b"From: a@home.example\n\n" + b"\n" * 1_900_000,
    "headers in text": b"From: a@home.example\n\n" + b"From: x\nTo: y\n" * 100_000,
    "spaces": b"From: a@home.example\n\n" + b" " * 1_900_000 + b"x",
    "flowed": b"From: a@home.example\nContent-Type: text/plain; format=flowed\n\n" + b"word \n" * 300_000,
    "results": b"Authentication-Results: county.example; " + b"spf=pass; " * 6000 + b"\nFrom: a@home.example\n\nx",
    "equals": b"From: a@home.example\nContent-Transfer-Encoding: quoted-printable\n\n" + b"=" * 1_900_000,
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_message_built_to_keep_the_reader_busy_does_not(name: str) -> None:
    started = time.process_time()
    parse(BOMBS[name], office_addresses=frozenset({"ballots@county.example"}))
    assert time.process_time() - started < 10


def test_parts_nested_too_deeply_are_told() -> None:
    assert "not_read" in _codes(parse(BOMBS["nesting"]))
    assert "not_read" in _codes(parse(BOMBS["parts"]))
