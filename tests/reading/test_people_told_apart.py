"""People whom only small things tell apart: two in one signature, relatives, surnames first, subjects."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from replacements.reading.facts.names import compatible, from_name
from replacements.reading.kinds import KindsFound, find_kinds
from replacements.reading.people import find_people
from replacements.reading.types import AddressRole, Kind, KindFound, Person
from tests.reading.known_kinds import QUESTION, SPOILED, letter, people


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.text(max_size=300),
    st.text(max_size=30),
    st.sampled_from(["en", "es", "vi", "ko", "zh", "fr", "und", "xx"]),
    st.sampled_from([SPOILED, QUESTION, (Kind.DETAILS,), (Kind.ADDRESS_CHANGE, Kind.WITHDRAWAL)]),
)
def test_no_text_breaks_the_reading_of_people(text: str, sender: str, language: str, kinds: tuple[Kind, ...]) -> None:
    first = people(text, sender, kinds=kinds, language=language, quoted=text)
    assert first == people(text, sender, kinds=kinds, language=language, quoted=text)
    for person in first:
        assert set(person.kinds) <= set(kinds)


_WORDS = st.sampled_from(
    [
        "My",
        "mother",
        "father",
        "Ida",
        "Moss",
        "12",
        "Elm",
        "St",
        ",",
        ".",
        "\n",
        "DOB",
        "3/4/1950",
        "ballot",
        "her",
        "his",
        "mine",
        "spoiled",
        "and",
        "I",
        "me",
        "send",
        "another",
        "Thanks",
        ">",
        "Dear",
        "P.O.",
        "Box",
        "5",
        "my",
        "husband's",
        "voter",
        "id",
        "30112233",
        "apt",
    ]
)


@settings(max_examples=150, deadline=None)
@given(st.lists(_WORDS, max_size=40))
def test_no_mixture_of_the_trades_words_breaks_the_reading_of_people(words: list[str]) -> None:
    text = " ".join(words)
    assert all(isinstance(p, Person) for p in people(text, "Ida Moss", quoted=text))


def test_a_daughter_of_a_named_man_writes_for_him() -> None:
    (person,) = people(
        "I'm Sam Pruitt's daughter. Dad (Samuel Pruitt, 1/9/1939, 14 Vine St) dropped his ballot in the tub. "
        "Please send a new one to his house.\n\nBeth",
        says=(("dropped his ballot in the tub", Kind.SPOILED_BALLOT),),
    )
    assert (person.relation, person.is_writer, person.birth_dates[0]) == ("father", False, (1939, 1, 9))
    assert set(person.names) == {"Sam Pruitt", "Samuel Pruitt"}


def test_parents_are_two_third_parties() -> None:
    found = people(
        "My parents, Ray and Lorna Finch, both spoiled their ballots. They live at 12 Spruce St. "
        "Can you send them new ones?\n\nGreg Finch",
        says=(("spoiled their ballots", Kind.SPOILED_BALLOT),),
    )
    assert [(p.name, p.is_writer) for p in found] == [("Ray Finch", False), ("Lorna Finch", False)]


def test_two_names_in_one_signature_both_ask() -> None:
    found = people("We mixed up our envelopes, can we get two new ballots?\n\nJune & Walt Peters\n400 N 3rd Ave")
    assert {(p.name, p.is_writer) for p in found} == {("June Peters", True), ("Walt Peters", True)}


def test_who_gives_a_wifes_birth_date_asks_for_her_too() -> None:
    found = people(
        "Send ballots for me and my wife. Both were ruined. Dale Norr 4/4/52, Joyce Norr 7/19/54. 33 Creek Rd."
    )
    assert [(p.name, p.birth_dates) for p in found] == [
        ("Dale Norr", ((1952, 4, 4),)),
        ("Joyce Norr", ((1954, 7, 19),)),
    ]


@pytest.mark.parametrize(
    ("text", "sender", "name"),
    [
        ("New ballot needed. POE, MARY ANN. 04/09/1958. 22 COUNTY ROAD 12.", "", "MARY ANN POE"),
        ("Ballot damaged. Voter ID 40112233. Thanks M. Oser", "M Oser", "M. Oser"),
        ("I tore it. Juan Carlos Prado hijo, nacido 15/8/1990. 77 Oak St.", "JC", "Juan Carlos Prado hijo"),
        ("hey its mike from 22 Heron ave, i need a new ballot", "mike t", "mike"),
        ("Jane Dole (formerly Jane Pike)\n61 Elm\nI botched my ballot", "Jane", "Jane Dole"),
    ],
)
def test_a_name_in_an_unusual_place_is_one_person(text: str, sender: str, name: str) -> None:
    (person,) = people(text, sender)
    assert person.name == name


def test_what_is_said_of_oneself_goes_to_the_writer() -> None:
    one, other = people(
        "My name is Omar Hadd. My mother Salma Hadd spoiled her ballot and I spoiled mine. "
        "I was born 6/6/1988, she was born 1/1/1960. 30 Birch Ct",
        says=(("spoiled her ballot", Kind.SPOILED_BALLOT), ("spoiled mine", Kind.SPOILED_BALLOT)),
    )
    assert (one.name, one.birth_dates) == ("Omar Hadd", ((1988, 6, 6),))
    assert (other.name, other.is_writer, other.birth_dates) == ("Salma Hadd", False, ((1960, 1, 1),))


def test_a_daughter_who_names_her_father_in_vietnamese_writes_for_him() -> None:
    (person,) = people(
        "Tôi là con gái của ông Đỗ Văn Minh, 82 tuổi, ở 14 Elm St. Ba tôi làm rách phiếu bầu. Xin "
        "gửi cho ba tôi.\n\nĐỗ Thu Hà",
        language="vi",
        says=(("làm rách phiếu bầu", Kind.SPOILED_BALLOT),),
    )
    assert ("Đỗ Văn Minh" in person.names, person.is_writer, person.age) == (True, False, 82)


def test_two_vietnamese_names_of_one_family_are_two_people() -> None:
    assert not compatible("Đỗ Văn Minh", "Đỗ Thu Hà")
    assert compatible("Đỗ Văn Minh", "Minh Do")


@pytest.mark.parametrize(
    ("one", "two", "may_be"),
    [
        ("Anders Holm", "Petra Holm", False),
        ("Pepe García", "José García Robles", True),
        ("BW", "Bea Wirth", True),
        ("nita", "Juanita Ray", True),
        ("Gab R", "Gabriel Rey", True),
        ("Vic Sand", "Victor Sand", True),
        ("Nisha Moss", "Dev Moss", False),
        ("Peg Pratt", "Margaret Pratt", True),
        ("Ida Moss", "Ida Brandt", True),
        ("윤지호", "Ji-ho Yoon", True),
        ("윤지호", "박은주", False),
    ],
)
def test_two_forms_may_be_one_persons_name(one: str, two: str, *, may_be: bool) -> None:
    assert compatible(one, two) is may_be


@pytest.mark.parametrize(
    ("display", "names", "household"),
    [
        ("Sgt Finch, Walter Q.", ("Walter Q. Finch",), ""),
        ("Finch, Albert Jr.", ("Albert Finch Jr",), ""),
        ("The Cranes", (), "Crane"),
        ("La familia García", (), "García"),
        ("Noor and Paul Crane", ("Noor Crane", "Paul Crane"), ""),
        ("Rosi \U0001f33b", ("Rosi",), ""),
        ("윤지호 (Ji-ho Yoon)", ("윤지호", "Ji-ho Yoon"), ""),
        ('"N. Moss"', ("N. Moss",), ""),
        ("Robert (Bob) Lane", ("Robert Lane", "Bob Lane"), ""),
        ("Will Love", ("Will Love",), ""),
        ("Ana Hall", ("Ana Hall",), ""),
        ("Anh Pham", ("Anh Pham",), ""),
        ("Front desk - Elder House", (), ""),
        ("County Clerk", (), ""),
        ("keeper of the pond", (), ""),
        ("someone@post.example", (), ""),
        ("", (), ""),
    ],
)
def test_a_from_line_names_people_or_a_household_or_nobody(
    display: str, names: tuple[str, ...], household: str
) -> None:
    assert (from_name(display).names, from_name(display).household) == (names, household)


def test_particulars_below_the_signature_line_are_the_writers() -> None:
    (person,) = people("I tore my ballot.", "Ida Moss", signature="Ida Moss\n12 Elm St\n(541) 555-0122")
    assert (person.name, person.addresses[0].street, person.phones) == ("Ida Moss", "12 Elm St", ("5415550122",))


def test_the_address_of_a_firm_below_the_signature_line_is_not() -> None:
    (person,) = people(
        "I tore my ballot.", "Ida Moss", signature="Ida Moss\nMoss Roofing LLC\n12 Elm St\n(541) 555-0122"
    )
    assert (person.addresses, person.phones) == ((), ())


def test_a_ballot_number_in_the_subject_counts() -> None:
    mail = replace(letter("I voted for two.\n\nIda Moss"), subject="re: ballot no. 4100699")
    found = KindsFound((KindFound(Kind.SPOILED_BALLOT, 0.9, ()),), (), (), frozenset(), (), None, "en", ())
    assert find_people(mail, found)[0].ballot_numbers == ("4100699",)


def test_particulars_after_a_question_for_my_mom_are_moms() -> None:
    (person,) = people(
        "Can my mom get a new one? She tore it up. Rose Eller 81 Thorn Ct",
        "Hank Eller",
        says=(("get a new one", Kind.SPOILED_BALLOT), ("tore it up", Kind.SPOILED_BALLOT)),
    )
    assert (person.name, person.relation, person.is_writer) == ("Rose Eller", "mother", False)


def test_a_wife_who_writes_my_ballot_from_her_husbands_account_stays_herself() -> None:
    (person,) = people("My husband threw my ballot out. Another please. Rose Eller 81 Thorn Ct", "Hank Eller")
    assert (person.name, person.is_writer, person.emails) == ("Rose Eller", True, ())


def test_the_undersigned_is_named() -> None:
    (person,) = people(
        "I, Thaddeus Monk, spoiled my ballot. Registered: 19 Abbey Rd. Mailing: PO Box 8, Dell.", "T. Monk"
    )
    assert person.name == "Thaddeus Monk"
    assert [a.street for a in person.addresses] == ["19 Abbey Rd", "PO Box 8"]


MINE = (("spoiled my ballot", Kind.SPOILED_BALLOT),)


def test_a_couples_greeting_below_i_spoiled_my_ballot_is_the_senders_request_alone() -> None:
    (person,) = people("I spoiled my ballot.\n\nBob and Sue Hart\n12 Elm St", "Bob Hart", says=MINE)
    assert person.name == "Bob Hart"


def test_where_two_sign_and_one_asks_nobody_is_named_unless_something_says_who() -> None:
    (person,) = people("I spoiled my ballot.\n\nBob and Sue Hart\n12 Elm St", "The Harts", says=MINE)
    assert (person.name, person.names) == ("", ())
    assert [a.street for a in person.addresses] == ["12 Elm St"]


def test_who_says_the_name_is_named_though_two_sign() -> None:
    (person,) = people("Sue here, I spoiled my ballot.\n\nBob and Sue Hart\n12 Elm St", "The Harts", says=MINE)
    assert person.name in ("Sue", "Sue Hart")
    assert "Bob Hart" not in person.names


def test_where_the_wife_is_named_in_the_letter_the_other_signer_writes() -> None:
    (person,) = people(
        "I spoiled my ballot. My wife Sue says hi.\n\nBob and Sue Hart\n12 Elm St", "The Harts", says=MINE
    )
    assert person.name == "Bob Hart"


def test_years_old_before_an_address_does_not_make_it_an_old_address() -> None:
    (person,) = people("I spoiled my ballot. Edna Frye, 94 years old, 2 Lilac Ct")
    assert (person.age, person.addresses[0].role) == (94, AddressRole.HOME)


def test_a_mailing_address_given_without_a_change_is_one_the_office_may_have() -> None:
    (person,) = people("Never came. Mailing address is PO Box 12, Elk Dell. Residence 30 Ridge Rd. Len Moss")
    assert [a.role for a in person.addresses] == [AddressRole.HOME, AddressRole.HOME]


def test_an_address_at_a_mothers_house_is_ones_own() -> None:
    (person,) = people("I tore my ballot. Ida Moss, 11/02/2005, registered at my mom's 83 Bramble Rd Dell", "Ida")
    assert [a.street for a in person.addresses] == ["83 Bramble Rd"]


@pytest.mark.parametrize(
    "text",
    [
        "I spoiled mine and my husband never got his.",
        "My husband never got his and I spoiled mine.",
        "I messed up my ballot, and my wife's never came. Two more please.",
        "저는 잘못 칠했고 남편은 아직 못 받았습니다",
    ],
)
def test_two_people_with_two_troubles_ask_two_things(text: str) -> None:
    found = find_kinds(letter(text))
    assert {Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED} <= {k.kind for k in found.kinds}
