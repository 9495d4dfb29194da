"""More of the adversarial set: voters who are on the roll and write their names, addresses, dates and ids otherwise."""

from __future__ import annotations

import random
from collections.abc import Callable

from replacements.roll.nicknames_known import relation, short_forms
from replacements.roll.types import AddressClue, Clues, Voter
from tests.roll.adversarial_cases import (
    Case,
    Cases,
    clues,
    couples,
    fathers_and_sons,
    namesakes,
    other_date,
    sons_who_are_not_on_the_roll,
    strangers,
    there,
    twins,
)
from tests.roll.adversarial_county import KOREAN_SPELLED, KOREAN_SYLLABLES, people_nowhere
from tests.roll.adversarial_slips import date_slip, digits_swapped, id_slip, typo
from tests.roll.invented_messages import born, home, name
from tests.roll.invented_roll import (
    KOREAN,
    KOREAN_GIVEN,
    SPANISH_FAMILY,
    VIETNAMESE,
    VIETNAMESE_GIVEN,
    County,
)


def lone(county: County, first: int, last: int) -> list[Voter]:
    return [voter for (voter,) in county.kinds["ordinary"][first:last]]


def slips(county: County, chance: random.Random) -> Cases:
    """One field wrong, and of the others enough that is right."""
    family = "slips"
    for voter in lone(county, 260, 430):
        own, date, at = name(voter), born(voter), (home(voter, chance),)
        number, street = voter.street.split(" ", 1)
        family_name = f"{voter.first_name} {typo(voter.last_name, chance)}"
        given_name = f"{typo(voter.first_name, chance)} {voter.last_name}"
        wrong_house = (AddressClue(f"{digits_swapped(number, chance)} {street}", voter.unit, voter.city),)
        wrong_street = (AddressClue(f"{number} {typo(street, chance)}", voter.unit, voter.city, "", voter.zip),)
        slip, wrong_id = (date_slip(date[0], chance),), (id_slip(voter.voter_id, chance),)
        known = {"addresses": at, "birth_dates": date}
        sure: list[tuple[str, Clues]] = [
            ("family name", clues(family_name, **known)),
            ("house number", clues(own, birth_dates=date, addresses=wrong_house)),
            ("street", clues(own, birth_dates=date, addresses=wrong_street)),
            ("street, no date", clues(own, addresses=wrong_street)),
            ("voter id", clues(own, birth_dates=date, voter_ids=wrong_id)),
            ("birth date beside the id", clues(own, birth_dates=slip, voter_ids=(voter.voter_id,))),
        ]
        if voter.email:
            sure.append(("birth date, account", clues(own, birth_dates=slip, addresses=at, emails=(voter.email,))))
        for what, said in sure:
            yield Case(family, what, said, voter.voter_id, True)
        # a sister may have the name that a slip makes: right or left to a person, never somebody else
        yield Case(family, "given name", clues(given_name, **known), voter.voter_id)
        yield Case(family, "birth date and address", clues(own, birth_dates=slip, addresses=at), voter.voter_id)
        yield Case(family, "voter id alone", clues(own, voter_ids=wrong_id), voter.voter_id)
        twice = clues(family_name, birth_dates=slip, addresses=wrong_house)
        yield Case(family, "three at once", twice, voter.voter_id)


def contradictions(county: County, chance: random.Random) -> Cases:
    """The right name and address, and something that this voter would not say: left to a person."""
    family = "contradictions"
    people = lone(county, 430, 560)
    for voter, other in zip(people, people[1:] + people[:1], strict=True):
        year, month, day = born(voter)[0]
        at = {"addresses": there(voter)}
        age = 2026 - year
        yield Case(family, "birth year", clues(name(voter), birth_dates=((year + 22, month, day),), **at), None)
        yield Case(family, "birth year alone", clues(name(voter), birth_dates=((year + 19, None, None),), **at), None)
        yield Case(family, "birth date", clues(name(voter), birth_dates=other_date(voter, chance), **at), None)
        yield Case(family, "age", clues(name(voter), age=age + 25 if age < 60 else age - 25, **at), None)
        yield Case(family, "suffix", clues(name(voter), suffix="Jr", **at), None)
        yield Case(family, "another's id", clues(name(voter), voter_ids=(other.voter_id,), **at), None)
        yield Case(family, "another's ballot", clues(name(voter), ballot_owners=(other.voter_id,), **at), None)
        if voter.unit:
            yield Case(
                family, "unit", clues(name(voter), addresses=(AddressClue(voter.street, "Apt 999", voter.city),)), None
            )
        elsewhere = (AddressClue(voter.street, voter.unit, "Farwick", "OH", "43998"),)
        yield Case(family, "town", clues(name(voter), addresses=elsewhere), None)


def former_and_short_names(county: County, chance: random.Random) -> Cases:
    for (voter,) in county.kinds["former name"]:
        former = f"{voter.first_name} {voter.former_last_name}"
        for form in (former, f"{name(voter)} (née {voter.former_last_name})", f"{former}-{voter.last_name}"):
            both = clues(form, birth_dates=born(voter), addresses=there(voter))
            yield Case("former names", "address", clues(form, addresses=there(voter)), voter.voter_id, "-" not in form)
            yield Case(
                "former names", "birth date", clues(form, birth_dates=born(voter)), voter.voter_id, "-" not in form
            )
            yield Case("former names", "both", both, voter.voter_id, "-" not in form)
        yield Case("former names", "name alone", clues(former), None)
    for voter in lone(county, 560, 760):
        first = voter.first_name.lower()
        shorts = sorted(s for s in short_forms(first) if relation(s, first) == "nickname" and s[0] == first[0])
        for short in shorts[:2]:
            form = f"{short.title()} {voter.last_name}"
            yield Case("nicknames", "birth date", clues(form, birth_dates=born(voter)), voter.voter_id, True)
            yield Case("nicknames", "address", clues(form, addresses=(home(voter, chance),)), voter.voter_id, True)
            yield Case("nicknames", "voter id", clues(form, voter_ids=(voter.voter_id,)), voter.voter_id, True)
            yield Case("nicknames", "name alone", clues(form), None)
            yield Case(
                "nicknames",
                "another birth date",
                clues(form, birth_dates=other_date(voter, chance), addresses=there(voter)),
                None,
            )


def spanish(county: County, chance: random.Random) -> Cases:
    family = "two surnames"
    for (voter,) in county.kinds["two surnames"]:
        father, mother = voter.last_name.split()
        third = next(n for n in SPANISH_FAMILY if n not in (father, mother))
        forms = [
            f"{voter.first_name} {father}",
            f"{voter.first_name} {father}-{mother}",
            f"{father} {mother}, {voter.first_name}",
        ]
        forms += [f"{voter.first_name} {mother}", f"{voter.first_name} {father} {mother[0]}."]
        for form in forms:
            yield Case(family, "birth date", clues(form, birth_dates=born(voter)), voter.voter_id, True)
            yield Case(family, "address", clues(form, addresses=(home(voter, chance),)), voter.voter_id, True)
        cousin = clues(f"{voter.first_name} {father} {third}", addresses=there(voter))
        yield Case(family, "a cousin", cousin, None)
        turned = clues(f"{voter.first_name} {mother} {father}", addresses=there(voter))
        yield Case(family, "the other way round", turned, voter.voter_id)
    for pair in county.kinds["brothers of two surnames"]:
        for own in pair:
            father = own.last_name.split()[0]
            form = f"{own.first_name} {father}"
            yield Case(family, "brothers", clues(form, addresses=there(own)), own.voter_id, True)
        yield Case(family, "brothers, no given name", clues(f"Sr. {pair[0].last_name}", addresses=there(pair[0])), None)


def vietnamese_and_korean(county: County, chance: random.Random) -> Cases:
    for (voter,) in county.kinds["vietnamese"]:
        marks, given = dict(VIETNAMESE)[voter.last_name], dict(VIETNAMESE_GIVEN)[voter.first_name]
        middle = {"Thi": "Thị", "Van": "Văn"}[voter.middle_name]
        plain = (voter.last_name, voter.middle_name, voter.first_name)
        forms = [f"{marks} {middle} {given}", " ".join(plain), f"{given} {marks}", f"{plain[2]} {plain[1]} {plain[0]}"]
        forms += [f"{plain[0].upper()} {plain[2]}", f"{marks}, {given}"]
        for form in forms:
            yield Case("vietnamese", "birth date", clues(form, birth_dates=born(voter)), voter.voter_id, True)
            yield Case("vietnamese", "address", clues(form, addresses=(home(voter, chance),)), voter.voter_id, True)
        yield Case("vietnamese", "name alone", clues(forms[0]), None)
        sister = next(n for n, _ in VIETNAMESE_GIVEN if n != voter.first_name)
        yield Case("vietnamese", "a sister", clues(f"{plain[0]} {plain[1]} {sister}", addresses=there(voter)), None)
    for (voter,) in [*county.kinds["korean"], *county.kinds["korean given names"]]:
        hangul, spelled = _korean(voter)
        forms = [hangul, f"{hangul[0]} {hangul[1:]}", spelled, f"{voter.last_name} {voter.first_name.replace('-', '')}"]
        forms += [f"{voter.first_name.replace('-', ' ')} {voter.last_name}", f"{hangul} ({name(voter)})"]
        for form in forms:
            yield Case("korean", "birth date", clues(form, birth_dates=born(voter)), voter.voter_id, True)
            yield Case("korean", "address", clues(form, addresses=(home(voter, chance),)), voter.voter_id, True)
        yield Case("korean", "name alone", clues(hangul), None)
        yield Case(
            "korean",
            "another birth date",
            clues(hangul, birth_dates=other_date(voter, chance), addresses=there(voter)),
            None,
        )
        brother = voter.first_name.split("-")[0] + "-" + ("seo" if not voter.first_name.endswith("seo") else "kyu")
        both = clues(f"{brother} {voter.last_name}", birth_dates=born(voter), addresses=there(voter))
        yield Case("korean", "a brother of one syllable", both, None)


def _korean(voter: Voter) -> tuple[str, str]:
    """(in Hangul, in Roman letters as another member of the family may spell it)"""
    family = dict(KOREAN)[voter.last_name]
    if voter.first_name in dict(KOREAN_GIVEN):
        return family + dict(KOREAN_GIVEN)[voter.first_name], f"{voter.last_name} {voter.first_name}"
    syllables = voter.first_name.lower().split("-")
    spelled = "".join(KOREAN_SPELLED[syllable] for syllable in syllables)
    return family + "".join(
        dict(KOREAN_SYLLABLES)[syllable] for syllable in syllables
    ), f"{spelled.title()} {voter.last_name}"


def parts_of_facts(county: County, chance: random.Random) -> Cases:
    family = "partial facts"
    for voter in lone(county, 760, 900):
        year, month, day = born(voter)[0]
        street = voter.street.split(" ", 1)[1]
        yield Case(family, "day and month", clues(name(voter), birth_dates=((None, month, day),)), None)
        yield Case(family, "year", clues(name(voter), birth_dates=((year, None, None),)), None)
        yield Case(family, "town", clues(name(voter), addresses=(AddressClue(city=voter.city),)), None)
        yield Case(family, "street", clues(name(voter), addresses=(AddressClue(street, city=voter.city),)), None)
        yield Case(family, "given name and address", clues(voter.first_name, addresses=there(voter)), None)
        yield Case(family, "family name and address", clues(f"Ms. {voter.last_name}", addresses=there(voter)), None)
        yield Case(family, "no name", Clues(addresses=there(voter), birth_dates=born(voter)), None)
        initial = clues(f"{voter.first_name[0]}. {voter.last_name}", birth_dates=born(voter))
        yield Case(family, "first letter and birth date", initial, voter.voter_id)
        year_too = clues(name(voter), birth_dates=((year, None, None),), addresses=there(voter))
        yield Case(family, "year and address", year_too, voter.voter_id, True)


def boxes(county: County, chance: random.Random) -> Cases:
    family = "post office boxes"
    for (voter,) in county.kinds["a box of one's own"]:
        number = voter.mail_street.split()[-1]
        for form in (f"PO Box {number}", f"P.O. Box {number}", f"box {number}", f"POB {number}"):
            yield Case(family, "no town", clues(name(voter), addresses=(AddressClue(form),)), voter.voter_id, True)
        wrong = (AddressClue(f"PO Box {digits_swapped(number, chance)}", city="Ostrey"),)
        yield Case(family, "another number", clues(name(voter), addresses=wrong), None)
        town = (AddressClue(f"PO Box {number}", city="Farwick", zip="43998"),)
        yield Case(family, "another town", clues(name(voter), addresses=town), None)
        dated = clues(name(voter), addresses=(AddressClue(f"PO Box {number}"),), birth_dates=other_date(voter, chance))
        yield Case(family, "another birth date", dated, None)
    for pair in county.kinds["namesakes' boxes of one number"]:
        box = pair[0].mail_street
        yield Case(family, "two towns", clues(name(pair[0]), addresses=(AddressClue(box),)), None)
        for own in pair:
            at = (AddressClue(box, city=own.mail_city, zip=own.mail_zip),)
            yield Case(family, "of two towns, the town said", clues(name(own), addresses=at), own.voter_id, True)
            yield Case(
                family,
                "of two towns, the birth date said",
                clues(name(own), addresses=(AddressClue(box),), birth_dates=born(own)),
                own.voter_id,
                True,
            )
    for (voter,) in county.kinds["student"]:
        away = (AddressClue(people_nowhere(chance), city="Farwick", moved=True),)
        yield Case(family, "a new address only", clues(name(voter), addresses=away), None)


FAMILIES: list[Callable[[County, random.Random], Cases]] = [
    fathers_and_sons, sons_who_are_not_on_the_roll, twins, couples, namesakes, strangers, slips, contradictions,
    former_and_short_names, spanish, vietnamese_and_korean, parts_of_facts, boxes,
]  # fmt: skip


def cases(county: County, seed: int = 9) -> list[Case]:
    """Every family's cases, always the same ones for a seed."""
    return [case for number, family in enumerate(FAMILIES) for case in family(county, random.Random(seed + number))]
