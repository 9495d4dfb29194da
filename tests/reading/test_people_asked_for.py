"""For whom a message asks: the writer, a couple, somebody else; and who is only mentioned."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from replacements.mail.letter import Letter, PartLabel, Sender, TextPart
from replacements.reading.facts.names import compatible, from_name
from replacements.reading.kinds import Evidence, KindsFound
from replacements.reading.people import find_people
from replacements.reading.sentences import sentences
from replacements.reading.types import AddressRole, Flag, Kind, KindFound, Person, Topic

SPOILED = (Kind.SPOILED_BALLOT,)
QUESTION = (Kind.QUESTION,)


def letter(
    text: str, sender: str = "", address: str = "someone@post.example", quoted: str = "", signature: str = ""
) -> Letter:
    parts = [TextPart(PartLabel.NEW, text)]
    if signature:
        parts.append(TextPart(PartLabel.SIGNATURE, signature))
    if quoted:
        parts.append(TextPart(PartLabel.QUOTED, quoted))
    return Letter(
        "<1@post.example>", Sender(address, sender), "ballot", datetime(2026, 10, 20, 9, tzinfo=UTC), tuple(parts)
    )


def people(
    text: str,
    sender: str = "",
    *,
    kinds: tuple[Kind, ...] = SPOILED,
    says: tuple[tuple[str, Kind], ...] = (),
    language: str = "en",
    address: str = "someone@post.example",
    quoted: str = "",
    signature: str = "",
    topics: tuple[Topic, ...] = (),
    flags: frozenset[Flag] = frozenset(),
) -> tuple[Person, ...]:
    """The people of a message whose kinds are known; `says` are the words in it that made them."""
    mail = letter(text, sender, address, quoted, signature)
    evidence = tuple(Evidence(k, w, text.index(w), text.index(w) + len(w), 2.0, 0, None) for w, k in says)
    found = KindsFound(
        tuple(KindFound(k, 0.9, ()) for k in kinds), evidence, topics, flags, (), None, language, sentences(text)
    )
    return find_people(mail, found)


@pytest.mark.parametrize(
    ("text", "sender", "language", "name"),
    [
        ("I marked two for mayor. Can I get another?\n\nSteve", "Steve Moss", "en", "Steve"),
        ("Need a new one.\n\nThanks,\nIda Moss", "", "en", "Ida Moss"),
        ("My name is Walter Q. Finch and I tore my ballot.", "", "en", "Walter Q. Finch"),
        ("Ida Moss here. I spilled tea on my ballot.", "", "en", "Ida Moss"),
        ("i ruined it. can i have another?? ida moss", "Ida", "en", "ida moss"),
        ("I tore it.\n\nida moss\n12 elm st\nbrock dale", "idam", "en", "ida moss"),
        ("I CANNOT READ MY BALLOT\n\nNORA FINCH\n12 ELM ST\nBORN JULY 26 1940", "", "en", "NORA FINCH"),
        ("Tore it. Ida Moss, 10/17/1955, 42 Elm St, Brockwell.", "", "en", "Ida Moss"),
        ("I tore mine.\n\nYours truly,\n(Mrs.) Ida Moss", "", "en", "Ida Moss"),
        (
            "1. Ballot torn.\n2. Name: Finch, Walter Q. Home of record: 12 Elm St\n\nV/r",
            "SSgt Finch, Walter Q.",
            "en",
            "Walter Q. Finch",
        ),
        ("Please mail it to me, Ida P. Moss, 12 Elm St, Dell.\n\nThanks.", "", "en", "Ida P. Moss"),
        ("I'm now Ida Brandt. You have me as Ida Moss at 12 Elm St.\n\nIda", "", "en", "Ida Brandt"),
        ("Hola, mi nombre es Beatriz Marín y se me rompió la boleta.", "", "es", "Beatriz Marín"),
        ("Buenas, soy Luis Godoy de la 47 Elm Rd. Se me mojó la boleta", "", "es", "Luis Godoy"),
        ("me llamo rosa ortega y se me mojo la boleta", "", "es", "rosa ortega"),
        (
            "Se me rompió la boleta.\n\nAtentamente,\nIgnacio García Robles\nSupervisor de turno",
            "",
            "es",
            "Ignacio García Robles",
        ),
        ("Tôi tên là Trần Thị Sương, sinh năm 1950. Tôi tô nhầm.", "", "vi", "Trần Thị Sương"),
        ("Tôi là Lê Văn Hải ở 12 Elm St. Phiếu của tôi bị ướt.", "", "vi", "Lê Văn Hải"),
        ("안녕하세요. 저는 김철수라고 합니다. 투표용지가 찢어졌습니다.", "", "ko", "김철수"),
        ("투표용지가 젖었습니다.\n\n박은주 드림", "", "ko", "박은주"),
        ("我是陳美玲（Meiling Chen），選票填錯了。", "", "zh", "陳美玲"),
    ],
)
def test_the_writer_is_named_as_the_letter_says(text: str, sender: str, language: str, name: str) -> None:
    (person,) = people(text, sender, language=language)
    assert (person.name, person.is_writer) == (name, True)


def test_a_first_name_goes_with_the_whole_name_of_the_from_line() -> None:
    (person,) = people("Filled in two. Another please?\n\nSteve", "Steve Moss")
    assert person.names == ("Steve", "Steve Moss")
    assert person.emails == ("someone@post.example",)


def test_a_roman_name_in_brackets_is_kept_beside_the_korean_one() -> None:
    (person,) = people("저는 최은호(Eun-ho Choi)입니다. 투표용지를 망쳤습니다.", language="ko")
    assert person.names[:2] == ("최은호", "Eun-ho Choi")


def test_a_former_name_is_one_of_the_names() -> None:
    (person,) = people("I'm Ida Brandt, maiden name Ida Moss. I tore my ballot.")
    assert set(person.names) == {"Ida Brandt", "Ida Moss"}


@pytest.mark.parametrize(
    ("text", "suffix"),
    [
        ("Sean Warr JUNIOR, born February 18 2002. I tore my ballot.", "JUNIOR"),
        ("I tore my ballot.\n\nWalter Finch Jr.", "Jr"),
        ("I tore my ballot. There are two of us, I'm the son.\n\nWalter Finch", "Jr"),
        ("I tore my ballot. I am the older one.\n\nWalter Finch", "Sr"),
        ("I tore my ballot at the senior center.\n\nWalter Finch", ""),
    ],
)
def test_a_suffix_is_read_or_told_in_words(text: str, suffix: str) -> None:
    assert people(text)[0].suffix == suffix


def test_the_body_outranks_the_from_line() -> None:
    (person,) = people(
        "I ripped my ballot. Unit 6B, 82 Teal Circle. Date of birth 25 July 1960.\n\nLaura Wren",
        "Kevin Wren",
        address="kevinwren.tile@post.example",
        signature="Wren Tile. Kevin, 555-0144",
    )
    assert person.names == ("Laura Wren",)
    assert person.emails == ()
    assert person.phones == ()
    assert person.birth_dates == ((1960, 7, 25),)


def test_who_writes_from_a_mothers_account_asks_for_himself() -> None:
    (person,) = people(
        "This is Jerry writing not Ruby, shes my mom and im locked out of my email so im on hers.\n\n"
        "I spilled soda on my ballot. Jerry Moss, 35 Elm Way. I'm the 21 year old one. My dad has "
        "the same name but his is fine.",
        "Ruby Moss",
        says=(("spilled soda on my ballot", Kind.SPOILED_BALLOT),),
    )
    assert (person.name, person.is_writer, person.age, person.emails) == ("Jerry Moss", True, 21, ())


def test_a_daughter_who_asks_for_her_father_is_not_the_person() -> None:
    (person,) = people(
        "I'm writing on behalf of my father, Albert Frost, 91 Tern Ln in Dell, DOB 12/24/1941. He "
        "spilled coffee on his ballot. "
        "Could you send him another?\n\nPam Frost-Yates\n(daughter)\n12 Elm St\n(541) 555-0122",
        "Pam Frost-Yates",
        says=(("spilled coffee", Kind.SPOILED_BALLOT), ("send him another", Kind.SPOILED_BALLOT)),
    )
    assert (person.name, person.relation, person.is_writer) == ("Albert Frost", "father", False)
    assert (person.birth_dates, person.emails, person.phones) == (((1941, 12, 24),), (), ())
    assert [a.street for a in person.addresses] == ["91 Tern Ln"]


@pytest.mark.parametrize(
    ("text", "language", "name", "relation", "says"),
    [
        (
            "My mother Ida Moss got her ballot wet. Can you send her a new one? Her birthday is 3/9/1941.\n\nTom Moss",
            "en",
            "Ida Moss",
            "mother",
            "got her ballot wet",
        ),
        (
            "I am asking for my neighbor, Mr. Walter Finch, 12 Elm St. He tore his ballot.\n\nTom Moss",
            "en",
            "Walter Finch",
            "neighbor",
            "tore his ballot",
        ),
        (
            "My son Martin is deployed and his ballot never came. His is Martin Erik Gard, born 7/5/2002.\n\nGwen Gard",
            "en",
            "Martin Erik Gard",
            "son",
            "never came",
        ),
        (
            "Escribo de parte de mi mamá, Rosa Marín, nacida el 3 de mayo de 1944. Se le mojó la boleta.\n\nAna Marín",
            "es",
            "Rosa Marín",
            "mother",
            "mojó la boleta",
        ),
        (
            "Tôi viết thay cho mẹ tôi là Nguyễn Thị Hoa, sinh năm 1944. Mẹ tôi tô nhầm phiếu.\n\nLan",
            "vi",
            "Nguyễn Thị Hoa",
            "mother",
            "tô nhầm phiếu",
        ),
        (
            "저희 어머니 김영희 님을 대신해 씁니다. 어머니께서 투표용지를 잘못 표시하셨습니다.\n\n박은주 드림",
            "ko",
            "김영희",
            "mother",
            "잘못 표시",
        ),
    ],
)
def test_somebody_else_is_asked_for(text: str, language: str, name: str, relation: str, says: str) -> None:
    (person,) = people(text, language=language, says=((says, Kind.SPOILED_BALLOT),))
    assert (person.name, person.relation, person.is_writer, person.emails) == (name, relation, False, ())


def test_ones_own_and_the_husbands_are_two_people() -> None:
    one, other = people(
        "I spoiled mine and my husband Carl never got his. Please send two.\n\nIda Moss\n12 Elm St",
        kinds=(Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED),
        says=(("spoiled mine", Kind.SPOILED_BALLOT), ("never got his", Kind.NOT_RECEIVED)),
    )
    assert (one.name, one.is_writer, one.kinds) == ("Ida Moss", True, (Kind.SPOILED_BALLOT,))
    assert (other.name, other.is_writer, other.kinds) == ("Carl", False, (Kind.NOT_RECEIVED,))
    assert "Carl Moss" in other.names
    assert other.addresses == one.addresses


def test_a_given_name_that_needs_one_too_is_a_third_party() -> None:
    one, other = people(
        "It's Ida Moss on Long Hill Road (73). I crossed out a name on mine. So one for me please.\n\n"
        "Carlos needs one too. He's away so I'm doing it for him.\n\nIda",
        "Ida Moss",
        says=(("crossed out a name", Kind.SPOILED_BALLOT),),
    )
    assert (one.name, other.name, other.is_writer) == ("Ida Moss", "Carlos", False)
    assert "Carlos Moss" in other.names


def test_a_couple_who_both_sign_ask_each_for_themselves() -> None:
    both = people(
        "My husband and I managed to spoil both of our ballots.\n\nFrank Kent Wren, born January 18, 1941\n"
        "Della M. Wren, born March 29, 1941\nboth at 81 Drake Rd, Dell\n\nFrank Wren\nDella Wren",
        "Della Wren",
        says=(("spoil both", Kind.SPOILED_BALLOT),),
    )
    assert {p.name: (p.is_writer, p.birth_dates) for p in both} == {
        "Frank Kent Wren": (True, ((1941, 1, 18),)),
        "Della M. Wren": (True, ((1941, 3, 29),)),
    }
    assert all(p.addresses[0].street == "81 Drake Rd" and p.emails for p in both)


def test_a_household_account_belongs_to_both_who_sign() -> None:
    both = people(
        "Ben and Imani Stork at 35 Teal Ct in Dell. Neither of ours came.\n\nBen Stork "
        "(4/19/74)\nand Imani Stork (1/16/77), who is typing",
        "The Storks",
        kinds=(Kind.NOT_RECEIVED,),
        says=(("Neither of ours came", Kind.NOT_RECEIVED),),
    )
    assert {p.name for p in both} == {"Ben Stork", "Imani Stork"}
    assert all(p.emails == ("someone@post.example",) and p.is_writer for p in both)


@pytest.mark.parametrize(
    "text",
    [
        "I spilled milk on my ballot. My twin sister Marie lives here too, hers is fine.\n\nIda Moss",
        "I tore my ballot. My wife has hers already.\n\nIda Moss",
        "My son Tim spilled milk on my ballot.\n\nIda Moss",
        "My neighbor Bob got his last week. My ballot is torn.\n\nIda Moss",
        "My dad has the same name but his is fine. I tore my ballot.\n\nIda Moss",
        "I was talking to my sister and tore my ballot.\n\nIda Moss",
        "My husband says my ballot is no good since I tore it. Please send me another.\n\nIda Moss",
    ],
)
def test_who_is_only_mentioned_is_no_person(text: str) -> None:
    assert [
        p.name for p in people(text, says=(("my ballot", Kind.SPOILED_BALLOT),) if "my ballot" in text else ())
    ] == ["Ida Moss"]


def test_what_is_dictated_to_a_grandson_is_ones_own_request() -> None:
    (person,) = people(
        "Marqué mal mi boleta. Manden otra.\n\nJavier Vargas Luna\n33 Gorse Avenue\nNacido el 1 de "
        "agosto de 1945\n\nP.D. Le dicto esto a mi nieto.",
        "Javier Vargas",
        language="es",
        says=(("Marqué mal mi boleta", Kind.SPOILED_BALLOT),),
    )
    assert (person.name, person.is_writer, person.birth_dates) == ("Javier Vargas Luna", True, ((1945, 8, 1),))


def test_a_pet_form_in_the_family_does_not_take_the_mothers_place() -> None:
    (person,) = people(
        "Tengo 89 años. Mi hija Lupita me lee la boleta. ¿Dónde consigo la hoja para mi "
        "boleta?\n\nGuadalupe Fuentes Prado\n58 Elm St",
        language="es",
        kinds=(Kind.ASSISTANCE,),
    )
    assert (person.name, person.age) == ("Guadalupe Fuentes Prado", 89)


def test_a_fathers_birth_date_is_not_the_sons() -> None:
    (person,) = people("I tore my ballot. My dad was born 3/4/1950, I was born 7/8/1980.\n\nWalter Finch")
    assert person.birth_dates == ((1980, 7, 8), (1980, 8, 7))


def test_an_age_of_a_relative_is_not_the_writers() -> None:
    (person,) = people(
        "I tore my ballot while feeding my 85 year old mother.\n\nIda Moss",
        says=(("tore my ballot", Kind.SPOILED_BALLOT),),
    )
    assert person.age is None


def test_a_mail_without_a_name_that_wants_a_ballot_is_about_one_nameless_person() -> None:
    (person,) = people("need new one")
    assert (person.name, person.emails, person.kinds) == ("", ("someone@post.example",), SPOILED)


def test_a_general_question_is_about_nobody() -> None:
    assert people("what is the last day to ask for one", kinds=QUESTION, topics=(Topic.DEADLINE,)) == ()


def test_a_question_by_somebody_who_signs_is_about_them() -> None:
    assert people("Did you get it?\n\nIda Moss", kinds=QUESTION)[0].name == "Ida Moss"


@pytest.mark.parametrize(
    ("text", "sender"),
    [
        (
            "I'm the activities coordinator at a nursing home. Can staff help residents?\n\nTrudy Vane",
            "Activities - Elder House",
        ),
        ("The lady next door asked me to help with her ballot. Do I sign the form?\n\nFern Oller", "Fern Oller"),
    ],
)
def test_a_helpers_general_question_is_about_nobody(text: str, sender: str) -> None:
    assert people(text, sender, kinds=(Kind.ASSISTANCE,)) == ()


@pytest.mark.parametrize("kind", [Kind.AUTOMATIC, Kind.OTHER])
def test_machine_mail_and_junk_are_about_nobody(kind: Kind) -> None:
    assert people("Ida Moss, 12 Elm St, born 3/4/1950", kinds=(kind,)) == ()


def test_a_reply_with_details_takes_name_and_address_from_the_first_request() -> None:
    (person,) = people(
        "Sure, May 15 2001.\n\nBen",
        "Ben Fisk",
        kinds=(Kind.DETAILS,),
        quoted="On Wed, Oct 14, 2026 the office wrote:\n> Hello,\n> we could not tell whose ballot it is. "
        "Please send us your birth date.\n>\n"
        ">> I need a new ballot. Ben Fisk, 17 Ridge Blvd, Dell",
    )
    assert person.birth_dates == ((2001, 5, 15),)
    assert "Ben Fisk" in person.names
    assert [a.street for a in person.addresses] == ["17 Ridge Blvd"]


def test_the_name_that_the_office_greeted_supplements_a_first_name() -> None:
    (person,) = people(
        "Still not here.\n\nEthan",
        "",
        kinds=(Kind.NOT_RECEIVED,),
        quoted="> Dear Ethan Dunne,\n> we have put a new ballot in the mail.",
    )
    assert person.names == ("Ethan", "Ethan Dunne")


def test_an_office_that_greets_somebody_else_adds_nothing() -> None:
    (person,) = people(
        "Never came.\n\nEthan Dunne", quoted="> Dear Walter Finch,\n> we have put a new ballot in the mail."
    )
    assert person.names == ("Ethan Dunne",)


def test_a_list_of_residents_is_read_as_third_parties() -> None:
    text = "Our residents need new ballots:\n" + "\n".join(
        f"{name}, born {n + 1}/{n + 13}/1940"
        for n, name in enumerate(["Ida Moss", "Walter Finch", "Rosa Marin", "Al Teal"])
    )
    found = people(text + "\n\nTrudy Vane\nElder House", "Elder House", flags=frozenset({Flag.MANY_PEOPLE}))
    assert [p.name for p in found] == ["Ida Moss", "Walter Finch", "Rosa Marin", "Al Teal"]
    assert not any(p.is_writer for p in found)
    assert found[1].birth_dates == ((1940, 2, 14),)


def test_the_household_name_completes_an_initial() -> None:
    (person,) = people("Torn. Another?\n\nTyrone K.", "The Kowals")
    assert person.names == ("Tyrone K.", "Tyrone Kowal")


def test_status_of_ones_own_and_of_a_named_other_is_about_both() -> None:
    one, other = people("Were Adam's and mine okay?\n\nIda Moss\n52 Elm St", kinds=QUESTION, topics=(Topic.STATUS,))
    assert (one.name, other.name, other.is_writer) == ("Ida Moss", "Adam", False)


def test_a_new_address_is_marked_so() -> None:
    (person,) = people(
        "I moved from 12 Elm St to 90 Birch Ave, Dell. My ballot got wet.\n\nIda Moss",
        kinds=(Kind.SPOILED_BALLOT, Kind.ADDRESS_CHANGE),
    )
    assert [(a.street, a.role) for a in person.addresses] == [
        ("12 Elm St", AddressRole.OLD),
        ("90 Birch Ave", AddressRole.NEW),
    ]


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
        ("Kevin Wren", "Laura Wren", False),
        ("Nacho García", "Ignacio García Robles", True),
        ("TK", "Tina Kerr", True),
        ("toya", "Latoya Ray", True),
        ("Mel O", "Melissa Orr", True),
        ("Lou Vane", "Louise Vane", True),
        ("Ruby Moss", "Jerry Moss", False),
        ("Dottie Pratt", "Dorothy Pratt", True),
        ("Ida Moss", "Ida Brandt", True),
        ("최은호", "Eun-ho Choi", True),
        ("최은호", "박은주", False),
    ],
)
def test_two_forms_may_be_one_persons_name(one: str, two: str, *, may_be: bool) -> None:
    assert compatible(one, two) is may_be


@pytest.mark.parametrize(
    ("display", "names", "household"),
    [
        ("SSgt Finch, Walter Q.", ("Walter Q. Finch",), ""),
        ("Finch, Albert Jr.", ("Albert Finch Jr",), ""),
        ("The Storks", (), "Stork"),
        ("La familia García", (), "García"),
        ("Ben and Imani Stork", ("Ben Stork", "Imani Stork"), ""),
        ("Espe \U0001f33b", ("Espe",), ""),
        ("최은호 (Eun-ho Choi)", ("최은호", "Eun-ho Choi"), ""),
        ('"N. Moss"', ("N. Moss",), ""),
        ("Robert (Bob) Lane", ("Robert Lane", "Bob Lane"), ""),
        ("Will Love", ("Will Love",), ""),
        ("Ana Hall", ("Ana Hall",), ""),
        ("Anh Pham", ("Anh Pham",), ""),
        ("Activities - Elder House", (), ""),
        ("County Clerk", (), ""),
        ("friend of the marsh", (), ""),
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
