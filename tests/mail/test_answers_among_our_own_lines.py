"""Answers typed into the office's own quoted mail, where no program marks them: what is not ours is the writer's."""

from __future__ import annotations

import time

import pytest

from replacements.mail.answers import with_answers
from replacements.mail.letter import Letter, PartLabel
from replacements.mail.parsing import parse

SENT = """We got your mail. We want to be sure that we help the right person, so we need a little more.

Please reply to this mail and tell us:

- your full name, with middle name
- your date of birth (month, day and year)
- the home address where you are registered to vote

If you do not like to send this by mail, call us.

Saltgrass County Elections
ballots@county.example
"""
BLOCK = """________________________________
From: Saltgrass County Elections <ballots@county.example>
Sent: Monday, October 5, 2026 9:12 AM
To: Walt Pell
Subject: We need a little more from you

"""


def _letter(body: str, kind: str = "plain") -> Letter:
    head = "From: walt@home.example\nSubject: Re: We need a little more from you\n"
    letter = parse(f"{head}Content-Type: text/{kind}; charset=utf-8\n\n{body}".encode())
    return with_answers(letter, SENT)


def _filled(name: str = "", birth: str = "", home: str = "", tail: str = "") -> str:
    text = SENT.replace("middle name", f"middle name{name}").replace("year)", f"year){birth}")
    return text.replace("registered to vote", f"registered to vote{home}") + tail


@pytest.mark.parametrize("between", ["\n{}", " {}", "\n\n    {}\n", ": {}"])
def test_answers_below_and_behind_each_question_are_new(between: str) -> None:
    body = BLOCK + _filled(*(between.format(said) for said in ("Walter James Pell", "4/12/1958", "12 Mill Row")))
    letter = _letter(body)
    assert letter.new_text.split() == ["Walter", "James", "Pell", "4/12/1958", "12", "Mill", "Row"]
    assert "your date of birth" in letter.text(PartLabel.QUOTED)
    assert "your date of birth" not in letter.new_text


def test_answers_in_a_quotation_that_is_marked_line_by_line_are_new_too() -> None:
    filled = _filled(birth=" 4/12/1958")
    marked = "On Mon, Oct 5, 2026 at 9:12 AM County <ballots@county.example> wrote:\n\n"
    marked += "".join(f"> {line}\n" for line in filled.split("\n"))
    assert _letter(f"See below\n\n{marked}").new_text.split() == ["See", "below", "4/12/1958"]


def test_what_stands_below_the_end_of_our_mail_is_new() -> None:
    letter = _letter(BLOCK + _filled(tail="\nI was born 4/12/1958.\nWalt Pell\n\nSent from my phone\n"))
    assert letter.new_text == "I was born 4/12/1958.\nWalt Pell"
    assert letter.text(PartLabel.SIGNATURE) == "Sent from my phone"


def test_our_mail_quoted_whole_and_unchanged_holds_no_answer() -> None:
    letter = _letter(f"Walter Pell, 4/12/1958\n\n{BLOCK}{SENT}")
    assert letter.new_text == "Walter Pell, 4/12/1958"


def test_lines_that_a_program_broke_anew_hold_no_answer() -> None:
    words = SENT.split()
    broken = "\n".join(" ".join(words[at : at + 7]) for at in range(0, len(words), 7)).replace("- ", "  *  ")
    assert _letter(f"yes\n\n{BLOCK}{broken}").new_text == "yes"


def test_links_that_a_program_put_behind_an_address_are_no_answer() -> None:
    linked = SENT.replace("ballots@county.example", "ballots@county.example<mailto:ballots@county.example>")
    linked = linked.replace("call us.", "call us. <https://far.example/track>")
    assert _letter(f"yes\n\n{BLOCK}{linked}").new_text == "yes"


def test_another_mail_than_ours_is_left_as_it_is() -> None:
    other = "Dear Walt,\nyour parcel is late. We are sorry, and will tell you when it comes.\nVoid it.\nThe shop\n"
    letter = _letter(f"Is this yours?\n\n{BLOCK}{other}")
    assert letter.new_text == "Is this yours?"


def test_an_older_letter_below_ours_stays_quoted() -> None:
    older = "\nOn Sun, Oct 4, 2026 at 8:00 AM Walt Pell <walt@home.example> wrote:\n\nI tore my ballot, send another.\n"
    letter = _letter(f"4/12/1958\n\n{BLOCK}{SENT}{older}")
    assert letter.new_text == "4/12/1958"
    assert "I tore my ballot" in letter.text(PartLabel.QUOTED)


def test_a_page_quotes_the_same_words() -> None:
    lines = "".join(
        f"<p>{line}</p>" for line in _filled(birth=" <b>4/12/1958</b>").replace("- ", "").split("\n") if line
    )
    html = "<p>see below</p><hr><div><b>From:</b> County<br><b>Sent:</b> Monday 9:12 AM<br>"
    html += f"<b>To:</b> Walt<br><b>Subject:</b> more</div>{lines}"
    assert _letter(html, "html").new_text.split() == ["see", "below", "4/12/1958"]


def test_no_word_is_lost_by_telling_answers_apart() -> None:
    body = BLOCK + _filled(" Walter", " 4/12/1958", " 12 Mill Row", "\nWalt\n")
    before = parse(f"From: a@home.example\nSubject: Re: x\n\n{body}".encode())
    after = with_answers(before, SENT)
    assert after.text().split() == before.text().split()


@pytest.mark.parametrize(("sent", "quoted"), [("a the " * 400, "a the the " * 1000), ("the " * 800, "the " * 3000)])
def test_letters_built_to_keep_the_comparison_busy_are_let_alone(sent: str, quoted: str) -> None:
    letter = parse(f"From: a@home.example\nSubject: Re: x\n\n-----Original Message-----\n{quoted}".encode())
    started = time.process_time()
    assert with_answers(letter, sent) is letter
    assert time.process_time() - started < 1
