"""From a voter's record to the lines of a label, or to the reason why no label can be printed.

The mailing address goes before the residence. Lines from the top (Publication 28, section 2 and Appendix A): name, a
unit that does not fit beside the street, the delivery line, city with state and ZIP code, and abroad the country.
A fault stops one packet and never the mailing: a person looks at it.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import lru_cache

from replacements.mailings.delivery_line import DATA, can_be_delivered, capitals, delivery_line, unit_line
from replacements.mailings.layout import Layout
from replacements.mailings.lettering import fits, lacks, printable
from replacements.store.tables import VoterRow

AT_HOME = frozenset({"", "US", "USA", "U S", "U S A", "UNITED STATES", "UNITED STATES OF AMERICA"})
MILITARY_POST = frozenset({"APO", "FPO", "DPO"})  # Publication 28, section 238: the "city" of a military address
MILITARY_STATES = frozenset({"AA", "AE", "AP"})


@dataclass(frozen=True, slots=True)
class Address:
    """What a record gives, as it stands there."""

    name: str
    street: str
    unit: str
    city: str
    state: str
    zip: str
    country: str

    @classmethod
    def of(cls, voter: VoterRow) -> Address:
        """The mailing address if the record has any of one, else the residence. `mail_country` alone is no address."""
        name = " ".join(part for part in (voter.first_name, voter.middle_name, voter.last_name, voter.suffix) if part)
        if any((voter.mail_street, voter.mail_unit, voter.mail_city, voter.mail_state, voter.mail_zip)):
            return cls(
                name,
                voter.mail_street,
                voter.mail_unit,
                voter.mail_city,
                voter.mail_state,
                voter.mail_zip,
                voter.mail_country,
            )
        return cls(name, voter.street, voter.unit, voter.city, voter.state, voter.zip, "")


@dataclass(frozen=True, slots=True)
class Label:
    """Lines from the top, or a fault (then no lines)."""

    lines: tuple[str, ...]
    fault: str = ""


@lru_cache(maxsize=1)
def states() -> dict[str, str]:
    """Code and name of each state, territory and military region → its code (Publication 28, Appendix B)."""
    with (DATA / "states.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {row["code"]: row["code"] for row in rows} | {row["name"]: row["code"] for row in rows}


def label_for(address: Address, layout: Layout, *, postal: bool) -> Label:
    """The label for an address in this layout, with room left for a postal barcode or not.

    A fault repeats nothing of the address but an unknown state.
    """
    name = capitals(address.name)  # what is punctuation alone is nothing
    if not name:
        return Label((), "the record has no name")
    if not capitals(address.street):
        return Label((), "the address has no street")
    abroad = capitals(address.country) not in AT_HOME
    lines, fault = _abroad(address) if abroad else _at_home(address, layout.line_width)
    if fault:
        return Label((), fault)
    lines = [printable(line) for line in (name, *lines)]
    for line in lines:
        if missing := lacks(line):
            return Label((), f"the letters {missing!r} cannot be printed on a label")
        if not fits(line, layout.line_width):
            return Label((), f"a line of {len(line)} characters is too long for the label")
    most = layout.most_lines(postal=postal and not abroad)
    if len(lines) > most:
        return Label((), f"the address has {len(lines)} lines; a label has room for {most}")
    return Label(tuple(lines))


def _at_home(address: Address, room: float) -> tuple[list[str], str]:
    street, unit = delivery_line(address.street), unit_line(address.unit)
    if not can_be_delivered(street):
        return [], "the address has neither a house number nor a PO box"
    state = states().get(capitals(address.state))
    if state is None:
        found = address.state.strip()
        return [], f"there is no state {found!r}" if found else "the address has no state"
    city = capitals(address.city)
    if not city:
        return [], "the address has no city"
    if (city in MILITARY_POST) != (state in MILITARY_STATES):
        return [], "APO, FPO and DPO go with AA, AE or AP, and no other city does"
    code = re.fullmatch(r"([0-9]{5})(?:[- ]?([0-9]{4}))?", address.zip.strip())
    if code is None:
        return [], "the ZIP code is not 5 or 9 digits" if address.zip.strip() else "the address has no ZIP code"
    zip_code = f"{code[1]}-{code[2]}" if code[2] else code[1]
    return [*_with_unit(street, unit, room), f"{city} {state} {zip_code}"], ""


def _with_unit(street: str, unit: str, room: float) -> list[str]:
    """The unit at the end of the delivery line; where it does not fit there, or is no unit, on the line above."""
    if not unit or street.endswith(f" {unit}"):
        return [street]
    together = f"{street} {unit}"
    apart = unit.startswith(("C/O ", "ATTN ", "PMB ")) or street.startswith(("PO BOX", "RR ", "HC "))
    if apart or not fits(together, room):
        return [unit, street]
    return [together]


def _abroad(address: Address) -> tuple[list[str], str]:
    """Abroad the lines stay in the record's order and words; the country stands alone at the end."""
    if not capitals(address.city):
        return [], "the address abroad has no city"
    place = f"{address.city} {address.state} {address.zip}"
    lines = [capitals(line) for line in (address.unit, address.street, place, address.country)]
    return [line for line in lines if line], ""
