"""Characters that a mail can spell and a database cannot hold never leave the mail room."""

from __future__ import annotations

import pytest

from replacements.mail.parsing import parse


@pytest.mark.parametrize(
    "raw",
    [
        b"From: a@post.example\nMessage-ID: <x\x00y@post.example>\nReferences: <\x00@b> <\x01r@b> \x00z@b\n\nhello",
        b"From: =?utf-7?q?+2AA-?= <a@post.example>\nSubject: =?utf-7?q?+2AA-?=\n"
        b"Content-Type: text/plain; charset=utf-7\n\n+2AA- +AAA-",
        b"From: =?utf-8?q?=00Ada?= <a@post.example>\nSubject: =?utf-8?q?=00?=\n\n\x00",
        b"From: a@post.example\nContent-Type: text/html\n\n&#0; &#xd800; &#55296;",
    ],
)
def test_no_nul_and_no_half_character_is_left(raw: bytes) -> None:
    letter = parse(raw)
    texts = [letter.message_id, letter.subject, letter.sender.name, *letter.references, *(p.text for p in letter.parts)]
    for text in texts:
        assert "\0" not in text
        text.encode("utf-8")
