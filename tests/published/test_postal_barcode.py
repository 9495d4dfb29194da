"""The Intelligent Mail barcode against USPS-B-3200.

- USPS-B-3200 Revision H (20 April 2015), Appendix C: four worked examples, as quoted in public test files.
- One code made with the postal service's own online encoder, as quoted in a public readme.
- USPS-B-3200 section 2.1: what a barcode id, a tracking code and a routing code may be.
- Official Election Mail kit 600 (January 2024): service types withdrawn for ballots.
What is drawn is also read back, by a reader of our own (`postal_bars`) that is checked by the same examples.
ReportLab draws the bars, so this is a check of the version that is installed, and of our own refusals before it.
"""

from __future__ import annotations

import shutil
from io import BytesIO

import pytest
from hypothesis import given
from hypothesis import strategies as some
from reportlab.graphics.barcode.usps4s import USPS_4State
from reportlab.pdfgen.canvas import Canvas

from replacements.mailings.postal_barcode import BadBarcode, check, payload
from replacements.rules.office import Rules, RulesError, parse_rules
from tests.published import postal_bars
from tests.published.postal_bars import BARS, NoBarcode, Rectangle, drawn_on, numbers, picture, seen_in

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


@pytest.mark.parametrize(("tracking", "routing", "bars"), WORKED)
def test_the_worked_examples_read_back(tracking: str, routing: str, bars: str) -> None:
    """The reader by the same examples: bars of others' making give the numbers that they were made of."""
    assert numbers(bars) == (tracking, routing)


def test_each_bar_of_the_table_stands_for_one_bit_of_its_own() -> None:
    """USPS-B-3200: 130 ends of bars for ten characters of 13 bits, none twice."""
    bits = [end for low, low_bit, high, high_bit in postal_bars._table() for end in ((low, low_bit), (high, high_bit))]
    assert sorted(bits) == [(character, bit) for character in range(10) for bit in range(13)]


def test_a_barcode_with_one_bar_misprinted_says_nothing() -> None:
    """Each of the 65 bars of an example turned into each of the three others: never another number."""
    tracking, routing, bars = WORKED[3]
    for place in range(BARS):
        for other in set("FADT") - {bars[place]}:
            with pytest.raises(NoBarcode):
                numbers(bars[:place] + other + bars[place + 1 :])
    with pytest.raises(NoBarcode):
        numbers(bars[::-1].translate(str.maketrans("AD", "DA")))  # the letter upside down
    with pytest.raises(NoBarcode):
        numbers(bars[:-1])
    assert numbers(bars) == (tracking, routing)


digits = some.characters(min_codepoint=48, max_codepoint=57)
trackings = some.tuples(
    some.sampled_from("0123456789"), some.sampled_from("01234"), some.text(digits, min_size=18, max_size=18)
)
routings = some.sampled_from((0, 5, 9, 11)).flatmap(lambda size: some.text(digits, min_size=size, max_size=size))


@given(tracking=trackings.map("".join), routing=routings)
def test_whatever_is_encoded_reads_back(tracking: str, routing: str) -> None:
    assert numbers(USPS_4State(tracking, routing).barcodes) == (tracking, routing)


def page_with(tracking: str, routing: str, x: float, y: float) -> bytes:
    """A PDF of one page with this barcode on it, in the size of the labels."""
    file = BytesIO()
    canvas = Canvas(file, pagesize=(612, 792))
    bars = USPS_4State(tracking, routing)
    bars.widthSize = bars.heightSize = 0.5
    bars.drawOn(canvas, x, y)
    canvas.save()
    return file.getvalue()


@pytest.mark.parametrize(("tracking", "routing", "bars"), WORKED)
def test_the_bars_as_drawn_read_back(tracking: str, routing: str, bars: str) -> None:
    assert drawn_on(page_with(tracking, routing, 50, 300)) == [[bars]]


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm is not installed")
@pytest.mark.parametrize("dots_an_inch", [200, 300, 600])
@pytest.mark.parametrize(("tracking", "routing", "bars"), WORKED)
def test_the_bars_in_a_picture_of_the_page_read_back(tracking: str, routing: str, bars: str, dots_an_inch: int) -> None:
    """At the dots of a fax-like print up to those of an office printer."""
    black = picture(page_with(tracking, routing, 50, 300), 1, dots_an_inch)
    assert seen_in(black, Rectangle(40, 290, 280, 40), dots_an_inch) == bars


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
        *((f"00{retired}{EXAMPLE[5:]}", "") for retired in ("719", "724", "739", "740", "745")),
        (EXAMPLE, "012345678912"),
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


@pytest.mark.parametrize(
    ("mailer", "service", "entry"),
    [
        ("923456", "270", "mailer_id"),  # six digits that begin as nine do
        ("812345678", "270", "mailer_id"),
        ("12345", "270", "mailer_id"),
        ("1234567", "270", "mailer_id"),
        *(("123456", retired, "service_type") for retired in ("719", "724", "739", "740", "745")),
        ("123456", "27", "service_type"),
        ("123456", "2700", "service_type"),
    ],
)
def test_the_rules_take_no_id_that_is_none(mailer: str, service: str, entry: str) -> None:
    with pytest.raises(RulesError, match=f"mailing.{entry}"):
        rules(mailer, service)


def test_the_printed_size_is_what_the_standard_allows() -> None:
    """Pitch 20 to 24 bars an inch, full bar 0.125 to 0.165 inch, whole code 2.68 to 3.23 inches."""
    bars = USPS_4State(EXAMPLE, "01234")
    bars.widthSize = bars.heightSize = 0.5
    assert 1 / 24 <= bars.pitch / 72 <= 1 / 20
    assert 0.125 <= bars.barHeight / 72 <= 0.165
    assert 2.68 <= (64 * bars.pitch + bars.barWidth) / 72 <= 3.23
