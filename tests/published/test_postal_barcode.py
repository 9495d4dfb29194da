"""The Intelligent Mail barcode against USPS-B-3200.

- USPS-B-3200 Revision H (20 April 2015), Appendix C: four worked examples, as quoted in public test files.
- One code made with the postal service's own online encoder, as quoted in a public readme.
- USPS-B-3200 section 2.1: what a barcode id, a tracking code and a routing code may be.
- Official Election Mail kit 600 (January 2024): service types withdrawn for ballots.
ReportLab draws the bars, so this is a check of the version that is installed, and of our own refusals before it.
"""

from __future__ import annotations

import pytest
from reportlab.graphics.barcode.usps4s import USPS_4State

from replacements.mailings.postal_barcode import BadBarcode, check, payload
from replacements.rules.office import Rules, parse_rules

EXAMPLE = "01234567094987654321"
WORKED = [
    (EXAMPLE, "", "ATTFATTDTTADTAATTDTDTATTDAFDDFADFDFTFFFFFTATFAAAATDFFTDAADFTFDTDT"),
    (EXAMPLE, "01234", "DTTAFADDTTFTDTFTFDTDDADADAFADFATDDFTAAAFDTTADFAAATDFDTDFADDDTDFFT"),
    (EXAMPLE, "012345678", "ADFTTAFDTTTTFATTADTAAATFTFTATDAAAFDDADATATDTDTTDFDTDATADADTDFFTFA"),
    (EXAMPLE, "01234567891", "AADTFFDFTDADTAADAATFDTDDAAADDTDTTDAFADADDDTFFFDDTTTADFAAADFTDAADA"),
    ("23270592831482031240", "96713024817", "DDADATADTAATDTTTDFDTTFTFFADTFTDFTATAAFTTFATDAATATDATATFADAADDTFDT"),
]

RULES = """
[office]
name = "Saltgrass County Elections"
address = "ballots@saltgrass.example"
phone = "(555) 555-0140"
in_person = "12 Ferry Lane, Saltgrass"
time_zone = "America/New_York"
[election]
name = "General election"
date = 2026-11-03
[dates]
last_request_by_mail = 2026-10-27T17:00:00
last_in_person = 2026-10-31T15:00:00
return_rule = "received"
return_by = 2026-11-03T19:30:00
[mailing]
mailer_id = "{mailer}"
service_type = "{service}"
"""


def rules(mailer: str, service: str) -> Rules:
    return parse_rules(RULES.format(mailer=mailer, service=service))


@pytest.mark.parametrize(("tracking", "routing", "bars"), WORKED)
def test_the_worked_examples_of_the_standard(tracking: str, routing: str, bars: str) -> None:
    check(tracking, routing)
    assert USPS_4State(tracking, routing).barcodes == bars


def test_reportlab_alone_would_print_a_barcode_id_that_there_is_not() -> None:
    """Why our own check is needed: ids 05 and 10 give the same bars."""
    assert USPS_4State("05" + EXAMPLE[2:], "").barcodes == USPS_4State("10" + EXAMPLE[2:], "").barcodes


@pytest.mark.parametrize(
    ("tracking", "routing"),
    [
        ("05" + EXAMPLE[2:], ""),
        ("95" + EXAMPLE[2:], ""),
        (EXAMPLE + "0", ""),
        (EXAMPLE[:-1], ""),
        (EXAMPLE[:-1] + "A", ""),
        (EXAMPLE[:-1] + "٣", ""),  # a digit, but none of ours
        (EXAMPLE, "0123"),
        (EXAMPLE, "012345"),
        (EXAMPLE, "0123456789"),
        (EXAMPLE, "01234-6789"),
        ("00739" + EXAMPLE[5:], ""),
    ],
)
def test_numbers_that_are_no_barcode_are_refused(tracking: str, routing: str) -> None:
    with pytest.raises(BadBarcode):
        check(tracking, routing)


@pytest.mark.parametrize(
    ("mailer", "tracking"), [("123456", "00270123456000000042"), ("912345678", "00270912345678000042")]
)
def test_a_short_mailer_id_has_a_long_serial_and_a_long_one_a_short(mailer: str, tracking: str) -> None:
    assert payload(rules(mailer, "270"), 42, "EELPOINT NC 27998") == (tracking, "27998")
    assert payload(rules(mailer, "270"), 42, "EELPOINT NC 27998-0042") == (tracking, "279980042")


def test_no_barcode_is_printed_before_the_post_has_assigned_a_service_type() -> None:
    assert payload(rules("123456", ""), 42, "EELPOINT NC 27998") is None
    assert payload(rules("", "270"), 42, "EELPOINT NC 27998") is None


def test_the_printed_size_is_what_the_standard_allows() -> None:
    """Pitch 20 to 24 bars an inch, full bar 0.125 to 0.165 inch, whole code 2.68 to 3.23 inches."""
    bars = USPS_4State(EXAMPLE, "01234")
    bars.widthSize = bars.heightSize = 0.5
    assert 1 / 24 <= bars.pitch / 72 <= 1 / 20
    assert 0.125 <= bars.barHeight / 72 <= 0.165
    assert 2.68 <= (64 * bars.pitch + bars.barWidth) / 72 <= 3.23
