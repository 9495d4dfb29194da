"""The rules of standing, case by case, over a small invented roll."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from replacements.roll.matching import identify
from replacements.roll.memory import MemoryRoll
from replacements.roll.standing import SUFFICIENT
from replacements.roll.types import AddressClue, Clues, Standing, Voter, Who

TODAY = date(2026, 10, 15)
OSTREY = {"city": "Ostrey", "state": "OR", "zip": "97999"}


def voter(voter_id: str, last: str, first: str, born: str, street: str, middle: str = "", **more: str) -> Voter:
    fields: dict[str, Any] = {**OSTREY, "middle_name": middle, "birth_date": born, "street": street, **more}
    return Voter(voter_id=voter_id, last_name=last, first_name=first, **fields)


ROLL = MemoryRoll(
    [
        voter(
            "1001",
            "Halloran",
            "Bridget",
            "1961-04-09",
            "14 Kettle Ln",
            "Anne",
            email="bh@post.example",
            phone="(541) 555-0101",
        ),
        voter("1002", "Halloran", "Declan", "1959-12-30", "14 Kettle Ln"),
        voter("1003", "García López", "José", "1950-05-05", "220 Pell St", "Luis", unit="Apt 4"),
        voter("1004", "O'Malley", "Kathleen", "1970-01-02", "5 Brine Ct"),
        voter("1005", "de la Cruz", "María Elena", "1988-03-03", "77 N Gannet Way"),
        voter("1006", "Nguyen", "Phuc", "1980-02-03", "9 Larch Ter", "Van", email="phuc@post.example"),
        voter("1007", "Park", "Ji-young", "1990-10-10", "31 12th Ave"),
        voter(
            "1008",
            "Mercer",
            "Gregory",
            "1957-02-11",
            "118 S Birch Ave",
            "Allan",
            suffix="Sr",
            email="gm@post.example",
        ),
        voter("1009", "Mercer", "Gregory", "1986-10-30", "118 S Birch Ave", "Allan", suffix="Jr"),
        voter("1010", "Smith-Jones", "Rebecca", "1975-03-03", "12 Elm St", former_last_name="Tate"),
        voter(
            "1011",
            "van der Berg",
            "Anna",
            "1945-06-06",
            "3 Old Quay Rd",
            mail_street="PO Box 12",
            mail_city="Ostrey",
            mail_zip="97999",
        ),
        voter("1012", "Alexander", "Scott", "1981-06-06", "40 Juniper St", unit="Unit B"),
        voter("1013", "Rivera", "Guadalupe", "1966-06-06", "41 Juniper St"),
        voter("1014", "Bell", "Mary Ann", "1936-06-06", "42 Juniper St"),
        voter("1015", "Le", "Hoa", "1976-06-16", "43 Juniper St", "Thi"),
        voter("1016", "Müller", "Jürgen", "1955-06-16", "44 Juniper St"),
        voter("1017", "St. John", "Peter", "1956-06-16", "45 Juniper St", status="inactive"),
        voter("1018", "Wang", "Xiaoming", "1956-09-16", "46 Juniper St"),
        voter("1019", "Voss", "Marjorie", "1998-05-14", "47 Juniper St"),
        voter("1020", "Voss", "Monica", "1998-05-14", "47 Juniper St"),
        voter("1021", "Ortega", "Alex", "1999-01-01", "48 Juniper St"),
        voter("1022", "Ortega", "Alexander", "1969-01-01", "48 Juniper St"),
        voter("1023", "Stone", "Mark", "1977-01-01", "1 Fennel Pl"),
        voter("1024", "Stone", "Mark", "1988-02-02", "2 Dunlin Ave"),
        voter("1025", "Reeve", "Paul", "1971-01-01", "50 Juniper St", email="reeves@post.example"),
        voter("1026", "Reeve", "Nora", "1972-02-02", "50 Juniper St", email="reeves@post.example"),
    ]
)


def who(
    *names: str, at: str | AddressClue = "", born: tuple[int | None, int | None, int | None] | None = None, **more: Any
) -> Who:
    addresses = () if not at else (AddressClue(at) if isinstance(at, str) else at,)
    clues = Clues(names=names, addresses=addresses, birth_dates=(born,) if born else (), **more)
    return identify(clues, ROLL, sufficient=SUFFICIENT, today=TODAY)


@pytest.mark.parametrize(
    ("name", "at", "voter_id"),
    [
        ("Bridie Halloran", "14 kettle lane", "1001"),
        ("B. Halloran", "14 Kettle Ln", "1001"),
        ("BA Halloran", "14 Kettle Ln", "1001"),
        ("HALLORAN, BRIDGET A.", "14 Kettle Ln., Ostrey, OR 97999", "1001"),
        ("Bridget Hallaran", "14 Kettle Ln", "1001"),
        ("Brigdet Halloran", "14 Kettle Ln", "1001"),
        ("jose garcia", "220 Pell Street apt. 4", "1003"),
        ("José Luis G. López", "220 Pell St #4", "1003"),
        ("Pepe García", "Apt 4, 220 Pell St", "1003"),
        ("Kathy O’malley", "5 Brine Court", "1004"),
        ("Kathleen O Malley", "5 Brine Ct", "1004"),
        ("Maria de la Cruz", "77 Gannet Way", "1005"),
        ("Maria Elena Cruz", "77 North Gannet Way", "1005"),
        ("Nguyễn Văn Phúc", "9 Larch Terrace", "1006"),
        ("Phúc Nguyễn", "9 Larch Ter", "1006"),
        ("박지영", "31 12th Avenue", "1007"),
        ("박 지영 씨", "31 12th Ave", "1007"),
        ("Park Jiyoung", "31 Twelfth Ave.", "1007"),
        ("Ji Young Pak", "31 12th Ave", "1007"),
        ("Rebecca Tate", "12 Elm St", "1010"),
        ("Becky Smith (née Tate)", "12 Elm", "1010"),
        ("Rebecca Jones", "12 Elm St", "1010"),
        ("Anna Vanderberg", "P.O. Box 12, Ostrey OR", "1011"),
        ("Alexander, Scott", "40 Juniper St B", "1012"),
        ("Lupita Rivera", "41 Juniper St", "1013"),
        ("Maryann Bell", "42 Juniper St", "1014"),
        ("Lê Thị Hoa", "43 Juniper St", "1015"),
        ("Juergen Mueller", "44 Juniper St", "1016"),
        ("Pete Saint John", "45 Juniper St", "1017"),
        ("王小明 (Xiaoming Wang)", "46 Juniper St", "1018"),
        ('Gregory "Greg" Mercer Jr.', "118 S. Birch Avenue", "1009"),
    ],
)
def test_a_name_in_another_form_and_the_address_are_certain(name: str, at: str, voter_id: str) -> None:
    found = who(name, at=at)
    assert (found.standing, found.voter and found.voter.voter_id) == (Standing.CERTAIN, voter_id), found.because
    assert found.missing == ()


def test_father_and_son_without_anything_between_them_are_unclear_and_the_birth_date_is_asked_for_first() -> None:
    found = who("Greg Mercer", at="118 S Birch Ave")
    assert found.standing is Standing.UNCLEAR
    assert {c.voter.voter_id for c in found.candidates} == {"1008", "1009"}
    assert found.missing[0] == "birth_date"
    assert found.voter is None


@pytest.mark.parametrize(
    ("more", "voter_id"),
    [
        ({"born": (1986, 10, 30)}, "1009"),
        ({"suffix": "senior"}, "1008"),
        ({"age": 40}, "1009"),
        ({"voter_ids": ("1008",)}, "1008"),
        ({"ballot_owners": ("1009",)}, "1009"),
        ({"emails": ("gm@post.example",)}, "1008"),
    ],
)
def test_what_tells_father_and_son_apart(more: dict[str, Any], voter_id: str) -> None:
    found = who("Gregory Mercer", at="118 S Birch Ave", **more)
    assert (found.standing, found.voter and found.voter.voter_id) == (Standing.CERTAIN, voter_id)


def test_a_short_form_that_father_and_son_share_is_not_certain_even_from_one_ones_account() -> None:
    assert who("Greg Mercer", at="118 S Birch Ave", emails=("gm@post.example",)).standing is Standing.LIKELY


def test_a_third_of_the_name_who_is_not_on_the_roll_is_not_certain() -> None:
    assert who("Gregory Mercer III", at="118 S Birch Ave").standing is not Standing.CERTAIN


def test_a_son_called_alex_beside_his_father_alexander_is_not_certain() -> None:
    assert who("Alex Ortega", at="48 Juniper St").standing is not Standing.CERTAIN
    assert who("Alex Ortega", born=(1999, 1, 1)).standing is Standing.CERTAIN


def test_a_given_name_outweighs_the_same_middle_name_of_a_relative() -> None:
    father = voter("1", "Vane", "Anthony", "1960-01-01", "3 Elm St")
    household = MemoryRoll([father, voter("2", "Vane", "James", "1990-02-02", "3 Elm St", "Anthony")])
    clues = Clues(names=("Anthony Vane",), addresses=(AddressClue("3 Elm St"),))
    assert identify(clues, household, sufficient=SUFFICIENT, today=TODAY).voter == father
    short = Clues(names=("Tony Vane",), addresses=clues.addresses)
    assert identify(short, household, sufficient=SUFFICIENT, today=TODAY).standing is not Standing.CERTAIN


def test_twins_with_only_an_initial_are_unclear_and_the_name_is_asked_for_first() -> None:
    found = who("M. Voss", at="47 Juniper St", born=(1998, 5, 14))
    assert found.standing is Standing.UNCLEAR
    assert found.missing[0] == "name"
    assert "birth_date" not in found.missing
    assert who("Monica Voss", at="47 Juniper St").voter == ROLL.voter("1020")


def test_namesakes_by_name_alone_are_unclear_and_one_thing_more_decides() -> None:
    found = who("Mark Stone")
    assert found.standing is Standing.UNCLEAR
    assert len(found.candidates) == 2
    assert who("Mark Stone", at="2 Dunlin Ave").voter == ROLL.voter("1024")
    assert who("Mark Stone", born=(1977, 1, 1)).standing is Standing.CERTAIN


def test_a_name_alone_is_likely_where_one_voter_has_it() -> None:
    found = who("Bridget Halloran")
    assert found.standing is Standing.LIKELY
    assert set(found.missing) == {"birth_date", "address", "voter_id"}


def test_a_stranger_of_the_same_name_with_another_birth_date_is_nobody() -> None:
    assert who("Bridget Halloran", born=(1994, 8, 30)).standing is Standing.NONE
    assert who("Bridget Halloran", born=(1994, 8, 30), at="900 Nowhere St").standing is Standing.NONE


def test_the_right_name_and_address_with_another_birth_year_is_likely_at_most() -> None:
    assert who("Bridget Halloran", at="14 Kettle Ln", born=(1991, 4, 9)).standing is Standing.LIKELY
    assert who("Bridget Halloran", at="14 Kettle Ln", born=(1992, 1, 2)).standing is Standing.LIKELY


def test_a_birth_date_with_one_slip_is_taken_for_one_only_beside_the_whole_name_and_the_address() -> None:
    assert who("Bridget Halloran", at="14 Kettle Ln", born=(1961, 4, 8)).standing is Standing.CERTAIN
    assert who("Bridget Halloran", at="14 Kettle Ln", born=(1961, 9, 4)).standing is Standing.CERTAIN
    assert who("Bridget Halloran", born=(1961, 4, 8)).standing is not Standing.CERTAIN
    assert who("Bridgit Halloran", at="14 Kettle Ln", born=(1961, 4, 8)).standing is not Standing.CERTAIN
    assert who("B. Halloran", at="14 Kettle Ln", born=(1961, 4, 8)).standing is not Standing.CERTAIN
    assert who("Bridget Halloran", at="14 Kettle Ln", born=(1961, 4, 25)).standing is not Standing.CERTAIN


def test_a_married_name_that_is_not_on_file_is_likely() -> None:
    found = who("Rebecca Winterbourne", at="12 Elm St", born=(1975, 3, 3))
    assert (found.standing, found.voter) == (Standing.LIKELY, ROLL.voter("1010"))


def test_an_adopted_given_name_is_likely_with_the_birth_date_and_nobody_without() -> None:
    assert who("Peter Nguyen", born=(1980, 2, 3)).voter == ROLL.voter("1006")
    assert who("Peter Nguyen", born=(1980, 2, 3)).standing is Standing.LIKELY
    assert who("Peter Nguyen", at="9 Larch Ter").standing is Standing.NONE


def test_going_by_the_middle_name_is_left_to_a_person() -> None:
    assert who("Anne Halloran", at="14 Kettle Ln").standing is Standing.LIKELY


def test_another_middle_letter_leaves_a_doubt() -> None:
    assert who("Bridget C. Halloran", at="14 Kettle Ln").standing is Standing.LIKELY
    assert who("Bridget C. Halloran", born=(1961, 4, 9)).standing is Standing.CERTAIN


def test_another_persons_name_first_leaves_a_doubt_about_the_account_holder() -> None:
    assert who("Gwen", "Bridget Halloran", emails=("bh@post.example",)).standing is Standing.LIKELY


def test_a_given_name_alone_counts_with_the_account_on_file_only() -> None:
    assert who("Bridget", emails=("bh@post.example",)).standing is Standing.CERTAIN
    assert who("Bridget").standing is Standing.NONE
    assert who("Bridget", at="14 Kettle Ln").standing is Standing.LIKELY
    assert who("Bridget", "Bridget Halloran", emails=("bh@post.example",)).standing is Standing.CERTAIN


def test_the_name_decides_between_spouses_who_share_an_account() -> None:
    assert who("Nora", emails=("reeves@post.example",)).voter == ROLL.voter("1026")
    assert who("Paul Reeve", emails=("reeves@post.example",)).voter == ROLL.voter("1025")
    assert who(emails=("reeves@post.example",)).standing is Standing.UNCLEAR
    assert who("The Reeves", emails=("reeves@post.example",)).standing is Standing.UNCLEAR


def test_an_account_on_file_without_any_name_is_likely() -> None:
    found = who(emails=("bh@post.example",))
    assert (found.standing, found.voter) == (Standing.LIKELY, ROLL.voter("1001"))
    assert found.missing[0] == "name"


def test_somebody_elses_name_from_an_account_on_file_is_nobody() -> None:
    assert who("Gwen Prothero", emails=("bh@post.example",)).standing is Standing.NONE


def test_mrs_with_the_husbands_name_is_left_to_a_person() -> None:
    assert who("Mrs. Declan Halloran", at="14 Kettle Ln").standing is Standing.LIKELY


@pytest.mark.parametrize(
    "at",
    [
        AddressClue("15 Kettle Ln", city="Ostrey"),
        AddressClue("Kettle Ln", city="Ostrey"),
        AddressClue("14 Kettle Ct", city="Ostrey"),
        AddressClue("14 Kettle Ln", city="Farwick", zip="43998"),
        AddressClue("", city="Ostrey"),
    ],
)
def test_an_address_that_agrees_in_part_is_not_enough(at: AddressClue) -> None:
    assert who("Bridget Halloran", at=at).standing is Standing.LIKELY


def test_another_apartment_is_not_enough_and_none_given_is() -> None:
    assert who("José García", at="220 Pell St Apt 5").standing is Standing.LIKELY
    assert who("José García", at="220 Pell St").standing is Standing.CERTAIN


def test_a_post_office_box_without_its_town_is_enough_beside_the_name_unless_a_namesake_has_the_same_elsewhere() -> (
    None
):
    assert who("Anna van der Berg", at="PO Box 12").standing is Standing.CERTAIN
    assert who("Anna van der Berg", at=AddressClue("PO Box 12", city="Farwick")).standing is Standing.LIKELY
    box = {"mail_street": "PO Box 12", "mail_city": "Farwick", "mail_zip": "43998"}
    other = voter("1", "van der Berg", "Anna", "1977-01-09", "8 Dunlin Ave", **box)
    clues = Clues(names=("Anna van der Berg",), addresses=(AddressClue("PO Box 12"),))
    both = identify(clues, MemoryRoll([*ROLL, other]), sufficient=SUFFICIENT, today=TODAY)
    assert both.standing is Standing.UNCLEAR


def test_a_new_address_that_a_namesake_has_does_not_decide() -> None:
    moving = AddressClue("2 Dunlin Ave", city="Ostrey", moved=True)
    assert who("Mark Stone", at=moving).standing is not Standing.CERTAIN


def test_a_new_address_that_nobody_has_takes_nothing_away() -> None:
    both = Clues(
        names=("Bridget Halloran",), addresses=(AddressClue("900 Far St", moved=True), AddressClue("14 Kettle Ln"))
    )
    assert identify(both, ROLL, sufficient=SUFFICIENT, today=TODAY).standing is Standing.CERTAIN


def test_the_spouses_ballot_number_or_id_stops_certainty() -> None:
    numbers: list[dict[str, Any]] = [{"ballot_owners": ("1002",)}, {"voter_ids": ("1002",)}]
    for more in numbers:
        found = who("Bridget Halloran", at="14 Kettle Ln", **more)
        assert (found.standing, found.voter) == (Standing.LIKELY, ROLL.voter("1001"))
        assert who("Bridget Halloran", **more).standing is Standing.UNCLEAR


def test_a_name_that_fits_one_voter_and_an_address_that_fits_another_are_unclear() -> None:
    two = MemoryRoll(
        [voter("1", "Vane", "Erin", "1960-01-01", "3 Elm St"), voter("2", "Vane", "Eric", "1961-01-01", "9 Oak St")]
    )
    clues = Clues(names=("Erin Vane",), addresses=(AddressClue("9 Oak St"),))
    found = identify(clues, two, sufficient=SUFFICIENT, today=TODAY)
    assert (found.standing, len(found.candidates)) == (Standing.UNCLEAR, 2)


def test_a_number_that_is_nobodys_id_is_outweighed_by_birth_date_and_address() -> None:
    assert who("Bridget Halloran", at="14 Kettle Ln", voter_ids=("99812",)).standing is Standing.LIKELY
    assert (
        who("Bridget Halloran", at="14 Kettle Ln", born=(1961, 4, 9), voter_ids=("99812",)).standing is Standing.CERTAIN
    )


def test_an_id_with_one_slip_finds_the_voter_and_is_not_enough() -> None:
    found = who("Bridget Halloran", voter_ids=("1010",))
    assert found.standing is not Standing.CERTAIN
    assert who(voter_ids=("10077",)).standing is Standing.NONE


def test_an_inactive_voter_is_found() -> None:
    found = who("Peter St. John", born=(1956, 6, 16))
    assert found.standing is Standing.CERTAIN
    assert found.voter is not None
    assert found.voter.status == "inactive"


def test_a_name_in_a_script_that_cannot_be_compared_is_likely_with_other_data_and_nobody_without() -> None:
    assert who("王小明", at="46 Juniper St", born=(1956, 9, 16)).standing is Standing.LIKELY
    assert who("王小明").standing is Standing.NONE


def test_nothing_at_all_is_nobody_and_everything_is_asked_for() -> None:
    found = who()
    assert (found.standing, found.candidates, found.p) == (Standing.NONE, (), 0.0)
    assert found.missing == ("name", "birth_date", "address", "voter_id")


def test_only_what_the_office_lists_is_sufficient() -> None:
    clues = Clues(names=("Bridget Halloran",), addresses=(AddressClue("14 Kettle Ln"),))
    assert identify(clues, ROLL, sufficient=["birth_date"], today=TODAY).standing is Standing.LIKELY
    assert identify(clues, ROLL, sufficient=["address"], today=TODAY).standing is Standing.CERTAIN
    with pytest.raises(ValueError, match="shoe_size"):
        identify(clues, ROLL, sufficient=["shoe_size"], today=TODAY)


def test_the_sentence_for_the_clerk_holds_no_personal_data() -> None:
    for found in (
        who("Bridget Halloran"),
        who("Greg Mercer", at="118 S Birch Ave"),
        who("Bridget Halloran", born=(1994, 8, 30)),
    ):
        assert found.because.endswith(".")
        for secret in ("Bridget", "Halloran", "Mercer", "Kettle", "1961", "1001"):
            assert secret not in found.because


def test_the_evidence_is_told_in_words_and_its_weights_add_up() -> None:
    best = who("Bridie Halloran", at="14 Kettle Ln", born=(1961, 4, 9)).candidates[0]
    assert best.evidence == {"name": "nickname", "birth_date": "same", "address": "same"}
    assert sum(best.weights.values()) == pytest.approx(best.weight, abs=0.05)


def test_a_common_name_weighs_less_than_a_rare_one() -> None:
    crowd = [voter(f"C{n}", "Smith", f"Given{n}", "1970-01-01", f"{n} Elm St") for n in range(300)]
    few = MemoryRoll([*crowd, voter("R1", "Zielinski", "Given7", "1970-01-01", "1 Oak St")])
    common = identify(Clues(names=("Given7 Smith",)), few, sufficient=SUFFICIENT, today=TODAY).candidates[0]
    rare = identify(Clues(names=("Given7 Zielinski",)), few, sufficient=SUFFICIENT, today=TODAY).candidates[0]
    assert common.weight < rare.weight


def test_another_persons_request_identifies_the_voter_just_the_same() -> None:
    own, others = (who("Bridget Halloran", at="14 Kettle Ln", own_request=own) for own in (True, False))
    assert own == others
