"""Addresses with their roles, and the numbers that identify, as voters write them."""

from __future__ import annotations

from datetime import date

import pytest

from replacements.reading.facts.addresses import find_addresses
from replacements.reading.facts.dates import find_dates
from replacements.reading.facts.numbers import NumberKind, find_numbers
from replacements.reading.types import AddressRole


@pytest.mark.parametrize(
    ("text", "language", "street", "unit", "city"),
    [
        ("I live at 123 Oak Tree Ln, Brockwell, WA 98999.", "en", "123 Oak Tree Ln", "", "Brockwell"),
        ("Ana Poe\n45 Gorse Avenue Apt 3\nBrockwell WA 98999-1234", "en", "45 Gorse Avenue", "Apt 3", "Brockwell"),
        ("P.O. Box 44, Brockwell", "en", "P.O. Box 44", "", "Brockwell"),
        ("i'm at po box 371 lower brockwell. i check it", "en", "po box 371", "", "lower brockwell"),
        ("PSC 802 Box 12, APO AE 09499", "en", "PSC 802 Box 12", "", "APO"),
        ("RR 2 Box 55A\nBrockwell, WA", "en", "RR 2 Box 55A", "", "Brockwell"),
        ("Al Moss\n861 Sedge", "en", "861 Sedge", "", ""),
        ("45 W. Dunlin\nBrockwell", "en", "45 W. Dunlin", "", "Brockwell"),
        ("310 State Route 14, Brockwell", "en", "310 State Route 14", "", "Brockwell"),
        ("12 Avenue B", "en", "12 Avenue B", "", ""),
        ("33 St. Mary's Rd", "en", "33 St. Mary's Rd", "", ""),
        ("1200 NW 5th St #3", "en", "1200 NW 5th St", "#3", ""),
        ("12 Park Ave NE", "en", "12 Park Ave NE", "", ""),
        ("12 Lake View Dr West Brock, OR", "en", "12 Lake View Dr", "", "West Brock"),
        ("123 1/2 Oak St", "en", "123 1/2 Oak St", "", ""),
        ("45-120 Heron Hwy", "en", "45-120 Heron Hwy", "", ""),
        ("Unit 9D, 81 Teal Circle, Upper Brock.", "en", "81 Teal Circle", "Unit 9D", "Upper Brock"),
        ("lot 33 at 79 Reed Ct in Brockwell.", "en", "79 Reed Ct", "lot 33", "Brockwell"),
        ("we close up the house on Larch Way (no. 493, Dell)", "en", "493 Larch Way", "", "Dell"),
        ("it's Ana Poe on Long Hill Road (518).", "en", "518 Long Hill Road", "", ""),
        ("I'm in 4C at Tern Terrace, the 451 building.", "en", "451 Tern Terrace", "4C", ""),
        ("Home is 99 Moor St. in Brockwell", "en", "99 Moor St", "", "Brockwell"),
        ("Aspen Hall room 117", "en", "Aspen Hall", "room 117", ""),
        ("rosa marin 42 pender pike brock dale. gracias", "es", "42 pender pike", "", "brock dale"),
        ("vivo en 61 Alder Rd, apartamento 8, Brockwell.", "es", "61 Alder Rd", "apartamento 8", "Brockwell"),
        ("vivo en la calle Olmo 45, Brockwell", "es", "45 calle Olmo", "", "Brockwell"),
        ("Tôi ở số 79 Snipe Pl, Brockwell.", "vi", "79 Snipe Pl", "", "Brockwell"),
        ("nhà ở Upper Brock, 78 Stone Dr. Phiếu bầu", "vi", "78 Stone Dr", "", "Upper Brock"),
        ("Brock Dale 52 Sheep Rd에 사는 박은주입니다", "ko", "52 Sheep Rd", "", "Brock Dale"),
        ("주소는 25 Quarry Bank Rd입니다", "ko", "25 Quarry Bank Rd", "", ""),
        ("住在 81 Curl Rd, Brockwell", "zh", "81 Curl Rd", "", "Brockwell"),
    ],
)
def test_an_address_is_read_in_its_lines(text: str, language: str, street: str, unit: str, city: str) -> None:
    found = find_addresses(text, language)[0].found
    assert (found.street, found.unit, found.city) == (street, unit, city)


@pytest.mark.parametrize(
    "text",
    [
        "I have been here 19 years on this street",
        "I voted for 2 people and 3 judges. It took 20 minutes",
        "there were 4 of us in the room",
        "I filled in 2 ovals by mistake",
    ],
)
def test_a_number_in_a_story_is_no_address(text: str) -> None:
    assert find_addresses(text, "en") == ()


@pytest.mark.parametrize(
    "text",
    [
        "The drop box at 100 Main St was full",
        "is the library at 40 Elm St still open",
        "I came to your office at 9 Court St",
        "it was delivered to my neighbor at 14 Elm St",
    ],
)
def test_the_address_of_another_place_is_nobodys(text: str) -> None:
    assert all(a.elsewhere for a in find_addresses(text, "en"))


@pytest.mark.parametrize(
    ("text", "language", "roles"),
    [
        ("I moved from 12 Elm St to 90 Birch Ave, Dell.", "en", {"12 Elm St": "old", "90 Birch Ave": "new"}),
        ("I'm not at 12 Elm St anymore", "en", {"12 Elm St": "old"}),
        ("please send it to 14 Candle St, Dell OH 98777", "en", {"14 Candle St": "new"}),
        ("my new address is 77 Finch Blvd Unit 4, Dell", "en", {"77 Finch Blvd": "new"}),
        ("mail it to 8 Wren Ct instead of 12 Elm St", "en", {"8 Wren Ct": "new", "12 Elm St": "old"}),
        ("I'm registered at 12 Elm St but staying at 8 Wren Ct", "en", {"12 Elm St": "home", "8 Wren Ct": "new"}),
        ("Send another to me at 12 Elm St", "en", {"12 Elm St": "home"}),
        ("ya no estoy en Alder 88. Ahora vivo en 52 Fern Cir", "es", {"88 Alder": "old", "52 Fern Cir": "new"}),
        ("Tôi dọn đến 8 Wren Ct, trước đây ở 12 Elm St", "vi", {"8 Wren Ct": "new", "12 Elm St": "old"}),
        ("8 Wren Ct로 이사했습니다. 예전 주소는 12 Elm St입니다", "ko", {"8 Wren Ct": "new", "12 Elm St": "old"}),
    ],
)
def test_an_address_in_a_change_has_its_role(text: str, language: str, roles: dict[str, str]) -> None:
    found = {a.found.street: a.found.role.value for a in find_addresses(text, language, changes=True)}
    assert found == roles


def test_without_a_change_of_address_send_it_to_my_house_is_home() -> None:
    assert find_addresses("Please send it to 14 Candle St", "en")[0].found.role is AddressRole.HOME


@pytest.mark.parametrize(
    ("text", "language", "kind", "value"),
    [
        ("voter number 30519027, lot 33", "en", "voter_id", "30519027"),
        ("Voter number is 31770425.", "en", "voter_id", "31770425"),
        ("voter id: 3051 9027", "en", "voter_id", "30519027"),
        ("my registration # is 0030519027", "en", "voter_id", "0030519027"),
        ("Number on my envelope is 5200713.", "en", "ballot", "5200713"),
        ("ballot no. 5200713", "en", "ballot", "5200713"),
        ("the packet number was 5200713", "en", "ballot", "5200713"),
        ("(541) 555-0161", "en", "phone", "5415550161"),
        ("971 555 0142 if you want", "en", "phone", "9715550142"),
        ("my phone is 5415550123", "en", "phone", "5415550123"),
        ("call 555-0171", "en", "phone", "5550171"),
        ("+1 541-555-0168", "en", "phone", "5415550168"),
        ("Ida Moss 30112233", "en", "bare", "30112233"),
        ("write to Ida.Moss@post.example.", "en", "email", "ida.moss@post.example"),
        ("mi número de votante es el 30112233", "es", "voter_id", "30112233"),
        ("boleta número 4100777", "es", "ballot", "4100777"),
        ("mi telefono es 541 555 0183", "es", "phone", "5415550183"),
        ("số cử tri 30112233", "vi", "voter_id", "30112233"),
        ("số phiếu 4100777", "vi", "ballot", "4100777"),
        ("유권자 번호는 30112233입니다", "ko", "voter_id", "30112233"),
        ("투표용지 번호는 4100777", "ko", "ballot", "4100777"),
    ],
)
def test_a_number_is_what_the_words_beside_it_say(text: str, language: str, kind: str, value: str) -> None:
    found = find_numbers(text, language)
    assert [(n.kind, n.value) for n in found] == [(NumberKind(kind), value)]


def test_a_zip_code_or_a_date_is_no_id() -> None:
    text = "Brockwell 98999-1234, born 05031961"
    held = [(d.start, d.end) for d in find_dates(text, "en", date(2026, 10, 1))]
    assert find_numbers(text, "en", held) == ()
