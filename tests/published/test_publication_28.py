"""Delivery lines against USPS Publication 28, Postal Addressing Standards (October 2023: sections 23, 24, 25, 28,
appendices C and D), and ONC Project US@ Technical Specification 1.0, which is built on it.

Rows of the published examples that are not here: Puerto Rico's `C19 CALLE 125` (the order is not turned), urbanization
lines and the ZIP+4 of general delivery (only the delivery line is made).
"""

from __future__ import annotations

import pytest

from replacements.roll.addresses import delivery_line, parse

PUBLISHED = [
    ("1 NORTH BAY STREET", "1 N BAY ST"),
    ("1 EAST END AVENUE", "1 E END AVE"),
    ("1 NORTH AVENUE", "1 NORTH AVE"),
    ("1 BAY WEST DRIVE", "1 BAY WEST DR"),
    ("1 BAY AVENUE SOUTHWEST", "1 BAY AVE SW"),
    ("3 NORTH EAST MAIN STREET", "3 NE MAIN ST"),
    ("1 NORTH SOUTH OAK STREET", "1 N SOUTH OAK ST"),
    ("1 SOUTHEAST FREEWAY NORTH", "1 SOUTHEAST FWY N"),
    ("789 MAIN AVENUE DRIVE", "789 MAIN AVENUE DR"),
    ("4513 3RD STREET CIRCLE WEST", "4513 3RD STREET CIR W"),
    ("1000 AVE E", "1000 AVENUE E"),
    ("1 COUNTY HWY 20", "1 COUNTY HIGHWAY 20"),
    ("842 EAST 1700 SOUTH", "842 E 1700 S"),
    ("55 39.2 ROAD", "55 39.2 RD"),
    ("101 1/2 MAIN STREET", "101 1/2 MAIN ST"),
    ("289-01 MONTGOMERY AVENUE", "289-01 MONTGOMERY AVE"),
    ("425 FLOWER BOULEVARD APARTMENT 3", "425 FLOWER BLVD APT 3"),
    ("7 OAK TERRACE, BUILDING 2", "7 OAK TER BLDG 2"),
    ("7 OAK PARKWAY # 9", "7 OAK PKWY # 9"),
    ("15523 DAWN CREST", "15523 DAWN CRST"),
    ("POST OFFICE BOX 11890", "PO BOX 11890"),
    ("POST OFFICE BOX G", "PO BOX G"),
    ("DRAWER 1234", "PO BOX 1234"),
    ("CALLER 1234", "PO BOX 1234"),
    ("BIN 1234", "PO BOX 1234"),
    ("LOCKBOX 1234", "PO BOX 1234"),
    ("RURAL ROUTE 91 BOX A7", "RR 91 BOX A7"),
    ("RD 51 # 25", "RR 51 BOX 25"),
    ("RFD ROUTE 4 #87A", "RR 4 BOX 87A"),
    ("RR03 BOX 98D", "RR 3 BOX 98D"),
    ("STAR ROUTE 1 BOX 18", "HC 1 BOX 18"),
    ("HC 03 BOX 1050", "HC 3 BOX 1050"),
    ("GEN DELIVERY", "GENERAL DELIVERY"),
]


@pytest.mark.parametrize(("written", "line"), PUBLISHED)
def test_a_delivery_line_is_put_into_the_form_of_the_post(written: str, line: str) -> None:
    assert delivery_line(written) == line


@pytest.mark.parametrize("line", [line for _, line in PUBLISHED])
def test_a_line_in_the_form_of_the_post_stays_as_it_is(line: str) -> None:
    assert delivery_line(line) == line


def test_calle_is_never_turned_into_street() -> None:
    assert "CALLE" in delivery_line("123 Calle 1")


def test_a_private_mail_box_is_kept_apart_from_the_suite_and_is_no_po_box() -> None:
    line = delivery_line("10 Main St Ste 11", "PMB 234")
    assert "PMB 234" in line
    assert "STE 11" in line
    assert "PO BOX" not in line


def test_zeroes_in_a_po_box_are_kept() -> None:
    assert delivery_line("P.O. Box 0012") == "PO BOX 0012"


@pytest.mark.parametrize(
    ("spelled", "short"),
    [
        ("Avenue", "AVE"),
        ("Boulevard", "BLVD"),
        ("Causeway", "CSWY"),
        ("Crossing", "XING"),
        ("Turnpike", "TPKE"),
        ("Trafficway", "TRFY"),
        ("Heights", "HTS"),
        ("Expressway", "EXPY"),
        ("Junction", "JCT"),
        ("Plaza", "PLZ"),
        ("Ridge", "RDG"),
        ("Wells", "WLS"),
    ],
)
def test_street_suffixes_of_appendix_c1(spelled: str, short: str) -> None:
    assert parse(f"12 Juniper {spelled}").suffix == short
    assert parse(f"12 Juniper {short}").suffix == short


@pytest.mark.parametrize(
    ("spelled", "short"),
    [
        ("Apartment", "APT"),
        ("Building", "BLDG"),
        ("Floor", "FL"),
        ("Hangar", "HNGR"),
        ("Room", "RM"),
        ("Suite", "STE"),
        ("Trailer", "TRLR"),
    ],
)
def test_units_of_appendix_c2_that_need_a_number(spelled: str, short: str) -> None:
    assert delivery_line(f"12 Juniper Way {spelled} 7") == f"12 JUNIPER WAY {short} 7"


@pytest.mark.parametrize(
    ("spelled", "short"), [("Basement", "BSMT"), ("Penthouse", "PH"), ("Rear", "REAR"), ("Upper", "UPPR")]
)
def test_units_of_appendix_c2_that_stand_alone(spelled: str, short: str) -> None:
    assert delivery_line(f"12 Juniper Way {spelled}") == f"12 JUNIPER WAY {short}"
