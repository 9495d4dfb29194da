"""Whole letters through the one way in."""

from __future__ import annotations

from datetime import UTC, datetime

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from replacements.mail.letter import Letter, Machine, PartLabel, Sender, TextPart
from replacements.reading.reader import read
from replacements.reading.types import Flag, Kind, Reading

ARRIVED = datetime(2026, 10, 20, 9, tzinfo=UTC)


def letter(text: str, sender: str = "", subject: str = "", machine: Machine | None = None) -> Letter:
    parts = (TextPart(PartLabel.NEW, text),)
    return Letter("<1@post.example>", Sender("a@post.example", sender), subject, ARRIVED, parts, machine=machine)


def test_a_plain_complete_request_gives_one_person_with_every_fact() -> None:
    reading = read(
        letter(
            "Good morning. I filled in the wrong oval on my ballot and need a replacement, please.\n\n"
            "Ida Moss\n12 Elm St Apt 4\nBrockwell, WA 98999\nDOB 3/14/1962\nVoter ID 30112233\n(541) 555-0122",
            "Ida Moss",
        )
    )
    assert reading.has(Kind.SPOILED_BALLOT)
    (person,) = reading.people
    assert (person.name, person.birth_dates, person.voter_ids) == ("Ida Moss", ((1962, 3, 14),), ("30112233",))
    address = person.addresses[0]
    assert (address.street, address.unit, address.city, address.state, address.zip) == (
        "12 Elm St",
        "Apt 4",
        "Brockwell",
        "WA",
        "98999",
    )
    assert (person.phones, person.emails) == (("5415550122",), ("a@post.example",))


def test_machine_mail_is_about_nobody() -> None:
    reading = read(letter("I am away. Ida Moss", machine=Machine("out_of_office", "Auto-Submitted")))
    assert reading.people == ()


def test_four_voters_in_one_letter_raise_the_flag() -> None:
    people = "\n".join(f"{n}, born 1/{d}/1940" for d, n in ((13, "Ida Moss"), (14, "Al Teal"), (15, "Rosa Marin")))
    reading = read(
        letter(
            f"These residents need replacement ballots, theirs were ruined by a leak.\n{people}\n"
            "Walter Finch, born 1/16/1940\nZelda Orr, born 1/17/1940\n\nTrudy Vane",
            "Trudy Vane",
        )
    )
    assert len(reading.people) >= 4
    assert Flag.MANY_PEOPLE in reading.flags
    assert not any(p.is_writer for p in reading.people)


def test_the_same_letter_gives_the_same_reading() -> None:
    mail = letter("My wife and I both spoiled our ballots. Dale and Joyce Norr, 33 Creek Rd", "Dale Norr")
    assert read(mail) == read(mail)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.text(max_size=400), st.text(max_size=40), st.text(max_size=40))
def test_no_letter_makes_the_reader_fail(text: str, sender: str, subject: str) -> None:
    assert isinstance(read(letter(text, sender, subject)), Reading)


def test_a_very_long_letter_is_read_in_time() -> None:
    import time

    text = "I spoiled my ballot and 12 people of 34 Elm St told my mother Ida Moss so on 3/4/1950. " * 400
    begun = time.perf_counter()
    read(letter(text, "Ida Moss"))
    assert time.perf_counter() - begun < 20
