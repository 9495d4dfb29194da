"""The roll of the adversarial set: an invented county and, besides, families made to be taken for each other."""

from __future__ import annotations

import random
from dataclasses import replace

from replacements.roll.types import Voter
from tests.roll.invented_roll import GIVEN, SPANISH_FAMILY, SPANISH_GIVEN, County, Maker, county

# Given names of brothers and sisters a letter or a syllable apart.
NEAR = [
    ("Jayden", "Kayden"), ("Marvin", "Mervin"), ("Karen", "Karin"), ("Thanh", "Thinh"), ("Minh", "Linh"),
    ("Maria", "Marie"), ("Hanna", "Hanne"), ("Darren", "Warren"), ("Daryl", "Caryl"), ("Leona", "Leora"),
    ("Min-soo", "Min-seo"), ("Ji-woo", "Ji-won"), ("Eun-hye", "Eun-hee"), ("Mary Ann", "Mary Beth"),
    ("José Luis", "José Antonio"), ("Jenny", "Penny"), ("Christian", "Christina"), ("Julian", "Juliana"),
]  # fmt: skip
# A short form that both of a couple may go by.
BOTH = [
    ("Patrick", "Patricia", "Pat"), ("Christopher", "Christine", "Chris"), ("Samuel", "Samantha", "Sam"),
    ("Alexander", "Alexandra", "Alex"), ("Maxwell", "Maxine", "Max"), ("Daniel", "Danielle", "Dan"),
    ("Gerald", "Geraldine", "Gerry"), ("Terrence", "Theresa", "Terry"),
]  # fmt: skip
KOREAN_SYLLABLES = [
    ("ji", "지"),
    ("young", "영"),
    ("min", "민"),
    ("soo", "수"),
    ("hyun", "현"),
    ("woo", "우"),
    ("eun", "은"),
]
KOREAN_SPELLED = {"young": "yeong", "soo": "su", "hyun": "hyeon", "woo": "u", "eun": "un", "ji": "jee", "min": "min"}


def adversarial_county(seed: int = 4_711) -> County:
    found, maker = county(seed=20_262, ordinary=1100), Maker(seed)
    maker.ids = iter(maker.chance.sample(range(100_000, 399_999), 20_000))
    c = maker.chance
    for one, other in NEAR * 2:
        elder = maker.voter(first_name=one, middle_name="", birth_date=maker.date(1970, 2005))
        found.add("twins of near names", elder, maker.at_home_of(elder, **_twin(elder, other)))
        single = maker.voter(first_name=one, middle_name="", birth_date=maker.date(1970, 2005), email="", phone="")
        found.add("a twin alone", single, replace(single, voter_id="", first_name=other))
    for one, other, _ in BOTH * 3:
        his = maker.voter(first_name=one, email=maker.account(), middle_name="", phone="")
        found.add(
            "a short form for both", his, maker.at_home_of(his, first_name=other, email=his.email, middle_name="")
        )
    for number in range(40):
        father = maker.voter(
            first_name=c.choice(GIVEN[:33]), birth_date=maker.date(1940, 1960), suffix=("", "", "Sr", "Jr")[number % 4]
        )
        son = replace(
            father, voter_id="", suffix="Jr" if number % 4 < 3 else "III", birth_date=maker.date(1972, 2004), email=""
        )
        found.add("the son is not on the roll", father, son)
    for _ in range(30):
        last = " ".join(c.sample(SPANISH_FAMILY, 2))
        brothers = c.sample(SPANISH_GIVEN, 2)
        one = maker.voter(first_name=brothers[0], last_name=last, middle_name="")
        found.add("brothers of two surnames", one, maker.at_home_of(one, first_name=brothers[1], middle_name=""))
    for _ in range(30):
        one, two = c.sample(KOREAN_SYLLABLES, 2)
        given = f"{one[0].title()}-{two[0]}"
        found.add("korean given names", maker.voter(first_name=given, last_name="Park", middle_name=""))
    for number in range(40):
        box = {"mail_street": f"PO Box {1000 + number}", "mail_city": "Ostrey", "mail_state": "OR", "mail_zip": "97999"}
        one = maker.voter(**box)
        if number % 4:
            found.add("a box of one's own", one)
        else:
            away = box | {"mail_city": "Farwick", "mail_state": "OH", "mail_zip": "43998"}
            same = {"first_name": one.first_name, "last_name": one.last_name}
            found.add("namesakes' boxes of one number", one, maker.voter(**away, **same))
    found.voters = [voter for voter in found.voters if voter.voter_id]  # who has no id is not on the roll
    return found


def _twin(elder: Voter, first: str) -> dict[str, str]:
    return {"first_name": first, "middle_name": "", "birth_date": elder.birth_date, "email": "", "phone": ""}


def people_nowhere(chance: random.Random) -> str:
    """A street that nobody on the roll lives in."""
    return f"{chance.randint(100, 999)} Nowhere Ln"
