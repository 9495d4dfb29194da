"""A letter whose body is empty: what its subject asks is heard; a picture alone goes to a person."""

from __future__ import annotations

from tests.requests.conftest import OfficeAtWork


def _raw(subject: str, parts: str) -> bytes:
    return (
        "Authentication-Results: mx.saltgrass.example; dmarc=pass header.from=post.example\n"
        "From: Ada Quillfeather <ada.q@post.example>\nTo: ballots@saltgrass.example\n"
        f"Subject: {subject}\nDate: Mon, 05 Oct 2026 09:00:00 -0400\nMessage-ID: <empty@post.example>\n"
        f"MIME-Version: 1.0\n{parts}"
    ).encode()


PICTURE = (
    "Content-Type: multipart/mixed; boundary=b\n\n--b\nContent-Type: text/plain\n\n\n"
    '--b\nContent-Type: image/jpeg; name="{}"\nContent-Transfer-Encoding: base64\n\n/9j/4AAQ\n--b--\n'
)


def test_a_request_in_the_subject_alone_is_heard(on_sqlite: OfficeAtWork) -> None:
    raw = _raw("I spilled tea on my ballot, please send me another one", "Content-Type: text/plain\n\n\n")
    (request,) = on_sqlite.receive_raw(raw)
    assert "spoiled_ballot" in request.kinds
    assert request.state == "waiting"


def test_a_request_in_the_subject_of_a_page_without_words_is_heard(on_sqlite: OfficeAtWork) -> None:
    raw = _raw("My ballot never came, please send it again", "Content-Type: text/html\n\n<div><br></div>")
    (request,) = on_sqlite.receive_raw(raw)
    assert "not_received" in request.kinds


def test_a_picture_without_any_word_goes_to_a_person(on_sqlite: OfficeAtWork) -> None:
    for name in ("IMG_0042.jpg", "spoiled ballot need a new one.jpg"):
        (request,) = on_sqlite.receive_raw(_raw("", PICTURE.format(name)))
        assert request.state == "waiting"
        assert request.proposal != "reissue"
        assert request.proposal != "drop"
