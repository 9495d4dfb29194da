"""A process reads mail for weeks, and its mail holds ever new names: what it keeps of letters has an end."""

from __future__ import annotations

import gc
import random
from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime
from functools import _lru_cache_wrapper
from itertools import islice, product
from typing import Any

from replacements.mail.letter import Letter, PartLabel, Sender, TextPart
from replacements.reading import class_files
from replacements.reading.reader import read, warm
from replacements.requests.judging import clues_of
from replacements.requests.records import BallotsInMemory
from replacements.roll.matching import identify
from replacements.roll.memory import MemoryRoll
from replacements.roll.standing import SUFFICIENT
from replacements.roll.types import Voter

ARRIVED = datetime(2026, 10, 20, 9, tzinfo=UTC)
MOST_KEPT = 4096  # entries; a megabyte or two
_SYLLABLES = ("bra", "fen", "gou", "lis", "mor", "nak", "pel", "sto", "tur", "wex")


def voters(count: int) -> Iterator[Voter]:
    """No two with a name or a street in common."""
    chance = random.Random(4)
    words = ["".join(parts).title() for parts in product(_SYLLABLES, repeat=4)]
    chance.shuffle(words)
    for number, (first, last, street) in enumerate(
        islice(zip(words[::3], words[1::3], words[2::3], strict=False), count)
    ):
        yield Voter(
            voter_id=str(40_000_000 + number), last_name=last, first_name=first, birth_date="1961-04-09",
            street=f"{number} {street} St", city="Ostrey", state="OR", zip="97999",
        )  # fmt: skip


def write(voter: Voter) -> Letter:
    text = (
        "I filled in the wrong oval on my ballot and need a replacement, please. My neighbour says so too.\n\n"
        f"{voter.first_name} {voter.last_name}\n{voter.street}\n{voter.city}\nborn 4/9/1961\nvoter id {voter.voter_id}"
    )
    name = f"{voter.first_name} {voter.last_name}"
    return Letter("<1@post.example>", Sender("a@post.example", name), "", ARRIVED, (TextPart(PartLabel.NEW, text),))


def judge(some: Iterable[Voter], roll: MemoryRoll) -> None:
    for voter in some:
        for person in read(write(voter)).people:
            identify(clues_of(person, BallotsInMemory([])), roll, sufficient=SUFFICIENT, today=date(2026, 10, 20))


def caches() -> list[_lru_cache_wrapper[Any]]:
    """All of ours."""
    gc.unfreeze()  # what is set aside for good is not among the objects
    found = (one for one in gc.get_objects() if isinstance(one, _lru_cache_wrapper))
    return [one for one in found if one.__module__.startswith("replacements.")]


def entries() -> dict[str, tuple[int, int | None]]:
    """Of each cache: how many it holds, and how many at most."""
    told = ((f"{one.__module__}.{one.__qualname__}", one.cache_info()) for one in caches())
    return {name: (info.currsize, info.maxsize) for name, info in told}


def test_no_cache_that_grows_with_the_mail_grows_without_end() -> None:
    people = list(voters(60))
    roll = MemoryRoll(people)
    warm()
    for one in caches():
        if one.cache_info().maxsize is not None:
            one.cache_clear()  # one that is full grows no more
    judge(people[:30], roll)
    before = entries()
    judge(people[30:], roll)
    grown = {name: most for name, (held, most) in entries().items() if held > before.get(name, (0, 0))[0]}
    assert "replacements.roll.names.fold" in grown
    assert {name: most for name, most in grown.items() if most is None or most > MOST_KEPT} == {}


def test_words_that_are_in_no_class_are_not_remembered_for_ever() -> None:
    english = class_files.Classes("en")
    for number in range(3 * MOST_KEPT):
        assert english.of_word(f"surname{number}") == frozenset()
    assert len(english._known) <= MOST_KEPT
    assert english.of_word("coffee") == class_files.classes("en").of_word("coffee") != frozenset()


def test_languages_without_classes_of_their_own_share_the_english_ones() -> None:
    assert class_files.classes("fi") is class_files.classes("tl") is class_files.classes("en")
