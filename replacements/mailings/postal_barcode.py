"""The Intelligent Mail barcode (USPS-B-3200): its numbers, and our own check of them.

ReportLab draws the bars but does not check what they say: it takes barcode ids that do not exist and drops a 21st digit
without a word. A wrong barcode sends a ballot astray, so nothing is drawn that was not checked here.
"""

from __future__ import annotations

import re

from replacements.mailings.addressing import Label
from replacements.rules.office import Rules
from replacements.rules.shapes import RETIRED_SERVICE_TYPES

BARCODE_ID = "00"  # no sortation level stated
TRACKING_DIGITS = 20
ROUTING_DIGITS = (0, 5, 9, 11)


class BadBarcode(ValueError):
    """Numbers that are no Intelligent Mail barcode."""


def check(tracking: str, routing: str) -> None:
    """Raise BadBarcode unless this is a payload as USPS-B-3200 section 2.1 has it."""
    if not re.fullmatch(r"[0-9]*", tracking) or len(tracking) != TRACKING_DIGITS:
        raise BadBarcode(f"a tracking code has {TRACKING_DIGITS} digits, this one has {len(tracking)} characters")
    if tracking[1] not in "01234":
        raise BadBarcode(f"the second digit of a barcode id is 0 to 4, not {tracking[1]}")
    if tracking[2:5] in RETIRED_SERVICE_TYPES:
        raise BadBarcode(f"service type {tracking[2:5]} was withdrawn for ballots")
    if not re.fullmatch(r"[0-9]*", routing) or len(routing) not in ROUTING_DIGITS:
        raise BadBarcode(f"a routing code has 0, 5, 9 or 11 digits, this one has {len(routing)} characters")


def is_printed(rules: Rules) -> bool:
    """Do the rules name what a postal barcode needs: the office's own service type and mailer id?"""
    return bool(rules.mailing.service_type and rules.mailing.mailer_id)


def of_packet(rules: Rules, packet_id: int, ballot_number: str | None, label: Label) -> tuple[str, str] | None:
    """The numbers for a frozen packet; None where none are printed: without a ballot (service types of ballots are for
    live ballots and nothing else), and abroad (no routing code: the last line is a country's)."""
    if ballot_number is None or not label.lines:
        return None
    numbers = payload(rules, packet_id, label.lines[-1])
    return numbers if numbers is not None and numbers[1] else None


def payload(rules: Rules, packet_id: int, city_line: str) -> tuple[str, str] | None:
    """Tracking and routing code of a packet, checked; None where the rules name no service type or no mailer id.

    The packet's own number is the serial number; it comes round again after a million packets at the earliest (serials
    are not used again within 45 days). The routing code is the ZIP code at the end of the label's city line.
    """
    mailing = rules.mailing
    if not is_printed(rules):
        return None
    digits = 15 - len(mailing.mailer_id)
    serial = f"{packet_id % 10**digits:0{digits}d}"
    tracking = f"{BARCODE_ID}{mailing.service_type}{mailing.mailer_id}{serial}"
    found = re.search(r" ([0-9]{5})(?:-([0-9]{4}))?$", city_line)
    routing = f"{found[1]}{found[2] or ''}" if found else ""
    check(tracking, routing)
    return tracking, routing
