from __future__ import annotations

import pytest

from replacements.requests.masking import masked, names_in


@pytest.mark.parametrize(
    ("names", "written", "left"),
    [
        (["Ada Quillfeather"], "ada QUILLFEATHER, Canada, 3/7/58", "NAME NAME, Canada, #/#/##"),
        (["Nguyen Thi Huong"], "Tôi là Nguyễn Thị Hương", "Tôi là NAME NAME NAME"),
        (["Đặng"], "dang it, Dang", "NAME it, NAME"),
        (["김민준"], "저는 김민준입니다", "저는 NAME입니다"),
        (["O'Hara"], "O'Hara's ballot", "O'NAME's ballot"),
        (["A. Tern"], "A tern sat on a ballot", "A NAME sat on a ballot"),
        ([], "ballot ٣٤ of 12", "ballot ## of ##"),
    ],
)
def test_names_are_found_whatever_their_case_accents_or_endings(names: list[str], written: str, left: str) -> None:
    assert masked(written, names_in(names)) == left
