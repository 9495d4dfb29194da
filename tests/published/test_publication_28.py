"""Delivery lines against USPS Publication 28 (Postal Addressing Standards), sections 23 to 28 and Appendix C, and the
Project US@ Technical Specification 1.0 of the federal health IT coordinator, which is built on it.
"""

from __future__ import annotations

import pytest

from replacements.mailings.addressing import states
from replacements.mailings.delivery_line import delivery_line, suffixes


@pytest.mark.parametrize(
    ("written", "standard"),
    [
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
    ],
)
def test_a_delivery_line_in_standard_form(written: str, standard: str) -> None:
    assert delivery_line(written) == standard
    assert delivery_line(written.title()) == standard
    assert delivery_line(standard) == standard


def test_the_zeroes_of_a_po_box_are_its_own() -> None:
    assert delivery_line("P.O. Box 0012") == "PO BOX 0012"  # section 281


def test_the_commonest_suffixes_have_the_codes_of_appendix_c1() -> None:
    codes = (
        "ALY ANX ARC AVE BLVD BR CIR CRST CSWY CT CTR DR EXPY FWY HTS HWY JCT LN LOOP PKWY PL PLZ PT RD RDG SQ ST TER "
        "TPKE TRFY TRL WAY WLS XING"
    )
    known = suffixes()
    assert all(known.get(code) == code for code in codes.split())


def test_fifty_states_the_district_and_what_else_the_post_serves() -> None:
    """Appendix B: 50 states, the District, eight territories and freely associated states, three military regions."""
    assert len(set(states().values())) == 50 + 1 + 8 + 3
