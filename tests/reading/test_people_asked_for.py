"""For whom a message asks: the writer, a couple, somebody else; and who is only mentioned."""

from __future__ import annotations

import pytest

from replacements.reading.types import AddressRole, Flag, Kind, Topic
from tests.reading.known_kinds import QUESTION, SPOILED, people


@pytest.mark.parametrize(
    ("text", "sender", "language", "name"),
    [
        ("One race has two marks from me, could I have a clean sheet?\n\nCarla", "Carla Moss", "en", "Carla"),
        ("Need a new one.\n\nThanks,\nIda Moss", "", "en", "Ida Moss"),
        ("My name is Walter Q. Finch and I tore my ballot.", "", "en", "Walter Q. Finch"),
        ("Ida Moss here. I spilled tea on my ballot.", "", "en", "Ida Moss"),
        ("i ruined it. can i have another?? ida moss", "Ida", "en", "ida moss"),
        ("I tore it.\n\nida moss\n12 elm st\nbrock dale", "idam", "en", "ida moss"),
        ("MY BALLOT IS BLURRED\n\nNORA FINCH\n12 ELM ST\nBORN MAY 2 1937", "", "en", "NORA FINCH"),
        ("Tore it. Ida Moss, 10/17/1955, 42 Elm St, Brockwell.", "", "en", "Ida Moss"),
        ("I tore mine.\n\nYours truly,\n(Mrs.) Ida Moss", "", "en", "Ida Moss"),
        (
            "1. Ballot torn.\n2. Name: Finch, Walter Q. Home of record: 12 Elm St\n\nV/r",
            "Sgt Finch, Walter Q.",
            "en",
            "Walter Q. Finch",
        ),
        ("Please mail it to me, Ida P. Moss, 12 Elm St, Dell.\n\nThanks.", "", "en", "Ida P. Moss"),
        ("I'm now Ida Brandt. You have me as Ida Moss at 12 Elm St.\n\nIda", "", "en", "Ida Brandt"),
        ("Hola, mi nombre es Beatriz Marín y se me rompió la boleta.", "", "es", "Beatriz Marín"),
        ("Buenas, soy Luis Godoy de la 47 Elm Rd. Se me mojó la boleta", "", "es", "Luis Godoy"),
        ("me llamo rosa ortega y se me mojo la boleta", "", "es", "rosa ortega"),
        (
            "Se me rompió la boleta.\n\nAtentamente,\nJosé García Robles\nSupervisor de turno",
            "",
            "es",
            "José García Robles",
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
    (person,) = people("Too many marks in one race; another, please?\n\nCarla", "Carla Moss")
    assert person.names == ("Carla", "Carla Moss")
    assert person.emails == ("someone@post.example",)


def test_a_roman_name_in_brackets_is_kept_beside_the_korean_one() -> None:
    (person,) = people("저는 윤지호(Ji-ho Yoon)입니다. 투표용지를 망쳤습니다.", language="ko")
    assert person.names[:2] == ("윤지호", "Ji-ho Yoon")


def test_a_former_name_is_one_of_the_names() -> None:
    (person,) = people("I'm Ida Brandt, maiden name Ida Moss. I tore my ballot.")
    assert set(person.names) == {"Ida Brandt", "Ida Moss"}


@pytest.mark.parametrize(
    ("text", "suffix"),
    [
        ("Lyle Dorn JUNIOR, born June 9 1999. I tore my ballot.", "JUNIOR"),
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
        "A corner of my ballot burned. Unit 9D, 82 Teal Circle. Date of birth 11 June 1957.\n\nPetra Holm",
        "Anders Holm",
        address="andersholm.boats@post.example",
        signature="Holm Boats. Anders, 555-0171",
    )
    assert person.names == ("Petra Holm",)
    assert person.emails == ()
    assert person.phones == ()
    assert person.birth_dates == ((1957, 6, 11),)


def test_who_writes_from_a_mothers_account_asks_for_himself() -> None:
    (person,) = people(
        "This is Dev writing, not Nisha. I have no email so I'm using my mom's account.\n\n"
        "Paint got on my ballot. Dev Moss, 35 Elm Way. I'm 23 years old. My dad has "
        "the same name but his is fine.",
        "Nisha Moss",
        says=(("Paint got on my ballot", Kind.SPOILED_BALLOT),),
    )
    assert (person.name, person.is_writer, person.age, person.emails) == ("Dev Moss", True, 23, ())


def test_a_daughter_who_asks_for_her_father_is_not_the_person() -> None:
    (person,) = people(
        "I'm writing on behalf of my father, Otto Brand, 91 Tern Ln in Dell, DOB 10/30/1936. He "
        "dropped his ballot on his ballot. "
        "Could you send him another?\n\nLena Brand-Cole\n(daughter)\n12 Elm St\n(541) 555-0122",
        "Lena Brand-Cole",
        says=(("dropped his ballot", Kind.SPOILED_BALLOT), ("send him another", Kind.SPOILED_BALLOT)),
    )
    assert (person.name, person.relation, person.is_writer) == ("Otto Brand", "father", False)
    assert (person.birth_dates, person.emails, person.phones) == (((1936, 10, 30),), (), ())
    assert [a.street for a in person.addresses] == ["91 Tern Ln"]


@pytest.mark.parametrize(
    ("text", "language", "name", "relation", "says"),
    [
        (
            "My mother Ida Moss got her ballot wet. Can you send her a new one? Her birthday is 4/8/1939.\n\nTom Moss",
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
            "My son Viktor is at sea and his ballot never came. He is Viktor Emil Gard, born 8/6/2001.\n\nGwen Gard",
            "en",
            "Viktor Emil Gard",
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
        "Ida Moss on Long Hill Road (73). I used a marker on mine. One for me, please.\n\n"
        "Rafael needs one too. I'm doing this for him.\n\nIda",
        "Ida Moss",
        says=(("used a marker", Kind.SPOILED_BALLOT),),
    )
    assert (one.name, other.name, other.is_writer) == ("Ida Moss", "Rafael", False)
    assert "Rafael Moss" in other.names


def test_a_couple_who_both_sign_ask_each_for_themselves() -> None:
    both = people(
        "My husband and I put water rings on both of our ballots.\n\nEmil Otto Lark, born May 4, 1944\n"
        "Greta V. Lark, born June 15, 1946\nboth at 19 Coot Rd, Dell\n\nEmil Lark\nGreta Lark",
        "Greta Lark",
        says=(("rings on both", Kind.SPOILED_BALLOT),),
    )
    assert {p.name: (p.is_writer, p.birth_dates) for p in both} == {
        "Emil Otto Lark": (True, ((1944, 5, 4),)),
        "Greta V. Lark": (True, ((1946, 6, 15),)),
    }
    assert all(p.addresses[0].street == "19 Coot Rd" and p.emails for p in both)


def test_a_household_account_belongs_to_both_who_sign() -> None:
    both = people(
        "Noor and Paul Crane at 35 Teal Ct in Dell. None of ours arrived.\n\nNoor Crane "
        "(5/20/73)\nand Paul Crane (2/17/76)",
        "The Cranes",
        kinds=(Kind.NOT_RECEIVED,),
        says=(("None of ours arrived", Kind.NOT_RECEIVED),),
    )
    assert {p.name for p in both} == {"Noor Crane", "Paul Crane"}
    assert all(p.emails == ("someone@post.example",) and p.is_writer for p in both)


@pytest.mark.parametrize(
    "text",
    [
        "I spilled milk on my ballot. My twin sister Elsa is here as well, hers is fine.\n\nIda Moss",
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
        "Marqué mal mi boleta. Manden otra.\n\nTomás Prado Luna\n33 Nogal Avenue\nNacido el 3 de "
        "julio de 1941\n\nP.D. Mi nieto me ayuda a escribir.",
        "Tomás Prado",
        language="es",
        says=(("Marqué mal mi boleta", Kind.SPOILED_BALLOT),),
    )
    assert (person.name, person.is_writer, person.birth_dates) == ("Tomás Prado Luna", True, ((1941, 7, 3),))


def test_a_pet_form_in_the_family_does_not_take_the_mothers_place() -> None:
    (person,) = people(
        "Tengo 91 años. Mi hija Pepita me acompaña. ¿Dónde consigo la hoja para mi "
        "boleta?\n\nJosefa Mora Prado\n58 Elm St",
        language="es",
        kinds=(Kind.ASSISTANCE,),
    )
    assert (person.name, person.age) == ("Josefa Mora Prado", 91)


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
    (person,) = people("send another")
    assert (person.name, person.emails, person.kinds) == ("", ("someone@post.example",), SPOILED)


def test_a_general_question_is_about_nobody() -> None:
    assert people("until when may one ask", kinds=QUESTION, topics=(Topic.DEADLINE,)) == ()


def test_a_question_by_somebody_who_signs_is_about_them() -> None:
    assert people("Is it in?\n\nIda Moss", kinds=QUESTION)[0].name == "Ida Moss"


@pytest.mark.parametrize(
    ("text", "sender"),
    [
        (
            "I'm the coordinator at a nursing home. Can staff help residents?\n\nSilke Vane",
            "Front desk - Elder House",
        ),
        ("The man upstairs asked me to help with his ballot. Do I sign the form?\n\nMona Oller", "Mona Oller"),
    ],
)
def test_a_helpers_general_question_is_about_nobody(text: str, sender: str) -> None:
    assert people(text, sender, kinds=(Kind.ASSISTANCE,)) == ()


@pytest.mark.parametrize("kind", [Kind.AUTOMATIC, Kind.OTHER])
def test_machine_mail_and_junk_are_about_nobody(kind: Kind) -> None:
    assert people("Ida Moss, 12 Elm St, born 3/4/1950", kinds=(kind,)) == ()


def test_a_reply_with_details_takes_name_and_address_from_the_first_request() -> None:
    (person,) = people(
        "Yes, July 22 1998.\n\nOle",
        "Ole Fisk",
        kinds=(Kind.DETAILS,),
        quoted="On Wed, Oct 14, 2026 the office wrote:\n> Hello,\n> we could not tell whose ballot it is. "
        "Please send us your birth date.\n>\n"
        ">> My ballot is stained. Ole Fisk, 17 Bluff Blvd, Dell",
    )
    assert person.birth_dates == ((1998, 7, 22),)
    assert "Ole Fisk" in person.names
    assert [a.street for a in person.addresses] == ["17 Bluff Blvd"]


def test_the_name_that_the_office_greeted_supplements_a_first_name() -> None:
    (person,) = people(
        "No sign of it yet.\n\nNils",
        "",
        kinds=(Kind.NOT_RECEIVED,),
        quoted="> Dear Nils Dunne,\n> we have put a new ballot in the mail.",
    )
    assert person.names == ("Nils", "Nils Dunne")


def test_an_office_that_greets_somebody_else_adds_nothing() -> None:
    (person,) = people(
        "Never came.\n\nNils Dunne", quoted="> Dear Walter Finch,\n> we have put a new ballot in the mail."
    )
    assert person.names == ("Nils Dunne",)


def test_a_list_of_residents_is_read_as_third_parties() -> None:
    text = "Our residents need new ballots:\n" + "\n".join(
        f"{name}, born {n + 1}/{n + 13}/1940"
        for n, name in enumerate(["Ida Moss", "Walter Finch", "Rosa Marin", "Al Teal"])
    )
    found = people(text + "\n\nSilke Vane\nElder House", "Elder House", flags=frozenset({Flag.MANY_PEOPLE}))
    assert [p.name for p in found] == ["Ida Moss", "Walter Finch", "Rosa Marin", "Al Teal"]
    assert not any(p.is_writer for p in found)
    assert found[1].birth_dates == ((1940, 2, 14),)


def test_the_household_name_completes_an_initial() -> None:
    (person,) = people("Torn. Another?\n\nPavel K.", "The Kowals")
    assert person.names == ("Pavel K.", "Pavel Kowal")


def test_status_of_ones_own_and_of_a_named_other_is_about_both() -> None:
    one, other = people("Are Erik's and mine in?\n\nIda Moss\n52 Elm St", kinds=QUESTION, topics=(Topic.STATUS,))
    assert (one.name, other.name, other.is_writer) == ("Ida Moss", "Erik", False)


def test_a_new_address_is_marked_so() -> None:
    (person,) = people(
        "I moved from 12 Elm St to 90 Birch Ave, Dell. My ballot got wet.\n\nIda Moss",
        kinds=(Kind.SPOILED_BALLOT, Kind.ADDRESS_CHANGE),
    )
    assert [(a.street, a.role) for a in person.addresses] == [
        ("12 Elm St", AddressRole.OLD),
        ("90 Birch Ave", AddressRole.NEW),
    ]
