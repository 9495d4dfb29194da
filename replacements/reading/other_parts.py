"""What the rest of a letter adds about its writer: the subject, the block below "-- ", the quoted earlier messages."""

from __future__ import annotations

from dataclasses import replace

from replacements.mail.letter import Letter, PartLabel
from replacements.reading.cast import Cast, Facts, gather
from replacements.reading.earlier import earlier
from replacements.reading.facts.name_places import How
from replacements.reading.facts.names import compatible, parts, without_initials
from replacements.reading.facts.numbers import NumberFound, NumberKind, find_numbers
from replacements.reading.facts.signatures import names_between_marks
from replacements.reading.facts.vocabulary import every_language
from replacements.reading.kinds import KindsFound
from replacements.reading.types import AddressFound, Person

_LONGEST_SIGNATURE = 6  # lines; a longer block is a firm's


def with_subject(letter: Letter, found: KindsFound, person: Person, cast: Cast) -> Person:
    """Add what the subject states: the voter ids and ballot numbers; name, birth date and address of a writer who
    gives no whole name below, or neither of the others ("Poe, Ida Ann - spoiled ballot - born 3/13/1963")."""
    whole_name = any(len(parts(name)[0]) > 1 for name in person.names if len(name.split()) > 1)
    if not person.is_writer or (whole_name and (person.birth_dates or person.addresses)):
        return _with_numbers(person, find_numbers(letter.subject, found.language))
    facts = gather(letter.subject, found.language, letter.arrived.date(), cast.sender)
    whole = [p.text for p in facts.names if p.how is not How.FORMER and len(p.text.split()) > 1]
    names = whole or names_between_marks(letter.subject, found.language, cast.sender)
    if len(names) != 1 or not all(compatible(names[0], known) for known in person.names if len(known) > 3):
        return _with_facts(person, facts) if not names else _with_numbers(person, facts.numbers)
    return _with_facts(_named(replace(person, name=""), [*names, *person.names]), facts)


def with_other_parts(letter: Letter, found: KindsFound, person: Person, cast: Cast) -> Person:
    """Add what the writer's signature block and earlier words say, behind what the new text says."""
    return _with_earlier(letter, found, _with_signature(letter, found, person, cast), cast)


def _with_signature(letter: Letter, found: KindsFound, person: Person, cast: Cast) -> Person:
    """Add name and particulars of the signature block, unless it is another's or a firm's."""
    block = letter.text(PartLabel.SIGNATURE)
    if not block.strip() or (cast.account.is_anothers and person.name):
        return person
    facts = gather(block, found.language, letter.arrived.date(), cast.sender)
    names = [p.text for p in facts.names if p.how is not How.FORMER]
    known = person.names or cast.sender.names
    if not names or not all(any(compatible(n, k) for k in known) for n in names if known):
        return person
    person = _named(person, [*person.names, *names])
    words = {w.strip(".,:;|").lower() for w in block.split()}
    lines = [line for line in block.split("\n") if line.strip()]
    if "|" in block or words & every_language().words["organisation"] or len(lines) > _LONGEST_SIGNATURE:
        return person
    return _with_facts(person, facts)


def _with_numbers(person: Person, numbers: tuple[NumberFound, ...]) -> Person:
    def joined(known: tuple[str, ...], *kinds: NumberKind) -> tuple[str, ...]:
        return tuple(dict.fromkeys([*known, *(n.value for n in numbers if n.kind in kinds)]))

    return replace(
        person,
        voter_ids=joined(person.voter_ids, NumberKind.VOTER_ID, NumberKind.BARE),
        ballot_numbers=joined(person.ballot_numbers, NumberKind.BALLOT, NumberKind.BARE),
        phones=joined(person.phones, NumberKind.PHONE) if person.is_writer else person.phones,
    )


def _with_facts(person: Person, facts: Facts) -> Person:
    """Add facts of another part; a birth date and an age only where there is none yet."""
    person = _with_numbers(person, facts.numbers)
    return replace(
        person,
        addresses=_merged(person.addresses, tuple(a.found for a in facts.own_addresses)),
        birth_dates=person.birth_dates or tuple(r for d in facts.births for r in d.readings),
        age=person.age or next((a.age for a in facts.ages), None),
    )


def _named(person: Person, names: list[str]) -> Person:
    whole = next((n for n in names if len(n.split()) > 1), next(iter(names), ""))
    best = person.name or whole
    every = without_initials([n for n in dict.fromkeys([best, *names]) if n])
    return replace(person, name=every[0] if every else "", names=tuple(every))


def _with_earlier(letter: Letter, found: KindsFound, person: Person, cast: Cast) -> Person:
    """Add what the writer's own earlier words, quoted below, say; and the name with which the office greeted them."""
    before = earlier(letter)
    names = list(person.names)

    def fits(name: str) -> bool:
        return not person.names or compatible(name, person.names[0])

    if before.own:
        old = gather(before.own, found.language, letter.arrived.date(), cast.sender)
        forms = [p.text for p in old.names if p.how is not How.FORMER]
        if all(fits(f) for f in forms):
            names += [f for f in forms if f not in names]
            person = _with_facts(person, old)
    for name in before.greeted:
        if fits(name) and name not in names and len(parts(name)) > 1:
            names.append(name)
    return _named(person, names)


def _merged(new: tuple[AddressFound, ...], old: tuple[AddressFound, ...]) -> tuple[AddressFound, ...]:
    known = {a.street.lower() for a in new}
    return (*new, *(a for a in old if a.street.lower() not in known))
