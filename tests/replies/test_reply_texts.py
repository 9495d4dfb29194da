"""Every reviewed text: there, whole, plain, in the right language, and silent about what it must not tell."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest

from replacements.replies.sources import FOLDER, names, own
from replacements.replies.texts import IDENTITY_FACTS, PROPOSALS, TOPICS, NoText, ReplyFacts, render
from replacements.rules.office import Rules, parse_rules

LANGUAGES = ("en", "es", "vi", "ko")
FILE = (Path(__file__).parent / "quillhaven.toml").read_text(encoding="utf-8")
POSTMARKED = FILE.replace('"received"', '"postmarked"').replace(
    "return_by = 2026-11-03T19:30:00", "return_by = 2026-11-03T19:30:00\ngrace_until = 2026-11-07T17:00:00"
)
BARE = re.sub(r"(?s)\[\[drop_boxes\]\].*", "", FILE).replace('hours = "Monday to Friday, 8 am to 5 pm"\n', "")
NAMES = (*PROPOSALS, *(f"answer/{topic}" for topic in TOPICS))


def rules(text: str = FILE) -> Rules:
    return parse_rules(text)


def facts(text: str = FILE, **more: object) -> ReplyFacts:
    full = ReplyFacts(
        rules=rules(text),
        adopted=True,
        voter_name="Ottilie Marchbank",
        on_file=True,
        mailing_day=date(2026, 10, 15),
        chance=0.97,
        last_good_day=date(2026, 10, 23),
        ballot_number="70000018",
        old_ballot_number="41002233",
        missing=("birth_date", "address"),
        cause="spoiled",
        materials=("return envelope",),
        stopped=True,
    )
    return replace(full, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("text", [FILE, POSTMARKED, BARE, FILE + '[replacements]\noriginal = "suspend"\n'])
@pytest.mark.parametrize("adopted", [True, False])
def test_every_text_is_there_and_has_no_gap(name: str, language: str, text: str, adopted: bool) -> None:
    for stopped in (True, False, None):
        for on_file in (True, False):
            reply = render(name, language, facts(text, adopted=adopted, stopped=stopped, on_file=on_file))
            assert reply.language == language
            assert reply.template == name
            whole = reply.subject + reply.text + reply.html
            assert not re.search(
                r"\{[{%]|[%}]\}|None|Undefined|\(\)| ,|  |\.\.|<replacements",
                re.sub(r"(?s)<head>.*?</head>", "", whole),
            )
            assert "(555) 555-0142" in reply.text
            assert reply.text.strip().endswith("Quillhaven County Elections")


@pytest.mark.parametrize("language", LANGUAGES)
def test_until_the_rules_are_adopted_every_reply_says_so(language: str) -> None:
    for name in NAMES:
        adopted, waiting = (render(name, language, facts(adopted=yes)) for yes in (True, False))
        more = set(waiting.text.split("\n\n")) - set(adopted.text.split("\n\n"))
        assert len(more) == 1
        assert waiting.text.split("\n\n")[1] in more  # before anything else is said


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", NAMES)
def test_an_address_that_is_not_on_file_learns_nothing_from_the_record(name: str, language: str) -> None:
    known = facts(FILE.replace("[[drop", "[dates.overseas]\nlast_request_by_mail = 2026-10-30T16:00:00\n[[drop", 1))
    stranger = render(name, language, replace(known, on_file=False, overseas=True))
    empty = render(name, language, replace(known, on_file=False, voter_name="", ballot_number="", old_ballot_number=""))
    assert stranger == empty
    for fact in ("Ottilie", "Marchbank", "70000018", "41002233"):
        assert fact not in stranger.subject + stranger.text + stranger.html


def test_a_stranger_is_not_told_whether_the_ballot_is_back() -> None:
    for name in ("already_back", "no_ballot_out"):
        reply = render(name, "en", facts(on_file=False))
        assert "records show that" not in reply.text
        assert "Our records show no" not in reply.text
        assert "private" in reply.text


def test_the_question_for_details_asks_for_exactly_what_is_missing() -> None:
    words = {"name": "full name", "birth_date": "date of birth", "address": "home address", "voter_id": "voter number"}
    for fact in IDENTITY_FACTS:
        reply = render("ask_identity", "en", facts(missing=(fact,)))
        assert [f for f in IDENTITY_FACTS if words[f] in reply.text] == [fact]
        assert "Nothing has been changed" in reply.text


def test_a_voided_ballot_is_to_be_destroyed_and_the_day_of_the_mailing_is_told() -> None:
    reply = render("reissue", "en", facts())
    assert "Thursday, October 15, 2026" in reply.text
    assert "number 41002233, is void. Destroy it. Do not send it back" in reply.text
    assert "by 7:30 pm on Tuesday, November 3, 2026" in reply.text
    assert "October 23" in reply.text


def test_a_ballot_that_never_came_is_not_to_be_used_when_it_turns_up() -> None:
    assert "If it still turns up, do not use it" in render("reissue", "en", facts(cause="lost")).text


@pytest.mark.parametrize(
    ("language", "words"), [("en", "advise"), ("es", "aconsejamos"), ("vi", "quá chậm"), ("ko", "너무 늦을")]
)
def test_where_the_post_is_too_slow_the_reply_advises_to_come_in(language: str, words: str) -> None:
    assert words in render("reissue", language, facts(chance=0.5)).text
    assert words not in render("reissue", language, facts(chance=0.95)).text
    assert words not in render("reissue", language, facts(chance=None, last_good_day=None)).text


def test_an_office_that_suspends_does_not_speak_of_void() -> None:
    text = FILE + '[replacements]\noriginal = "suspend"\n'
    for name in ("reissue", "mailed", "stop_reissue"):
        assert "void" not in render(name, "en", facts(text, stopped=False)).text


def test_an_overseas_voter_on_file_reads_their_own_dates() -> None:
    text = FILE.replace("[[drop", "[dates.overseas]\nlast_request_by_mail = 2026-10-30T16:00:00\n[[drop", 1)
    assert "4 pm on Friday, October 30" in render("statement_first", "en", facts(text, overseas=True)).text
    assert "October 30" not in render("statement_first", "en", facts(text, overseas=True, on_file=False)).text


def test_several_questions_get_one_reply_with_a_paragraph_each() -> None:
    reply = render("answer", "en", facts(), topics=("witness", "postage", "witness"))
    assert reply.template == "answer/witness"
    assert reply.subject == "Answers to your questions"
    assert reply.text.count("no witness has to sign") == 1
    assert "Do you need a stamp?\n\nNo. The return mailer" in reply.text
    assert reply.text.count("Hello") == 1
    assert "<h2" in reply.html
    alone = render("answer", "en", facts(), topics=("witness",))
    assert alone.subject == "Does a witness have to sign?"


def test_what_is_sent_is_named_in_the_reply_s_language_and_as_on_the_paper() -> None:
    assert "- sobre de devolución (return envelope)" in render("send_materials", "es", facts()).text
    assert "- return envelope\n" in render("send_materials", "en", facts()).text
    assert "- blue card" in render("send_materials", "ko", facts(materials=("blue card",))).text


@pytest.mark.parametrize("language", ["fr", "so", "und", ""])
def test_a_language_without_texts_is_answered_in_english(language: str) -> None:
    assert render("mailed", language, facts()).language == "en"


def test_a_language_that_the_office_has_not_reviewed_is_answered_in_english() -> None:
    assert render("mailed", "ko", facts(FILE.replace('"vi", "ko"]', '"vi"]'))).language == "en"


@pytest.mark.parametrize("name", ["read", "drop", "answer", "answer/weather", "frame", "phrases", "../en/reissue"])
def test_where_a_person_must_write_there_is_no_text(name: str) -> None:
    with pytest.raises(NoText):
        render(name, "en", facts())


def test_nothing_in_a_fact_can_start_a_line_or_a_tag() -> None:
    reply = render("send_form", "en", facts(voter_name="A\r\nBcc: x@y.example\u202e", form="<b>{{ rules }}\n\nform"))
    assert "\nBcc" not in reply.text
    assert "\u202e" not in reply.text
    assert "\n" not in reply.subject
    assert "&lt;b&gt;{{ rules }} form" in reply.html


class _Elements(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_html_part_names_its_language_and_fetches_nothing(language: str) -> None:
    reader = _Elements()
    reply = render("reissue", language, facts())
    reader.feed(reply.html)
    elements = dict(reader.found)
    assert elements["html"]["lang"] == language
    assert {"title", "h1", "ol", "li", "main"} <= set(elements)
    assert not {"img", "script", "link", "iframe", "style"} & set(elements)
    assert not any({"src", "href"} & set(attributes) for _, attributes in reader.found)


def test_no_two_languages_share_a_text() -> None:
    for name in names():
        texts = [own(language, name) for language in LANGUAGES]
        assert None not in texts, name
        assert len({(text.subject, text.body) for text in texts if text}) == len(LANGUAGES), name


def test_no_file_of_a_text_is_left_unused() -> None:
    for language in LANGUAGES:
        files = {str(path.relative_to(FOLDER / language)) for path in (FOLDER / language).rglob("*.txt")}
        assert files == {f"{name}.txt" for name in names()}
