"""In which language a voter writes, where one statement ends, and that every cue file can be read."""

from __future__ import annotations

import random
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replacements.reading import cue_files
from replacements.reading.folding import fold
from replacements.reading.language import language_of
from replacements.reading.sentences import sentences


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("I spoiled my ballot and need another one.", "en"),
        ("se me mojo la boleta y necesito otra por favor", "es"),
        ("toi lam hong la phieu, xin gui cho toi la khac", "vi"),
        ("Tôi chưa nhận được phiếu bầu.", "vi"),
        ("투표용지를 잘못 표시했습니다.", "ko"),
        ("我填错了选票，请再寄一张。", "zh"),
        ("Bonjour, je n'ai pas encore reçu mon bulletin de vote, pouvez-vous m'aider ?", "fr"),
        ("Я испортил свой бюллетень, пришлите новый, пожалуйста.", "ru"),
        ("ok", "en"),
        ("", "en"),
        ("Nguyễn Thị Hoa, 12 Main St. My ballot is torn and I need a new one.", "en"),
        ("My name is Guadalupe de la Rosa and my ballot never came to Calle Nogal.", "en"),
        ("최민준 (Min-jun Choi): my ballot was torn, please send me another one.", "en"),
    ],
)
def test_the_language_is_that_of_the_words_not_of_the_names(text: str, code: str) -> None:
    assert language_of(text)[0] == code


def test_short_forms_in_addresses_and_titles_end_no_sentence() -> None:
    text = "I live at 12 E. Mill St. Larkspur with Mrs. Doe. My ballot is torn."
    assert [s.text for s in sentences(text)][-1] == "My ballot is torn."
    assert len(sentences(text)) == 2


def test_a_wrapped_line_runs_on_and_a_list_item_does_not() -> None:
    wrapped = "This is a long line that the mail program broke because it was\ntoo long for it."
    assert len(sentences(wrapped)) == 1
    assert len(sentences("Please send ballots to:\n1. Ann\n2. Bob")) == 3


def test_a_sentence_knows_its_place() -> None:
    text = "  Hello!  It tore.\n\nBye。 다음"
    assert all(text[s.start : s.end] == s.text for s in sentences(text))
    assert len(sentences(text)) == 4


def test_marks_written_apart_lead_back_to_the_text_as_written() -> None:
    text = "boleta da\u0301n\u0303ada ya"
    folded = fold(text)
    assert folded.text == "boleta danada ya"
    start = folded.text.index("danada")
    begin, end = folded.span(start, start + 6)
    assert text[begin:end] == "da\u0301n\u0303ada"


def test_every_cue_of_every_language_can_be_read() -> None:
    assert {"en", "es", "ko", "vi"} <= set(cue_files.languages())
    cue_files.compile_all()


_VARIANTS = 6
CUES = [(file, cue) for file in map(cue_files.cue_file, ("en", "es", "ko", "vi")) for cue in file.cues]


def test_what_a_cue_needs_is_long_enough_to_be_rare() -> None:
    for _, cue in CUES:
        assert all(len(word) >= 2 for these in (cue.needs, *cue.besides) for word in these)


def _said(tree: Any, chance: random.Random) -> str:
    """A text that a parsed pattern matches, but for what stands around it."""
    said = ""
    for what, value in tree:
        name = str(what)
        if name == "LITERAL":
            said += chr(value)
        elif name == "NOT_LITERAL" or name == "ANY":
            said += "x"
        elif name == "IN":
            kind, one = chance.choice(value) if str(value[0][0]) != "NEGATE" else ("OTHER", "x")
            said += {"LITERAL": chr, "RANGE": lambda ends: chr(ends[0])}.get(str(kind), lambda _: "x")(one)
        elif name == "BRANCH":
            said += _said(chance.choice(value[1]), chance)
        elif name == "SUBPATTERN":
            said += _said(value[3], chance)
        elif name == "ATOMIC_GROUP":
            said += _said(value, chance)
        elif name in ("MAX_REPEAT", "MIN_REPEAT"):
            least, most, inside = value
            said += "".join(_said(inside, chance) for _ in range(chance.randint(least, min(most, least + 1))))
    return said


def test_whatever_a_cue_can_match_is_found_by_the_words_that_it_needs() -> None:
    """Texts made from the cues' own patterns: the first look by single words must let every one of them through."""
    matched = 0
    for file, cue in CUES:
        tree = re._parser.parse(cue.pattern)  # type: ignore[attr-defined]
        for seed in range(_VARIANTS):
            text = _said(tree, random.Random(seed))
            found = {(cue.concept, span) for span in cue.spans(text)}
            matched += bool(found)
            assert not found or found & set(file.spans(text)), (cue.source, text)
    assert matched > 0.9 * _VARIANTS * len(CUES)


def test_a_cue_file_that_names_an_unknown_part_says_where() -> None:
    with pytest.raises(cue_files.CueFileError, match="there is no part 'nowhere'"):
        cue_files._fill("a {nowhere}", {}, "en.toml, want")


@given(st.text(alphabet=st.characters(), max_size=200))
def test_whatever_is_written_has_a_language_or_none_and_nothing_breaks(text: str) -> None:
    code, p = language_of(text)
    assert code
    assert 0 <= p <= 1
