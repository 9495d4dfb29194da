"""The form of single entries: what an address, a time zone, a postal id or a spread of days must look like.

Each function takes the value as the file gives it, and returns it or raises ValueError saying what was expected.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Annotated
from zoneinfo import ZoneInfo

import holidays
from pydantic import Field

# Barcode service types of ballots that the post withdrew on 21 January 2024, since they let undeliverable ballots be
# destroyed (Official Election Mail kit 600, January 2024).
RETIRED_SERVICE_TYPES = frozenset({"719", "724", "739", "740", "745"})
CONTENTS = (
    "instructions",
    "ballot",
    "ballot envelope",
    "return envelope with voter's statement",
    "assistance form",
    "identification notice if required",
    "postage-paid return mailer",
)
# What the post writes on a packet that it brings back: common practice, from memory; an office may list its own.
POST_REASONS = (
    "not deliverable as addressed",
    "attempted, not known",
    "moved, left no address",
    "forwarding time expired",
    "insufficient address",
    "no such number",
    "no such street",
    "no mail receptacle",
    "vacant",
    "unclaimed",
    "refused",
    "temporarily away",
    "box closed",
    "deceased",
    "no reason given",
)
IDENTITY_FACTS = frozenset({"birth_date", "voter_id", "ballot_number", "address", "email_on_file", "phone_on_file"})
SUM_TOLERANCE = 0.01
LONGEST_DAYS = 60


@dataclass(frozen=True, slots=True)
class Said:
    """What an entry expects, in words, and an example line of the file."""

    expected: str
    example: str


Words = Annotated[tuple[str, ...], Field(strict=False)]
HEADINGS = Said("our name = the office's heading, in quotes", 'voter_id = "Voter Number"')


def shares_said(name: str) -> Said:
    return Said("days = share, the shares adding up to 1", f"{name} = {{ 1 = 0.3, 2 = 0.4, 3 = 0.2, 4 = 0.1 }}")


def not_empty(value: str) -> str:
    if not value.strip():
        raise ValueError("a text that is not empty")
    return value.strip()


def mail_address(value: str) -> str:
    if not re.fullmatch(r"[^@\s<>,;]+@[^@\s<>,;]+\.[^@\s<>,;.]+", value.strip()):
        raise ValueError("one mail address, as name@domain")
    return value.strip()


def website(value: str) -> str:
    if value and not re.fullmatch(r"https?://[^\s/]+(/\S*)?", value):
        raise ValueError("a web address that begins with https://")
    return value


def identity_facts(value: str) -> str:
    """One fact, or several that are only enough together: `address+phone_on_file`."""
    facts = [fact.strip() for fact in value.split("+")]
    if not set(facts) <= IDENTITY_FACTS:
        raise ValueError(f"facts of: {', '.join(sorted(IDENTITY_FACTS))}, alone or joined by +")
    return "+".join(facts)


def host_name(value: str) -> str:
    if value and not re.fullmatch(r"[A-Za-z0-9](?:[A-Za-z0-9.-]{0,251}[A-Za-z0-9])?", value):
        raise ValueError("the name of a mail server, without spaces")
    return value


def zone_or_none(name: object) -> ZoneInfo | None:
    """The time zone of that name, or None where there is none."""
    if not isinstance(name, str) or not name:
        return None
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):  # unknown; not a key; a folder of the zone files
        return None


def time_zone(value: str) -> str:
    if zone_or_none(value) is None:
        raise ValueError("the name of a time zone that exists, as Continent/City")
    return value


def languages(value: tuple[str, ...]) -> tuple[str, ...]:
    wrong = [code for code in value if not re.fullmatch(r"[a-z]{2,3}", code)]
    if wrong or not value:
        raise ValueError("language codes of two or three small letters (ISO 639), at least one")
    return value


def holiday_place(value: str) -> str:
    """`US`, or `US-CA`, or nothing. The country's days are the post's; those of a subdivision close the office."""
    if not value:
        return value
    country, _, subdivision = value.partition("-")
    try:
        holidays.country_holidays(country, subdiv=subdivision or None)
    except NotImplementedError as error:
        raise ValueError('a country that is known, as "US", or with a subdivision, as "US-CA"') from error
    return value


def zip_codes(value: tuple[str, ...]) -> tuple[str, ...]:
    if not all(re.fullmatch(r"[0-9]{5}", code) for code in value):
        raise ValueError('ZIP codes of 5 digits, each in quotes, as "05991"')
    return value


def number_prefix(value: str) -> str:
    if not re.fullmatch(r"[0-9]{1,4}", value):
        raise ValueError("one to four digits")
    return value


def mailer_id(value: str) -> str:
    """USPS-B-3200: 6 digits beginning with 0 to 8, or 9 digits beginning with 9; empty: no barcode."""
    if value and not re.fullmatch(r"[0-8][0-9]{5}|9[0-9]{8}", value):
        raise ValueError("6 digits of which the first is 0 to 8, or 9 digits of which the first is 9")
    return value


def service_type(value: str) -> str:
    if value and not re.fullmatch(r"[0-9]{3}", value):
        raise ValueError('3 digits, or "" for no barcode')
    if value in RETIRED_SERVICE_TYPES:
        retired = ", ".join(sorted(RETIRED_SERVICE_TYPES))
        raise ValueError(f"a service type that the post still takes for ballots ({retired} were withdrawn in 2024)")
    return value


def shares(value: object) -> object:
    """`{ 2 = 0.3, 3 = 0.7 }` → `{2: 0.3, 3: 0.7}`, scaled so that the shares add up to exactly 1."""
    if not isinstance(value, dict):
        return value
    spread: dict[int, float] = {}
    for days, share in value.items():
        if not re.fullmatch(r"[0-9]{1,2}", str(days)) or int(days) > LONGEST_DAYS:
            raise ValueError(f"whole days from 0 to {LONGEST_DAYS} as names, but one is {days!r}")
        number = isinstance(share, int | float) and not isinstance(share, bool)
        if not number or not math.isfinite(share) or not 0 <= share <= 1:
            raise ValueError(f"shares from 0 to 1, but that of {days} days is {share!r}")
        spread[int(days)] = float(share)
    total = math.fsum(spread.values())
    if abs(total - 1) > SUM_TOLERANCE + 1e-9:
        raise ValueError(f"shares that add up to 1, but these add up to {total:.3f}")
    return {days: share / total for days, share in sorted(spread.items())}
