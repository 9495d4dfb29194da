"""Two versions of a text, told apart word by word."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from replacements.replies.differences import Piece, differences


def test_words_taken_out_and_put_in_stand_together_in_their_order() -> None:
    assert differences("We got your mail today.", "We read your mail.") == [
        Piece("same", "We "),
        Piece("out", "got"),
        Piece("in", "read"),
        Piece("same", " your "),
        Piece("out", "mail today."),
        Piece("in", "mail."),
    ]


def test_a_tag_is_one_word() -> None:
    found = differences("On {{ mailing_day|full }}.", "On {{ mailing_day|short }}.")
    assert Piece("out", "{{ mailing_day|full }}") in found
    assert Piece("in", "{{ mailing_day|short }}") in found


def test_what_is_the_same_is_one_piece() -> None:
    assert differences("a b", "a b") == [Piece("same", "a b")]
    assert differences("", "") == []


@given(st.text(alphabet="ab {}%\n", max_size=60), st.text(alphabet="ab {}%\n", max_size=60))
def test_the_pieces_make_up_both_texts(old: str, new: str) -> None:
    pieces = differences(old, new)
    assert "".join(p.text for p in pieces if p.kind != "in") == old
    assert "".join(p.text for p in pieces if p.kind != "out") == new
