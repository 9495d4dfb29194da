"""Somebody else's ballot without a word of kinship: the subject, "get him another", a name in running text."""

from __future__ import annotations

from dataclasses import replace

import pytest

from replacements.reading.kinds import Evidence, KindsFound
from replacements.reading.people import find_people
from replacements.reading.sentences import sentences
from replacements.reading.types import Kind, KindFound, Person
from tests.reading.known_kinds import SPOILED, letter, people


def about(subject: str, text: str, sender: str = "", language: str = "en", says: str = "") -> tuple[Person, ...]:
    mail = replace(letter(text, sender), subject=subject)
    at = text.index(says) if says else 0
    evidence = (Evidence(SPOILED[0], says, at, at + len(says), 2.0, 0, None),) if says else ()
    kinds = tuple(KindFound(k, 0.9, ()) for k in SPOILED)
    found = KindsFound(kinds, evidence, (), frozenset(), (), None, language, sentences(text))
    return find_people(mail, found)


def test_a_name_without_a_relation_whose_ballot_the_writer_asks_for() -> None:
    (person,) = people(
        "Hello, Nora Vane here. Walt marked two boxes for judge. Could you get him another? "
        "Mine's already signed.\n\nNora",
        "The Vanes",
        says=(("marked two boxes", Kind.SPOILED_BALLOT),),
    )
    assert (person.name, person.is_writer, person.emails) == ("Walt", False, ())
    assert "Walt Vane" in person.names


@pytest.mark.parametrize(
    ("subject", "text", "language", "name", "relation"),
    [
        ("Walt's ballot", "It got wet on the porch. A new one, please.\n\nNora Vane", "en", "Walt", ""),
        ("Replacement ballot for Walt Vane", "The dog tore it. Thank you.\n\nNora Vane", "en", "Walt Vane", ""),
        ("Mom's ballot", "It got wet on the porch. A new one, please.\n\nNora Vane", "en", "", "mother"),
        ("ballot for my husband", "The dog tore it. Thank you.\n\nNora Vane", "en", "", "husband"),
        ("boleta de mi mamá", "Se mojó en la lluvia. Otra por favor.\n\nNora Vega", "es", "", "mother"),
        ("boleta para Ramón", "Se mojó en la lluvia. Otra por favor.\n\nNora Vega", "es", "Ramón", ""),
    ],
)
def test_the_subject_says_whose_ballot_it_is(subject: str, text: str, language: str, name: str, relation: str) -> None:
    (person,) = about(subject, text, "Nora", language)
    assert (person.name, person.relation, person.is_writer) == (name, relation, False)


@pytest.mark.parametrize(
    ("subject", "text", "sender"),
    [
        ("Nora's ballot", "I tore it. A new one, please.\n\nNora Vane", "Nora Vane"),
        ("ballot for Nora Vane", "I tore it.", "Nora Vane"),
        ("husband's ballot came, mine did not", "I tore my ballot.\n\nNora Vane", "Nora Vane"),
        ("Today's ballot", "I tore my ballot.\n\nNora Vane", "Nora Vane"),
    ],
)
def test_a_subject_that_takes_nothing_from_the_writer(subject: str, text: str, sender: str) -> None:
    (person,) = about(subject, text, sender)
    assert (person.name, person.is_writer) == ("Nora Vane", True)


def test_somebody_who_is_not_even_named() -> None:
    (person,) = people("She tore it in half. Please send her another one.\n\nNora Vane", "Nora Vane")
    assert (person.name, person.is_writer) == ("", False)


def test_ones_own_and_the_others_where_both_are_spoiled() -> None:
    one, other = people(
        "I tore my ballot, and Walt spilled soup on his ballot. Send me one and get him another.\n\nNora Vane",
        "Nora Vane",
        says=(("tore my ballot", Kind.SPOILED_BALLOT), ("spilled soup", Kind.SPOILED_BALLOT)),
    )
    assert (one.name, one.is_writer) == ("Nora Vane", True)
    assert (other.name, other.is_writer) == ("Walt", False)


def test_a_helper_at_the_desk_is_not_asked_for() -> None:
    (person,) = people("I tore my ballot. Greta at your desk was kind to me.\n\nNora Vane", "Nora Vane")
    assert (person.name, person.is_writer) == ("Nora Vane", True)


def test_each_of_two_who_give_their_own_birth_dates() -> None:
    one, other = people(
        "Buenas tardes, les escribimos Lino Prado Sáenz, nacido el 4 de mayo de 1950, y Rita Olmos, nacida el 7 "
        "de junio de 1952. A las dos boletas les cayó agua.",
        "Lino Prado",
        language="es",
        says=(("cayó agua", Kind.SPOILED_BALLOT),),
    )
    assert (one.name, one.birth_dates, one.is_writer) == ("Lino Prado Sáenz", ((1950, 5, 4),), True)
    assert (other.name, other.birth_dates, other.is_writer) == ("Rita Olmos", ((1952, 6, 7),), True)


def test_two_lines_with_dates_below_a_wish_of_both() -> None:
    one, other = people(
        "Neither packet reached us. We'd each like one.\n\nGilbert Lark, 5/4/1944\nTrudy (Gertrude) Lark, 6/15/1946",
        "Gil and Trudy",
        kinds=(Kind.NOT_RECEIVED,),
        says=(("reached us", Kind.NOT_RECEIVED),),
    )
    assert (one.name, one.birth_dates) == ("Gilbert Lark", ((1944, 5, 4), (1944, 4, 5)))
    assert (other.name, other.birth_dates) == ("Trudy (Gertrude) Lark", ((1946, 6, 15),))
    assert (one.is_writer, other.is_writer) == (True, True)
