"""The people of an invented county: a roll of 2,000 voters with all that makes it hard to tell who writes.

Everything comes from one seed, so that the county is the same for the same year; only ages move with the calendar.
Names are ordinary, places exist nowhere, phones are 555-01xx, mail goes to `.example`.
"""

from __future__ import annotations

import random
import tomllib
import unicodedata
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from replacements.roll.types import Voter

VOTERS = 2000
SEED = "an invented county, first edition"
_FOLDER = Path(__file__).parent / "people"
_GROUPS = ("english", "spanish", "vietnamese", "korean", "chinese")
_SHARES = (0.74, 0.12, 0.05, 0.05, 0.04)


@dataclass(slots=True)
class People:
    """The voters in the order of the roll, and the cast: those whom the demo's mails are from or about, by role."""

    voters: list[Voter] = field(default_factory=list)
    cast: dict[str, str] = field(default_factory=dict)  # role ("father-1", "plain-12") -> voter id

    def voter(self, role: str) -> Voter:
        """The voter in a role. Raises KeyError for a role that nobody has."""
        wanted = self.cast[role]
        return next(voter for voter in self.voters if voter.voter_id == wanted)


@dataclass(frozen=True, slots=True)
class _Home:
    street: str
    unit: str
    city: str
    zip: str
    precinct: str
    style: str


def people(today: date) -> People:
    """The county's voters and cast, as of `today`'s year."""
    return _Builder(today).build()


class _Builder:
    def __init__(self, today: date) -> None:
        self.random = random.Random(SEED)  # noqa: S311 - an invented county, no secret
        self.year = today.year
        self.names: dict[str, dict[str, list[str]]] = tomllib.loads((_FOLDER / "names.toml").read_text("utf-8"))
        self.places: dict[str, Any] = tomllib.loads((_FOLDER / "places.toml").read_text("utf-8"))
        self.people = People()
        self.ids: set[str] = set()
        self.mails: set[str] = set()
        self.phones = [f"({area}) 555-01{n:02d}" for area in self.places["area_codes"] for n in range(100)]
        self.random.shuffle(self.phones)

    def build(self) -> People:
        for number in range(1, 26):
            self._father_and_son(number)
            self._couple(number)
        for number in range(1, 9):
            self._twins(number)
            self._namesakes(number)
        for number in range(1, 21):
            self._special(number)
        for group in ("spanish", "vietnamese", "korean", "chinese"):
            for number in range(1, 9):
                self._alone(f"{group}-{number}", group, mail=number % 2 == 1)
        for number in range(1, 41):
            self._alone(f"plain-{number}", "english", mail=number % 2 == 1)
        while len(self.people.voters) < VOTERS:
            self._household(min(self.random.choice((1, 1, 2, 2, 2, 3, 4)), VOTERS - len(self.people.voters)))
        self.people.voters.sort(key=lambda voter: voter.voter_id)
        return self.people

    def _household(self, size: int) -> None:
        """People of one surname at one address: parents, then grown children."""
        group = self.random.choices(_GROUPS, _SHARES)[0]
        home, last = self._home(), self._last(group)
        for place in range(size):
            age = self.random.randint(26, 92) if place < 2 else self.random.randint(18, 30)
            voter = self._voter(group, home, last=last, sex="wm"[(place + self.random.randint(0, 9)) % 2], age=age)
            if self.random.random() < 0.03:
                voter = replace(voter, status="inactive")
            if self.random.random() < 0.03:
                voter = replace(voter, id_required=True)
            self._add(voter)

    def _father_and_son(self, number: int) -> None:
        home, last = self._home(), self._last("english")
        father = self._voter("english", home, last=last, sex="m", age=self.random.randint(50, 78))
        suffixes = ("Sr", "Jr") if number % 3 else ("", "")
        born = date.fromisoformat(father.birth_date)
        son = replace(
            father,
            voter_id=self._id(),
            birth_date=self._born(self.year - born.year - self.random.randint(22, 30)),
            suffix=suffixes[1],
            email="",
            phone="",
        )
        self._add(replace(father, suffix=suffixes[0]), f"father-{number}")
        self._add(son, f"son-{number}")

    def _couple(self, number: int) -> None:
        """Two people who share one mail address, as on file."""
        home, last = self._home(), self._last("english")
        one = self._voter("english", home, last=last, sex="w", age=self.random.randint(35, 85), mail=True)
        two = self._voter("english", home, last=last, sex="m", age=self.random.randint(35, 85), mail=False)
        self._add(one, f"wife-{number}")
        self._add(replace(two, email=one.email, phone=one.phone), f"husband-{number}")

    def _twins(self, number: int) -> None:
        home, last, born = self._home(), self._last("english"), self._born(self.random.randint(18, 60))
        pairs = (("Marla", "Marta"), ("Dean", "Dana"), ("Joan", "Joanne"), ("Eric", "Erin"))
        for role, first in zip("ab", pairs[number % len(pairs)], strict=True):
            voter = self._voter("english", home, last=last, sex="w", age=30, mail=False)
            self._add(replace(voter, first_name=first, middle_name="", birth_date=born), f"twin-{number}{role}")

    def _namesakes(self, number: int) -> None:
        """Two people of one name who have nothing to do with each other."""
        first = self._voter(
            "english", self._home(), last=self._last("english"), sex="wm"[number % 2], age=61, mail=False
        )
        second = self._voter(
            "english", self._home(), last=first.last_name, sex="w", age=self.random.randint(20, 80), mail=False
        )
        self._add(first, f"namesake-{number}a")
        self._add(
            replace(second, first_name=first.first_name, middle_name=first.middle_name[:1]), f"namesake-{number}b"
        )

    def _special(self, number: int) -> None:
        """One voter of each kind that the rules or the post treat differently."""
        abroad = self.random.choice(self.places["abroad"])
        box = f"PO Box {self.random.randint(11, 980)}"
        town = self.random.choice(self.places["towns"])
        kinds: dict[str, dict[str, Any]] = {
            "overseas": {
                "overseas": True,
                "mail_street": abroad["street"],
                "mail_city": abroad["city"],
                "mail_zip": abroad["zip"],
                "mail_country": abroad["country"],
            },
            "inactive": {"status": "inactive"},
            "protected": {"protected": True},
            "identified": {"id_required": True},
            "pobox": {
                "mail_street": box,
                "mail_city": town["name"],
                "mail_state": self.places["state"],
                "mail_zip": town["zip"],
            },
            "student": {
                "mail_street": f"Thimble Hall {self.random.randint(101, 480)}",
                "mail_city": "Aldermoot",
                "mail_state": "NY",
                "mail_zip": "00992",
            },
            "former": {"former_last_name": self._last("english")},
        }
        for kind, values in kinds.items():
            age = self.random.randint(18, 23) if kind == "student" else self.random.randint(24, 88)
            sex = "w" if kind == "former" else self.random.choice("wm")
            voter = self._voter(
                "english", self._home(), last=self._last("english"), sex=sex, age=age, mail=number % 2 == 1
            )
            self._add(replace(voter, **values), f"{kind}-{number}")

    def _alone(self, role: str, group: str, *, mail: bool) -> None:
        """Somebody whose whole name nobody else in the county has."""
        taken = {(voter.first_name, voter.last_name) for voter in self.people.voters}
        while True:
            voter = self._voter(
                group,
                self._home(),
                last=self._last(group),
                sex=self.random.choice("wm"),
                age=self.random.randint(21, 90),
                mail=mail,
            )
            if (voter.first_name, voter.last_name) not in taken:
                self._add(voter, role)
                return

    def _voter(self, group: str, home: _Home, *, last: str, sex: str, age: int, mail: bool | None = None) -> Voter:
        names = self.names[group]
        first = self.random.choice(names["women" if sex == "w" else "men"])
        middle = ""
        if group in ("english", "vietnamese") and self.random.random() < 0.7:
            middle = self.random.choice(names.get("middle") or names["women" if sex == "w" else "men"])
        language = {"spanish": "es", "vietnamese": "vi", "korean": "ko", "chinese": "zh"}.get(group, "en")
        if group != "english" and self.random.random() < 0.4:
            language = "en"
        has_mail = self.random.random() < 0.4 if mail is None else mail
        return Voter(
            voter_id=self._id(),
            last_name=last,
            first_name=first,
            middle_name=middle if middle != first else "",
            birth_date=self._born(age),
            street=home.street,
            unit=home.unit,
            city=home.city,
            state=self.places["state"],
            zip=home.zip,
            precinct=home.precinct,
            style=home.style,
            language=language,
            email=self._mail(first, last, age) if has_mail else "",
            phone=self.phones.pop() if self.phones and self.random.random() < 0.25 else "",
        )

    def _add(self, voter: Voter, role: str = "") -> None:
        self.people.voters.append(voter)
        if role:
            self.people.cast[role] = voter.voter_id

    def _home(self) -> _Home:
        town = self.random.choices(self.places["towns"], (5, 3, 2, 1))[0]
        street = f"{self.random.randint(2, 1890)} {self.random.choice(self.places['streets'])}"
        unit = f"{self.random.choice(('Apt', 'Apt', 'Unit', 'Lot'))} {self.random.randint(1, 48)}"
        precinct = self.random.choice(town["precincts"])
        return _Home(
            street,
            unit if self.random.random() < 0.22 else "",
            town["name"],
            town["zip"],
            precinct,
            f"{precinct}-{town['style']}",
        )

    def _last(self, group: str) -> str:
        names = self.names[group]["last"]
        last = self.random.choice(names)
        if group == "spanish" and self.random.random() < 0.7:  # father's and mother's surname
            return f"{last} {self.random.choice([name for name in names if name != last])}"
        return last

    def _born(self, age: int) -> str:
        return (date(self.year - max(age, 18) - 1, 1, 1) + timedelta(days=self.random.randint(0, 364))).isoformat()

    def _id(self) -> str:
        while True:
            number = str(self.random.randint(20_000_000, 29_999_999))
            if number not in self.ids:
                self.ids.add(number)
                return number

    def _mail(self, first: str, last: str, age: int) -> str:
        name, family = plain_letters(first), plain_letters(last.split()[0])
        domain = self.random.choice(self.places["domains"])
        forms = (f"{name}.{family}", f"{name[:1]}{family}", f"{family}{name}", f"{name}{family[:1]}")
        base = self.random.choice(forms)
        for ending in ("", str((self.year - age) % 100), *(str(n) for n in range(1, 99))):
            address = f"{base}{ending}@{domain}"
            if address not in self.mails:
                self.mails.add(address)
                return address
        raise AssertionError("more people of one name than an invented county has")


def plain_letters(name: str) -> str:
    """A name as people write it in a mail address: small letters a to z."""
    spread = unicodedata.normalize("NFKD", name.replace("Đ", "D").replace("đ", "d"))
    return "".join(c for c in spread.lower() if "a" <= c <= "z")
