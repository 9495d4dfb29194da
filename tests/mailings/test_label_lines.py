"""The lines of a label, from what offices have on their rolls."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as some

from replacements.mailings import addressing, lettering
from replacements.mailings.addressing import Address, Label
from replacements.mailings.delivery_line import can_be_delivered, capitals, delivery_line, unit_line
from replacements.mailings.layout import Layout
from replacements.mailings.lettering import SMALLEST, fits, lacks, printable, width

SHEET = Layout("sheet", 2, 5, 288.0, 144.0, 11.2, 36.0, 13.5, 0.0)  # labels of 4 by 2 inches


def label_for(written: Address, layout: Layout = SHEET) -> Label:
    return addressing.label_for(written, layout, postal=True)


def address(**parts: str) -> Address:
    usual = {
        "name": "Wren Halloway",
        "street": "12 Tidewater Lane",
        "unit": "",
        "city": "Eelpoint",
        "state": "NC",
        "zip": "27998",
        "country": "",
    }
    return Address(**{**usual, **parts})


@pytest.mark.parametrize(
    ("parts", "lines"),
    [
        ({"unit": "Apt. 3-B"}, ("12 TIDEWATER LN APT 3-B",)),
        ({"unit": "#4"}, ("12 TIDEWATER LN # 4",)),
        ({"unit": "4"}, ("12 TIDEWATER LN # 4",)),
        ({"street": "12 Tidewater Lane Apt 4", "unit": "Apt 4"}, ("12 TIDEWATER LN APT 4",)),  # not twice
        ({"unit": "c/o Ines Ashby"}, ("C/O INES ASHBY", "12 TIDEWATER LN")),
        ({"unit": "PMB 234"}, ("PMB 234", "12 TIDEWATER LN")),
        ({"street": "P.O. Box 12"}, ("PO BOX 12",)),
        ({"street": "St. Mary's Road 12"}, None),
        ({"street": "12 St. Mary's Rd."}, ("12 ST MARYS RD",)),
        ({"street": "12 Heron's-Rest Ct"}, ("12 HERONS-REST CT",)),
        ({"street": "8 U.S. Hwy 12"}, ("8 US HIGHWAY 12",)),
        ({"street": "10 The Circle"}, ("10 THE CIRCLE",)),  # a name, not a suffix
        ({"street": "W12N345 Cattail Drive"}, ("W12N345 CATTAIL DR",)),  # a grid's number
        ({"street": "12-1/2 Cattail Drive"}, ("12-1/2 CATTAIL DR",)),
        ({"street": "One Ferry Square"}, ("ONE FERRY SQ",)),
        ({"street": "General Delivery"}, ("GENERAL DELIVERY",)),
    ],
)
def test_the_delivery_line(parts: dict[str, str], lines: tuple[str, ...] | None) -> None:
    label = label_for(address(**parts))
    if lines is None:
        assert label.fault
    else:
        assert label.lines == ("WREN HALLOWAY", *lines, "EELPOINT NC 27998")


def test_a_military_address_is_an_address_at_home() -> None:
    label = label_for(address(street="PSC 3 Box 4120", city="APO", state="AE", zip="09021"))
    assert label.lines == ("WREN HALLOWAY", "PSC 3 BOX 4120", "APO AE 09021")


@pytest.mark.parametrize("country", ["US", "usa", "U.S.A.", "United States"])
def test_the_own_country_is_not_printed(country: str) -> None:
    assert label_for(address(country=country)).lines[-1] == "EELPOINT NC 27998"


def test_abroad_no_house_number_and_no_state_is_asked_for() -> None:
    label = label_for(address(street="Cottage by the Weir", unit="", city="Oxbow", state="", zip="", country="Ireland"))
    assert label.lines == ("WREN HALLOWAY", "COTTAGE BY THE WEIR", "OXBOW", "IRELAND")


def test_a_long_unit_goes_on_the_line_above() -> None:
    label = label_for(
        address(street="12345 Southwest Tidewater Plantation Boulevard", unit="Building 12 Apartment 1004B Upper")
    )
    assert label.lines[1].startswith("BLDG 12")
    assert label.lines[2] == "12345 SW TIDEWATER PLANTATION BLVD"


def test_a_line_fits_or_it_does_not() -> None:
    assert fits("W" * 10, SHEET.line_width)
    assert not fits("W" * 80, SHEET.line_width)
    assert width("W" * 80, SMALLEST) > SHEET.line_width


def test_what_fits_a_wide_label_may_be_too_long_for_a_window() -> None:
    window = Layout("window", 1, 1, 252.0, 81.0, 36.0, 151.2, 0.0, 0.0)  # 3.5 inches wide
    written = address(name="W" * 32)
    assert label_for(written).lines
    assert "too long" in label_for(written, window).fault


def test_more_lines_than_a_low_label_has_room_for_stop_it() -> None:
    low = Layout("sheet", 2, 10, 288.0, 76.0, 11.2, 36.0, 13.5, 0.0)
    assert "room for 0" in label_for(address(), low).fault
    assert addressing.label_for(address(), low, postal=False).lines  # without a barcode there is room


@pytest.mark.parametrize("parts", [{"city": "APO"}, {"state": "AE", "zip": "09021"}, {"city": "FPO", "state": "CA"}])
def test_military_cities_go_with_military_states_and_no_other_does(parts: dict[str, str]) -> None:
    assert "APO, FPO and DPO" in label_for(address(**parts)).fault


def test_letters_that_the_typeface_lacks_lose_their_accents_or_stop_the_label() -> None:
    assert printable("Zoë") == "Zoë"
    assert lacks("WREN") == ""
    assert lacks("漢") == "漢"
    assert "漢" in label_for(address(name="漢 Halloway")).fault


def test_what_is_standard_already_stays_as_it_is() -> None:
    for line in ("1 N BAY ST", "101 1/2 MAIN ST APT 4", "PO BOX 7", "RR 2 BOX 152", "842 E 1700 S", "100 10TH ST NW"):
        assert delivery_line(line) == line
        assert can_be_delivered(line)
    assert unit_line("APT 4") == "APT 4"
    assert capitals("") == unit_line("") == ""


def test_without_the_larger_typeface_letters_lose_their_accents(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lettering, "_FAMILIES", (("NotThere.ttf", "NotThere.ttf"), ("Vera.ttf", "VeraBd.ttf")))
    lettering.typeface.cache_clear()
    try:
        assert label_for(address(name="Linh Nguyễn")).lines[0] == "LINH NGUYEN"
        assert label_for(address(name="Zoë Halloway")).lines[0] == "ZOË HALLOWAY"
    finally:
        monkeypatch.undo()
        lettering.typeface.cache_clear()
        lettering.typeface()


anything = some.text(max_size=40)
records = some.fixed_dictionaries(
    {
        "name": anything,
        "street": anything | anything.map("12 {}".format),
        "unit": anything,
        "city": anything,
        "zip": some.just("27998") | anything,
        "country": some.sampled_from(("", "France")) | anything,
    }
)


@given(parts=records)
def test_whatever_stands_in_a_record_it_is_a_label_or_a_fault(parts: dict[str, str]) -> None:
    """Never an error that would stop the whole mailing, never both, and what is printed fits and can be printed."""
    label = label_for(address(**parts, state="NC"))
    assert bool(label.lines) != bool(label.fault)
    assert all(line.strip() and not lacks(line) and fits(line, SHEET.line_width) for line in label.lines)
    assert len(label.lines) <= SHEET.most_lines(postal=True)
