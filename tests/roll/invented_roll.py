"""An invented county for tests of matching: ordinary households, and all those that are hard to tell apart.

Made from a fixed seed; every name of a person is put together by chance from common ones.
"""

from __future__ import annotations

import random
import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from replacements.roll.memory import MemoryRoll
from replacements.roll.types import Voter

_NAMES = tomllib.loads((Path(__file__).parent / "invented_names.toml").read_text("utf-8"))
GIVEN: list[str] = _NAMES["given"].split()
FAMILY: list[str] = _NAMES["family"].split()
SPANISH_GIVEN: list[str] = _NAMES["spanish_given"].split()
SPANISH_FAMILY: list[str] = _NAMES["spanish_family"].split()
VIETNAMESE = [("Nguyen", "Nguyễn"), ("Tran", "Trần"), ("Le", "Lê"), ("Pham", "Phạm"), ("Do", "Đỗ"), ("Dang", "Đặng")]
VIETNAMESE_GIVEN = [
    ("Hanh", "Hạnh"),
    ("Duc", "Đức"),
    ("Hoa", "Hoa"),
    ("Long", "Long"),
    ("Mai", "Mai"),
    ("Phuc", "Phúc"),
]
KOREAN = [("Kim", "김"), ("Lee", "이"), ("Park", "박"), ("Choi", "최"), ("Lim", "임"), ("Jung", "정"), ("Yoo", "유")]
KOREAN_GIVEN = [
    ("Ji-young", "지영"),
    ("Min-soo", "민수"),
    ("Eun-joo", "은주"),
    ("Sung-ho", "성호"),
    ("Hye-jin", "혜진"),
]
STREETS = ["Juniper St", "Kettle Ln", "N Pell St", "S Pell St", "Brine Ct", "Harbor View Dr", "St Marys Rd", "3rd St"]
STREETS += ["12th Ave", "Old Quay Rd", "Larch Ter", "County Highway 20", "Saltmarsh Blvd", "E Gannet Way", "Fennel Pl"]
STREETS += ["Copper Beech Cir", "Dunlin Ave", "Avenue E", "Oakhurst Pkwy", "Birch"]
CITIES = [("Ostrey", "97999"), ("Mardle", "97998"), ("East Mardle", "97989"), ("Tolsham", "97988")]


@dataclass
class County:
    """The roll, and the voters of each hard kind by name of the kind."""

    voters: list[Voter] = field(default_factory=list)
    kinds: dict[str, list[tuple[Voter, ...]]] = field(default_factory=dict)

    def add(self, kind: str, *voters: Voter) -> None:
        self.voters.extend(voters)
        self.kinds.setdefault(kind, []).append(voters)

    def roll(self, without: frozenset[str] = frozenset()) -> MemoryRoll:
        return MemoryRoll(v for v in self.voters if v.voter_id not in without)


class Maker:
    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self.ids = iter(self.chance.sample(range(400_000, 999_999), 20_000))
        self.accounts = 0

    def voter(self, **given: str) -> Voter:
        c = self.chance
        city, zip_code = c.choice(CITIES)
        unit = c.choice(["", "", "", f"Apt {c.randint(1, 40)}", f"Unit {c.choice('ABCD')}", f"Lot {c.randint(1, 60)}"])
        made: dict[str, Any] = {
            "voter_id": f"W{next(self.ids)}",
            "first_name": c.choice(GIVEN),
            "last_name": c.choice(FAMILY),
            "middle_name": c.choice(["", *GIVEN[:30]]),
            "birth_date": self.date(1935, 2007),
            "street": f"{c.randint(1, 9899)} {c.choice(STREETS)}",
            "unit": unit,
            "city": city,
            "state": "OR",
            "zip": zip_code,
            "email": self.account() if c.random() < 0.5 else "",
            "phone": f"(541) 555-01{c.randint(0, 99):02}" if c.random() < 0.3 else "",
        }
        return Voter(**(made | given))

    def date(self, first: int, last: int) -> str:
        c = self.chance
        return f"{c.randint(first, last)}-{c.randint(1, 12):02}-{c.randint(1, 28):02}"

    def account(self) -> str:
        self.accounts += 1
        return f"voter{self.accounts}@post.example"

    def at_home_of(self, voter: Voter, **given: str) -> Voter:
        home = {name: getattr(voter, name) for name in ("street", "unit", "city", "state", "zip")}
        return self.voter(**(home | {"last_name": voter.last_name} | given))


def county(seed: int = 20_261, ordinary: int = 700) -> County:
    maker, found = Maker(seed), County()
    c = maker.chance
    for _ in range(ordinary):
        found.add("ordinary", maker.voter())
    for _ in range(40):
        one = maker.voter(email=maker.account())
        first = c.choice([n for n in GIVEN if n[0] != one.first_name[0]])
        other = maker.at_home_of(one, first_name=first, email=c.choice([one.email, maker.account(), ""]))
        found.add("couple", one, other)
    for number in range(24):
        suffixes = [("Sr", "Jr"), ("", "Jr"), ("", "")][number % 3]
        father = maker.voter(birth_date=maker.date(1940, 1965), suffix=suffixes[0], first_name=c.choice(GIVEN[:33]))
        son = maker.at_home_of(
            father,
            first_name=father.first_name,
            middle_name=father.middle_name,
            birth_date=maker.date(1985, 2005),
            suffix=suffixes[1],
            phone="",
        )
        found.add("father and son", father, replace(son, email=""))
    for _ in range(24):
        shared_letters = [n for n in GIVEN if sum(other[0] == n[0] for other in GIVEN) > 1]
        one = maker.voter(first_name=c.choice(shared_letters), birth_date=maker.date(1985, 2006))
        first = c.choice([n for n in GIVEN if n[0] == one.first_name[0] and n != one.first_name])
        twin = maker.at_home_of(one, first_name=first, birth_date=one.birth_date, email="", phone="")
        found.add("twins", one, twin)
    for _ in range(24):
        one = maker.voter()
        same = {"first_name": one.first_name, "last_name": one.last_name}
        found.add("namesakes", one, *(maker.voter(**same) for _ in range(c.randint(1, 2))))
    for _ in range(24):
        last = " ".join(c.sample(SPANISH_FAMILY, 2))
        found.add("two surnames", maker.voter(first_name=c.choice(SPANISH_GIVEN), last_name=last, middle_name=""))
    for _ in range(18):
        given = {"first_name": c.choice(VIETNAMESE_GIVEN)[0], "middle_name": c.choice(["Thi", "Van"])}
        found.add("vietnamese", maker.voter(last_name=c.choice(VIETNAMESE)[0], **given))
    for _ in range(18):
        given = {"first_name": c.choice(KOREAN_GIVEN)[0], "middle_name": ""}
        found.add("korean", maker.voter(last_name=c.choice(KOREAN)[0], **given))
    for _ in range(16):
        found.add("former name", maker.voter(former_last_name=c.choice(FAMILY[:52]), first_name=c.choice(GIVEN[33:])))
    for _ in range(16):
        found.add(
            "hyphenated", maker.voter(last_name="-".join(c.sample(FAMILY[:52], 2)), first_name=c.choice(GIVEN[33:]))
        )
    for _ in range(16):
        box = {
            "mail_street": f"PO Box {c.randint(1, 900)}",
            "mail_city": "Ostrey",
            "mail_state": "OR",
            "mail_zip": "97999",
        }
        found.add("post office box", maker.voter(**box))
    for _ in range(12):
        room = {"mail_street": f"{c.randint(1, 900)} Rowan Hall", "mail_unit": f"Rm {c.randint(100, 400)}"}
        found.add("student", maker.voter(**room, mail_city="Farwick", mail_state="OH", mail_zip="43998"))
    return found
