"""A file of weights is used whole or refused with the reason."""

from __future__ import annotations

import gzip
import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from replacements.reading import learned
from replacements.reading.learned import LABELS, WeightsRefused
from replacements.reading.teaching import example
from replacements.reading.training import train

Raw = dict[str, Any]


@pytest.fixture(autouse=True)
def _back_to_the_packages_own() -> Iterator[None]:
    yield
    learned.use(None)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small file of weights as training writes it."""
    texts = ("My ballot got wet.", "It tore in two.", "When is it due?", "Where is the box?", "The barn is sold.")
    kinds = ("spoiled_ballot", "spoiled_ballot", "question", "question", "other")
    told = [{"writer": f"{n}", "text": t, "kinds": [k]} for n, (t, k) in enumerate(zip(texts, kinds, strict=True))]
    file = tmp_path_factory.mktemp("made") / "ours.json.gz"
    train([example(message) for message in told * 3], file, lambda _: None)
    return file


@pytest.fixture
def whole(made: Path, tmp_path: Path) -> Path:
    """A copy of it, to be spoiled."""
    return shutil.copy(made, tmp_path / "ours.json.gz")


def test_a_whole_file_is_used_until_another_is_chosen(whole: Path) -> None:
    own = learned.weights()
    learned.use(whole)
    assert learned.weights() == learned.load(whole)
    assert 0 < len(learned.weights().of_sign) < len(own.of_sign)
    learned.use(None)
    assert learned.weights() is own


def _of_other_labels(raw: Raw) -> None:
    raw["labels"][0] = "Kind.DRAGON"


def _one_row_short(raw: Raw) -> None:
    raw["trust"] = raw["trust"][:-1]


def _half_a_pair(raw: Raw) -> None:
    raw["weights"][0] = [0]


def _of_a_label_that_is_none(raw: Raw) -> None:
    raw["weights"][0] = [len(LABELS), 10]


def _no_number(raw: Raw) -> None:
    raw["bias"][0] = float("nan")


def _signs_and_weights_apart(raw: Raw) -> None:
    raw["signs"] += "\nanother"


def _words_for_numbers(raw: Raw) -> None:
    raw["bias"] = ["much"] * len(LABELS)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (_of_other_labels, "other kinds"),
        (_one_row_short, "damaged"),
        (_half_a_pair, "damaged"),
        (_of_a_label_that_is_none, "damaged"),
        (_no_number, "damaged"),
        (_signs_and_weights_apart, "damaged"),
        (_words_for_numbers, "damaged"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_changes(whole: Path, spoil: Callable[[Raw], None], said: str) -> None:
    learned.use(whole)
    before = learned.weights()
    raw = json.loads(gzip.decompress(whole.read_bytes()))
    spoil(raw)
    bad = whole.with_name("bad.json.gz")
    bad.write_bytes(gzip.compress(json.dumps(raw).encode()))
    with pytest.raises(WeightsRefused, match=said) as refused:
        learned.use(bad)
    assert str(bad) in str(refused.value)
    assert learned.weights() is before


@pytest.mark.parametrize(
    "content",
    [b"", b"not gzip", gzip.compress(b"{"), gzip.compress(b"[1]"), gzip.compress(b"\xff")],
    ids=["empty", "not packed", "no JSON", "a list", "no text"],  # packed bytes hold the time of packing
)
def test_what_is_no_file_of_weights_is_refused(tmp_path: Path, content: bytes) -> None:
    bad = tmp_path / "bad.json.gz"
    bad.write_bytes(content)
    with pytest.raises(WeightsRefused, match="no whole file of weights"):
        learned.use(bad)


def test_half_a_file_is_refused(whole: Path) -> None:
    whole.write_bytes(whole.read_bytes()[:-20])
    with pytest.raises(WeightsRefused, match="no whole file of weights"):
        learned.use(whole)


def test_a_file_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    with pytest.raises(WeightsRefused, match="cannot be read"):
        learned.use(tmp_path)
