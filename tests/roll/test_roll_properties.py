"""What must hold for every voter and every way of writing: nothing that says nothing turns one certain voter into
another."""

from __future__ import annotations

import random
import unicodedata
from dataclasses import replace
from datetime import date
from functools import lru_cache

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from replacements.roll.matching import identify
from replacements.roll.memory import MemoryRoll
from replacements.roll.standing import SUFFICIENT
from replacements.roll.types import AddressClue, Clues, Standing, Voter, Who
from tests.roll.adversarial_slips import id_slip, typo
from tests.roll.invented_messages import born, name
from tests.roll.invented_roll import County, Maker, county

TODAY = date(2026, 10, 20)
_MARKS = "\u0301\u0300\u0302\u0303\u0308"  # acute, grave, circumflex, tilde, diaeresis
FACTS = ("birth_date", "birth_year", "address", "town", "voter_id", "email", "phone", "slipped_id", "middle", "suffix")
many = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@lru_cache(maxsize=1)
def invented() -> County:
    return county(ordinary=120)


@lru_cache(maxsize=1)
def roll() -> MemoryRoll:
    return invented().roll()


def who(clues: Clues, over: MemoryRoll) -> Who:
    return identify(clues, over, sufficient=SUFFICIENT, today=TODAY)


def said_of(voter: Voter, facts: frozenset[str], slips: bool, seed: int) -> Clues:
    """A message of this voter with some of the facts, with slips in the name or without."""
    chance = random.Random(seed)
    year = born(voter)[0][0]
    written = name(voter)
    if "middle" in facts and voter.middle_name:
        written = f"{voter.first_name} {voter.middle_name[0]}. {voter.last_name}"
    if slips:
        written = f"{voter.first_name} {typo(voter.last_name, chance)}"
    address = AddressClue(voter.street, voter.unit, voter.city, voter.state, voter.zip)
    town = AddressClue(city=voter.city)
    ids = [voter.voter_id] * ("voter_id" in facts) + [id_slip(voter.voter_id, chance)] * ("slipped_id" in facts)
    dates = born(voter) if "birth_date" in facts else ((year, None, None),) if "birth_year" in facts else ()
    return Clues(
        names=(written,),
        suffix=voter.suffix if "suffix" in facts else "",
        birth_dates=dates,
        addresses=(address,) if "address" in facts else (town,) if "town" in facts else (),
        voter_ids=tuple(ids[:1]),
        emails=(voter.email,) if "email" in facts and voter.email else (),
        phones=(voter.phone,) if "phone" in facts and voter.phone else (),
    )


voters = st.integers(0, 10_000).map(lambda place: invented().voters[place % len(invented().voters)])
messages = st.builds(said_of, voters, st.frozensets(st.sampled_from(FACTS)), st.booleans(), st.integers(0, 999))


@many
@given(messages, st.randoms(use_true_random=False))
def test_the_order_of_the_rolls_lines_changes_nothing(clues: Clues, chance: random.Random) -> None:
    lines = list(invented().voters)
    chance.shuffle(lines)
    assert who(clues, MemoryRoll(lines)) == who(clues, roll())


def written_otherwise(text: str, how: int, seed: int) -> str:
    """The same words in capitals or small letters, with marks on the letters, wider spaces, or other apostrophes."""
    chance = random.Random(seed)
    if how == 0:
        return text.upper()
    if how == 1:
        return text.lower()
    if how == 2:
        marked = (c + chance.choice(_MARKS) if c.lower() in "aeiou" and chance.random() < 0.4 else c for c in text)
        return unicodedata.normalize(chance.choice(("NFC", "NFD")), "".join(marked))
    if how == 3:
        return "  " + text.replace(" ", "\u00a0 \t") + " "
    return text.replace("'", "’").replace("-", " ")


@many
@given(messages, st.integers(0, 4), st.integers(0, 999))
def test_case_marks_and_spaces_change_no_answer(clues: Clues, how: int, seed: int) -> None:
    changed = replace(
        clues,
        names=tuple(written_otherwise(text, how, seed) for text in clues.names),
        addresses=tuple(
            replace(
                a, street=a.street.upper() if how == 0 else a.street.lower(), city=written_otherwise(a.city, how, seed)
            )
            for a in clues.addresses
        ),
        voter_ids=tuple(each.lower() if how else each.upper() for each in clues.voter_ids),
        emails=tuple(each.upper() for each in clues.emails),
    )
    before, after = who(clues, roll()), who(changed, roll())
    assert (after.standing, after.voter, after.missing) == (before.standing, before.voter, before.missing)


@many
@given(messages, st.integers(0, 10_000), st.integers(1, 400))
def test_unrelated_voters_turn_no_certain_voter_into_another(clues: Clues, seed: int, number: int) -> None:
    maker = Maker(seed)
    taken = {voter.voter_id for voter in invented().voters}
    added = [voter for _ in range(number) if (voter := maker.voter()).voter_id not in taken]
    before = who(clues, roll())
    after = who(clues, MemoryRoll([*invented().voters, *added]))
    if before.standing is Standing.CERTAIN:
        assert after.voter in (before.voter, None)
    if after.standing is Standing.CERTAIN and before.standing is Standing.CERTAIN:
        assert after.voter == before.voter


@many
@given(voters, messages)
def test_what_is_quoted_from_somebody_elses_record_makes_nobody_certain(other: Voter, clues: Clues) -> None:
    """The id of another voter beside a name: the two are never taken for one, unless the name fits that voter, too."""
    found = who(replace(clues, voter_ids=(other.voter_id,)), roll())
    if found.standing is Standing.CERTAIN and found.voter is not None:
        assert found.voter == other


@many
@given(messages)
def test_one_more_fact_of_ones_own_takes_no_certainty_away(clues: Clues) -> None:
    before = who(clues, roll())
    if before.standing is Standing.CERTAIN and before.voter is not None:
        own = before.voter
        for more in (
            replace(clues, voter_ids=(own.voter_id,)),
            replace(clues, birth_dates=born(own)),
            replace(clues, ballot_owners=(own.voter_id,)),
        ):
            after = who(more, roll())
            assert (after.standing, after.voter) == (Standing.CERTAIN, own)
