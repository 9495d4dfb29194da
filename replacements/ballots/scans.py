"""What a scanner hands over, read: a ballot's number, or the digits of an Intelligent Mail barcode.

Pure. A decoder of the postal barcode gives its 20 digits of tracking and 0, 5, 9 or 11 of routing as one string
(USPS-B-3200, section 2.1): barcode id, service type, mailer id, serial number. A mailer id has 9 digits where it begins
with 9, else 6; the serial number has what is left of 15.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

LONGEST_NUMBER = 40
TRACKING_DIGITS = 20
POSTAL_LENGTHS = (20, 25, 29, 31)


@dataclass(frozen=True, slots=True)
class Postal:
    """The parts of a postal barcode. `serial_digits`: how many the serial number has, 6 or 9."""

    service_type: str
    mailer_id: str
    serial: str

    @property
    def serial_digits(self) -> int:
        return len(self.serial)


def clean(typed: str) -> str:
    """A number as typed or scanned, without spaces, dashes and what cannot be seen; capital letters."""
    kept = (c for c in unicodedata.normalize("NFKC", typed) if unicodedata.category(c)[0] not in "ZC")
    return "".join(c for c in kept if unicodedata.category(c) != "Pd").upper()


def postal(typed: str) -> Postal | None:
    """The postal barcode that these digits are; None where they are none."""
    digits = clean(typed)
    if not (digits.isascii() and digits.isdecimal() and len(digits) in POSTAL_LENGTHS) or digits[1] not in "01234":
        return None
    wide = 9 if digits[5] == "9" else 6
    return Postal(digits[2:5], digits[5 : 5 + wide], digits[5 + wide : TRACKING_DIGITS])


def part_of_postal(typed: str) -> bool:
    """Digits that are more than a ballot number has, and no whole postal barcode: something was read amiss."""
    digits = clean(typed)
    few, most = POSTAL_LENGTHS[0], POSTAL_LENGTHS[-1]
    return digits.isascii() and digits.isdecimal() and few <= len(digits) <= most and postal(typed) is None
