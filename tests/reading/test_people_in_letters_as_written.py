"""Whole letters, read from their bytes: who writes, who is only spoken of, and whose the facts are."""

from __future__ import annotations

import pytest

from replacements.mail.parsing import parse
from replacements.reading.earlier import earlier
from replacements.reading.reader import read
from replacements.reading.types import Flag, Kind, Person, Reading


def reading(text: str, sender: str = "", subject: str = "") -> Reading:
    head = f'From: "{sender}" <writer@home.example>\nDate: Mon, 12 Oct 2026 09:00:00 -0400\nSubject: {subject}\n'
    return read(parse(f"{head}Content-Type: text/plain; charset=utf-8\n\n{text}".encode()))


def writer_of(text: str, sender: str = "", subject: str = "") -> Person:
    (person,) = reading(text, sender, subject).people
    assert person.is_writer
    return person


def test_a_label_without_a_mark_is_no_part_of_the_name() -> None:
    person = writer_of(
        "Name Orla Finnick, born March 3, 1971. My ballot ripped as I slit the envelope. Another please."
    )
    assert person.name == "Orla Finnick"


def test_the_name_on_the_rolls_is_the_name_whatever_everyone_says() -> None:
    person = writer_of(
        "Plaster dust all over my ballot. Please send another. The house is 88 South Lindle and the name on the rolls "
        "should be Theresa Ann Burkhold though everyone says Terry.\n\nTerry\n\nP.S. June 9, 1949.",
        "terry b.",
    )
    assert person.name == "Theresa Ann Burkhold"
    assert person.birth_dates == ((1949, 6, 9),)


def test_a_family_name_sent_later_goes_with_the_given_name_of_the_account() -> None:
    person = writer_of("my ballot got wet, another please\n31 harrow lane\nlast name is Okafor", "Chidi")
    assert person.name == "Chidi Okafor"


def test_a_street_is_nobody() -> None:
    person = writer_of(
        "The rain got in and the ink has run on my ballot. May I have a dry one?\n\nIngrid Halvorsen\nSection Road\n"
        "17 May 1952",
        "Ingrid Halvorsen",
    )
    assert (person.name, person.birth_dates) == ("Ingrid Halvorsen", ((1952, 5, 17),))


def test_who_comes_along_to_vote_asks_for_nothing() -> None:
    person = writer_of(
        "ya no la necesito, voy a ir a votar en persona el lunes con mi hermano. gracias. gilberto palomar 88 county "
        "road 12",
        "beto palomar",
    )
    assert "gilberto palomar" in person.names


def test_what_is_pink_is_no_person() -> None:
    person = writer_of(
        "Spilled a bowl of soup on my ballot. It's pink. Could I trouble you for another? Same address as always, "
        "509 N. Burr. - Pat",
        "Pat Lundholm",
    )
    assert person.names == ("Pat", "Pat Lundholm")
    assert person.addresses[0].street == "509 N. Burr"


def test_the_second_who_signs_is_not_the_son_who_drives() -> None:
    people = reading(
        "Last week we asked for two new ballots, mine because of the inkblot and Edith's because she'd mislaid hers. "
        "Please forget about both. As our son is driving us to town, we'll vote at your counter.\n\n"
        "Emil Varga and Edith Varga\n14 Larch Lane",
        "Emil & Edith Varga",
    ).people
    assert [(p.name, p.is_writer) for p in people] == [("Emil Varga", True), ("Edith Varga", True)]


def test_one_of_two_on_a_list_who_is_spoken_for_is_not_the_writer() -> None:
    people = reading(
        "Hello! We both vote by mail because of Ivan's job.\n\n1) Mine: I tore it along the fold. New one please. "
        "Petra Lindqvist, 6/18/62, 15 Mallow Court.\n\n2) Ivan's: he hasn't gotten his at all. He's away until "
        "Thursday and I can vouch for him.\n\nThanks, Petra",
        "Petra Lindqvist",
    ).people
    assert [(p.name, p.is_writer) for p in people] == [("Petra Lindqvist", True), ("Ivan", False)]


def test_a_writer_may_say_everything_in_the_subject() -> None:
    person = writer_of(
        "See subject line. Filled in two ovals on my ballot. Please mail a new one.",
        "acn",
        "Nieman, Alan Curtis - spoiled ballot - 710 Grain Ave Eelpoint - DOB 3-13-1963",
    )
    assert person.name == "Alan Curtis Nieman"
    assert person.birth_dates == ((1963, 3, 13),)
    assert person.addresses[0].street == "710 Grain Ave"


def test_a_relative_who_is_not_named_is_a_question_in_general() -> None:
    found = reading(
        "hola, mi mamá no sabe leer y quiere votar por correo, ella si recibió su boleta. ¿Yo puedo leerle y marcar lo "
        "que ella me diga? ¿Tengo que firmar algo? Gracias, Verónica",
        "Vero",
    )
    assert found.people == ()


def test_a_story_is_no_name() -> None:
    person = writer_of(
        "문지영입니다. 남편 계정으로 씁니다. 남편 것이 아니라 제 투표지 이야기예요. 뜯다가 투표지가 찢어졌습니다. "
        "새로 받고 싶습니다.\n\nJi-young Moon\n1979/02/11",
        "Charlie Bauman",
    )
    assert {"문지영", "Ji-young Moon"} <= set(person.names)


def test_a_house_on_a_numbered_county_road_has_two_numbers() -> None:
    person = writer_of("need new ballot, goat ate it. Leland Ostrom 2207 co rd 12 mallow junction", "leland ostrom")
    assert [a.street for a in person.addresses] == ["2207 co rd 12"]


def test_a_birth_year_may_be_told_by_its_last_two_digits_in_words() -> None:
    person = writer_of(
        "Se me rompió la boleta, mándenme otra. Vivo en 26 West 3rd, departamento 12, y nací el nueve de noviembre del "
        "treinta y ocho. Teodoro Barran"
    )
    assert person.birth_dates == ((1938, 11, 9),)
    assert (person.addresses[0].street, person.addresses[0].unit) == ("26 West 3rd", "departamento 12")


def test_a_husband_who_mailed_his_own_has_not_mailed_the_writers() -> None:
    text = "I tore my ballot in two, please send another. My husband already mailed his. Ada Quill, 12 Elm St"
    assert Flag.BALLOT_ALREADY_SENT not in reading(text).flags
    assert Flag.BALLOT_ALREADY_SENT in reading(text.replace("his.", "mine.")).flags


@pytest.mark.parametrize(
    ("told", "sent"),
    [
        ("I turned it over and there was a fly on it, which I squashed. May I have another?", False),
        ("I turned the page and my pen leaked. May I have another?", False),
        ("My brother already mailed his. I tore mine. May I have another?", False),
        ("I turned it in last week, but I had torn it. May I have another?", True),
        ("I turned my ballot in on Monday, but I had torn it. May I have another?", True),
        ("I already mailed mine, but I had torn it. May I have another?", True),
    ],
)
def test_a_ballot_turned_over_is_not_turned_in(told: str, sent: bool) -> None:
    assert (Flag.BALLOT_ALREADY_SENT in reading(told).flags) == sent


def test_a_ballot_dropped_in_the_dishwater_is_not_on_its_way() -> None:
    assert Flag.BALLOT_ALREADY_SENT not in reading("I dropped mine in the dishwater. Another ballot please.").flags
    assert Flag.BALLOT_ALREADY_SENT in reading("I dropped mine in the drop box, but tore it first. Another?").flags


def test_ballots_that_changed_places_are_told() -> None:
    text = "My ballot and my wife's got mixed up, hers is signed and mailed in my envelope. Mine is here. What now?"
    assert Flag.SWAPPED in reading(text).flags


def test_a_packet_without_envelope_holds_the_ballot_that_is_expressly_there() -> None:
    text = "투표지는 있는데 반송용 봉투가 들어 있지 않습니다. 투표지는 새로 보내실 필요 없고 빠진 것만 보내 주세요."
    assert Flag.BALLOT_MISSING not in reading(text).flags


def test_a_whole_name_given_on_request_replaces_the_initials_of_before() -> None:
    person = writer_of(
        "I beg your pardon, there are two of us. I am Marilyn.\n\nMarilyn Ellen Tenbrook\n\n"
        "> Dear M. E. Tenbrook, more than one voter fits what you wrote. Please tell us your full first name.\n>\n"
        ">> My pen leaked over my ballot, I should be obliged for another. M. E. Tenbrook, 40 Tall Court, 18 October "
        "1947.",
        "M. Tenbrook",
    )
    assert person.names[0] == "Marilyn Ellen Tenbrook"
    assert not [name for name in person.names if name.startswith("M.")]


def test_a_holiday_beside_its_date_is_one_date() -> None:
    person = writer_of(
        "I filled in the wrong oval on my ballot, please send another to 77 Cooper Street. My date of birth is "
        "Armistice Day, November 11, 1940.\n\nEdmund Grant Rothby"
    )
    assert person.birth_dates == ((1940, 11, 11),)


def test_a_house_number_is_no_age() -> None:
    person = writer_of(
        "I spoiled my ballot. Send another to my address of record, being 77 Cooper Street, Pellham.\n\nEdmund Rothby"
    )
    assert person.age is None
    assert person.addresses[0].street == "77 Cooper Street"


def test_a_twin_who_does_not_write_herself_is_spoken_for() -> None:
    people = reading(
        "hi so me and my twin filled in each other's ballots, so they're both wrong?? Can we each get a new one\n\n"
        "Ashley Lindqvist 8/11/02\n27 Heron Point Dr\n(my sister is Aubrey, same everything)",
        "Ashley L",
    ).people
    assert [p.name for p in people if p.is_writer] == ["Ashley Lindqvist"]


def test_what_was_asked_before_stands_below_the_offices_question() -> None:
    letter = (
        "As you asked: June 9, 1941, and the street is 404 Shell Way.\n\nJune Hollis\n\n"
        "> Dear June Hollis, before we send another ballot please tell us your\n> date of birth and street.\n"
        ">> I lost my ballot somewhere between the car and the choir room. Can I\n>> have another?\n"
    )
    parsed = parse(f"From: June Hollis <j@home.example>\nDate: Mon, 12 Oct 2026 09:00:00 -0400\n\n{letter}".encode())
    assert earlier(parsed).own.startswith("I lost my ballot")


@pytest.mark.parametrize(
    "text",
    [
        "You wrote that a new ballot is on the way. I never asked for one! Please don't void mine. A. Quill",
        "Recibí su aviso de otra boleta pero yo nunca pedí otra. No anulen mi boleta. Rosa Campos",
        "새 투표지를 보낸다는 편지를 받았는데 신청한 적이 없습니다. 제 투표지를 무효로 하지 마세요. 김안나",
        "Tôi nhận thư nói sẽ gửi phiếu mới nhưng tôi chưa hề xin phiếu mới. Xin đừng hủy phiếu của tôi. Nguyễn An",
    ],
)
def test_who_asks_that_a_ballot_be_left_alone_does_not_lose_it(text: str) -> None:
    found = reading(text)
    wants = {k.kind for k in found.kinds} & {Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED}
    assert not wants or Flag.CONFLICT in found.flags


def test_an_envelope_to_put_the_ballot_in_is_what_is_lacking() -> None:
    text = "Trong bộ phiếu của tôi không có bao thư nhỏ để bỏ lá phiếu vào. Lá phiếu thì tốt. Xin gửi giùm bao thư nhỏ."
    assert Flag.BALLOT_MISSING not in reading(text).flags


def test_a_son_who_signs_as_the_son_is_not_spoken_of() -> None:
    people = reading(
        "저희 아버지 윤기태(1950년 2월 15일생, 905 Quince St) 앞으로 투표용지가 아직 안 왔습니다. 아버지가 이메일을 못 "
        "쓰셔서 제가 대신 씁니다. 다시 보내 주실 수 있나요?\n\n아들 스티븐 윤",
        "Steven Yoon",
    ).people
    assert [p.name for p in people if not p.is_writer] == ["윤기태"]


def test_two_residents_on_a_list_are_two_voters_and_the_front_desk_is_none() -> None:
    people = reading(
        "Two of our residents asked us to write:\n\n- Irma Gantry, room 14: no ballot has arrived for her.\n"
        "- Tobias Beale, room 22: spilled juice on his and would like a new one.\n\nBoth live at 600 Alder Ct.\n\n"
        "Thank you,\nMarguerite at the front desk",
        "Front Desk Alder Court",
    ).people
    assert [(p.name, p.is_writer) for p in people] == [("Irma Gantry", False), ("Tobias Beale", False)]


def test_a_trade_under_the_letter_is_no_writer() -> None:
    person = writer_of(
        "Ballot got wet in the storm. Not usable, need it replaced.\n\nMarcus Tollman\n340 Gantry Rd lot 9\n\n--\n"
        'Tollman Mobile Welding - "We come to you"',
        "Marcus T",
    )
    assert person.name == "Marcus Tollman"


def test_the_second_time_is_no_name() -> None:
    person = writer_of(
        "Đây là lần thứ hai tôi bầu cử bằng thư. Tôi tô nhầm ô nên xin một lá phiếu khác.\n\nNguyễn Thị Bích Lân\n"
        "820 Heron St",
        "Nguyen Thi Bich Lan",
    )
    assert person.name == "Nguyễn Thị Bích Lân"


def test_somebody_else_sent_it_back() -> None:
    text = "My ballot never came, please mail one. It may be that some helpful soul sent it back. Trudy Espin, 6 Elm St"
    assert Flag.BALLOT_ALREADY_SENT not in reading(text).flags
    text = "I goofed on my ballot, could I have a new one? Orville did his right and it's in the mail already. N. Lind"
    assert Flag.BALLOT_ALREADY_SENT not in reading(text).flags


def test_where_the_letter_gives_no_address_the_subject_may() -> None:
    person = writer_of(
        "You are told to pick three and I colored four on my ballot. Send one more when you can.",
        "E. Hobart",
        "Ellis Hobart, 88 Pinfold Ln, Tansy Hollow - need second ballot",
    )
    assert person.name == "Ellis Hobart"
    assert person.addresses[0].street == "88 Pinfold Ln"


def test_a_name_before_a_birth_date_within_a_sentence_is_whose_date_it_is() -> None:
    people = reading(
        "I, Abel Wexford, spoiled my ballot and would like a new one. And Livia's has not arrived at all. Hers would "
        "be under Livia Rose Wexford, 11/21/1963. Same house, 230 Heron Court.\n\nAbel (9/9/1961)",
        "Abel Wexford",
    ).people
    assert [(p.name, p.birth_dates, p.is_writer) for p in people] == [
        ("Abel Wexford", ((1961, 9, 9),), True),
        ("Livia Rose Wexford", ((1963, 11, 21),), False),
    ]


def test_whom_one_voted_for_asks_for_nothing() -> None:
    person = writer_of("voted for my ex as write in. regretting it. new ballot pls\n\nhuxley merriman", "hux")
    assert "huxley merriman" in person.names


def test_who_has_sent_ones_own_asks_for_the_other_alone() -> None:
    people = reading(
        "My wife Karin (12/30/1960) put a big scribble across her ballot. She's in the hospital, so I am taking care "
        "of it. Mine's been sent in. Can you put another one for her in the mail to 3 Juniper Bend?\n\nRolf Anselm",
        "Rolf Anselm",
    ).people
    assert [(p.names[0], p.is_writer) for p in people] == [("Karin", False)]


def test_two_who_sign_with_their_middle_letters_are_two() -> None:
    people = reading(
        "Both of our ballots were on the table when the pot went over. We would each like another one.\n\n"
        "Leland O. Fairwind, born 1/31/1949\nNancy L. Fairwind, born 5/5/1950\nboth at 12 Heron Ct",
        "Lee & Nan Fairwind",
    ).people
    assert {p.name for p in people if p.is_writer} == {"Leland O. Fairwind", "Nancy L. Fairwind"}


def test_an_answer_of_names_and_dates_is_in_the_language_that_it_answers() -> None:
    letter = (
        "Guadalupe Rojas, 2101 Sorrel St, 12/12/1980\n\nEl lun, 8 mar 2027 a las 9:02, la oficina escribió:\n\n"
        "> Gracias por escribirnos. Responda con su nombre completo, la dirección donde está registrado y su fecha de\n"
        "> nacimiento. No se ha cambiado ningún registro.\n"
    )
    assert reading(letter, "Lupita", "Re: me equivoque").language == "es"


def test_a_child_who_paints_on_a_ballot_swaps_none() -> None:
    text = "soy Majo Carrasco, a mi niña se le ocurrio pintar mi boleta con marcador :( me pueden mandar otra porfa?"
    assert Flag.SWAPPED not in reading(text).flags
    assert Flag.SWAPPED in reading("Mi boleta y la de mi esposo se revolvieron y la suya va en mi sobre. Ana Poe").flags


def test_a_wifes_ballot_that_is_posted_leaves_the_husbands_where_it_is() -> None:
    text = "투표용지를 잘못 칠했습니다. 아내 것은 아무 문제가 없고 벌써 부쳤습니다. 새 용지를 보내 주십시오. 안재호"
    assert Flag.BALLOT_ALREADY_SENT not in reading(text).flags


def test_no_ballot_for_a_husband_is_no_word_against_ones_own() -> None:
    text = "I spoiled my ballot, a new one please. Please don't send one for Desmond. Trudy Gallow, 6 Elm St"
    assert Flag.CONFLICT not in reading(text).flags


def test_initials_run_together_are_those_of_the_name() -> None:
    person = writer_of("I voted for two on my ballot and would like a new one.\n\nPieter", "P.J. van der Hook")
    assert "P.J. van der Hook" in person.names


def test_a_wedding_says_nothing_of_the_birth_date_below() -> None:
    person = writer_of(
        "can i get another ballot pls, the dog ate it\n\nShelby Rusk (i might be under Kincade, got married in june)\n"
        "9/14/92",
        "Shelby Rusk",
    )
    assert (1992, 9, 14) in person.birth_dates


def test_spanish_puts_numbers_behind_streets_and_given_names_behind_both_surnames() -> None:
    person = writer_of("Marqué a dos personas en mi boleta. ¿Me envían una nueva?\n\nMaría Solís\nFallow St 1422")
    assert [a.street for a in person.addresses] == ["1422 Fallow St"]
    person = writer_of("Rompí mi boleta al abrir el sobre, mándenme otra.\n\nArriaga Peña, Gilberto\n37 Chapel Row")
    assert person.name == "Gilberto Arriaga Peña"


def test_whose_account_it_is_asks_for_nothing() -> None:
    person = writer_of(
        "This is Lorna, on Pete's email because I never did set one up. His ballot is done and sealed. Mine has a "
        "stain through three contests. Could you send one more for me, Lorna J. Umbar, birthday Oct 28 1967.",
        "Peter Umbar",
    )
    assert person.name == "Lorna J. Umbar"


def test_a_line_that_goes_on_with_a_sentence_is_no_signature() -> None:
    found = reading(
        "Buenas. Soy Rosario Pinilla Vega, del espacio 9. La mía se mojó y se deshizo, necesito otra. Y a mi\n"
        "hermana Lucrecia, la del 10, también se le mojó la suya.",
        "Rosario Pinilla",
    )
    assert [person.name for person in found.people if person.is_writer] == ["Rosario Pinilla Vega"]


@pytest.mark.parametrize(
    ("written", "other"),
    [
        ("so: Carys Wynne Ostrow, now Devlin, born Nov 2 1990.", "Carys Devlin"),
        ("I am Carys Wynne Ostrow (formerly Devlin), born Nov 2 1990.", "Carys Devlin"),
        ("This is Carys Wynne Ostrow, née Devlin. Born Nov 2 1990.", "Carys Devlin"),
    ],
)
def test_who_took_another_surname_is_one_person_of_both_names(written: str, other: str) -> None:
    person = writer_of(f"My packet says Devlin. I tore my ballot, please send another.\n{written}\n\nCarys")
    assert person.name == "Carys Wynne Ostrow"
    assert other in person.names
    assert person.birth_dates == ((1990, 11, 2),)


def test_a_surname_taken_is_understood_in_spanish() -> None:
    person = writer_of(
        "Se me rompió la boleta, mándenme otra por favor. Soy Carmen Ruiz Peña, ahora Carmen Stone, y nací el 2 de "
        "noviembre de 1990."
    )
    assert {"Carmen Ruiz Peña", "Carmen Stone"} <= set(person.names)


def test_what_stands_behind_now_and_is_no_name_is_no_surname() -> None:
    person = writer_of("I tore my ballot, please send another. I am Ana Poe, now at 12 Elm St, born 11/20/1990.")
    assert person.names == ("Ana Poe",)
