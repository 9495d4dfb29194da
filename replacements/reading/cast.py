"""Everybody a message names: the writer, those who sign too, and those spoken of; with every fact in its place."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date

from replacements.mail.letter import Letter
from replacements.reading.attribution import Other
from replacements.reading.facts.addresses import AddressPlace, find_addresses
from replacements.reading.facts.dates import AgeFound, DateFound, find_ages, find_dates
from replacements.reading.facts.dictation import as_written
from replacements.reading.facts.name_places import How, NamePlace
from replacements.reading.facts.names import FromName, compatible, fold, from_name, name_at, parts
from replacements.reading.facts.numbers import NumberFound, NumberKind, find_numbers
from replacements.reading.facts.relations import Account, Relative, account, find_relatives
from replacements.reading.facts.signatures import find_names
from replacements.reading.facts.vocabulary import vocabulary
from replacements.reading.spoken_of import Told, add_asked_for, add_named, wishes


@dataclass(frozen=True, slots=True)
class Facts:
    """All facts of one text. Places are offsets into that text."""

    text: str
    dates: tuple[DateFound, ...]
    ages: tuple[AgeFound, ...]
    numbers: tuple[NumberFound, ...]
    addresses: tuple[AddressPlace, ...]
    names: tuple[NamePlace, ...]
    relatives: tuple[Relative, ...]

    @property
    def births(self) -> tuple[DateFound, ...]:
        return tuple(d for d in self.dates if d.is_birth)

    @property
    def own_addresses(self) -> tuple[AddressPlace, ...]:
        return tuple(a for a in self.addresses if not a.elsewhere)


def gather(text: str, language: str, arrived: date, sender: FromName, *, changes: bool = False) -> Facts:
    """Find all facts of a text, each kind keeping clear of the places that the kinds before it hold."""
    dates = find_dates(text, language, arrived)
    # A number run together is a date only where a word says so; else it stays free to be an id.
    held = [(d.start, d.end) for d in dates if d.is_birth or not d.text.isdigit()]
    numbers = find_numbers(text, language, held)
    taken = held + [(n.start, n.end) for n in numbers if n.kind is not NumberKind.BARE]
    addresses = find_addresses(text, language, taken, changes=changes, not_city=sender.words)
    numbers = tuple(
        n
        for n in numbers
        if n.kind is not NumberKind.BARE or all(n.end <= a.start or n.start >= a.end for a in addresses)
    )
    spans = (
        [(d.start, d.end) for d in dates if d.is_birth]
        + [(n.start, n.end) for n in numbers]
        + [(a.start, a.end) for a in addresses]
    )
    names = find_names(text, language, sender, spans)
    return Facts(text, dates, find_ages(text, language), numbers, addresses, names, find_relatives(text, language))


@dataclass(slots=True)
class Named:
    """One person's names in the text, wherever they stand."""

    places: list[NamePlace] = field(default_factory=list)
    relation: str = ""

    @property
    def forms(self) -> list[str]:
        """Every form, best first: what was said or stands beside particulars, whole names before short ones."""

        def worth(place: NamePlace) -> tuple[bool, int, int]:
            row = place.text.split()
            whole = len(row) > 1 and len(row[-1].rstrip(".")) > 1
            single = not place.text.isascii() and len(row) == 1 and ord(place.text[0]) > 0x2000
            return (not (whole or single), list(How).index(place.how), -len(row))

        found: list[str] = []
        for place in sorted((p for p in self.places if p.how is not How.FORMER), key=worth):
            found += [f for f in (place.text, place.other_form) if f]
        found += [p.text for p in self.places if p.how is How.FORMER]
        return list(dict.fromkeys(found))

    def has(self, *how: How) -> bool:
        return any(p.how in how for p in self.places)

    @property
    def suffix(self) -> str:
        return next((p.suffix for p in self.places if p.suffix), "")

    def fits(self, name: str) -> bool:
        return all(compatible(p.text, name) for p in self.places if p.how is not How.FORMER)


def cluster(names: tuple[NamePlace, ...]) -> list[Named]:
    """Join the places that may be one person's, whole names first, so that "Ana" goes to "Ana Poe"."""
    groups: list[Named] = []
    former = [n for n in names if n.how is How.FORMER]
    for place in sorted((n for n in names if n.how is not How.FORMER), key=lambda n: -len(n.text.split())):
        for group in groups:
            if group.fits(place.text):
                group.places.append(place)
                break
        else:
            groups.append(Named([place]))
    for place in former:
        home = next((g for g in groups if g.fits(place.text)), groups[0] if groups else None)
        if home:
            home.places.append(place)
    for group in groups:
        group.places.sort(key=lambda p: p.start)
    return sorted(groups, key=lambda g: g.places[0].start)


@dataclass(slots=True)
class Cast:
    """Who is who. `writer` is None where nobody signs. `partners` sign or give particulars along with the writer."""

    facts: Facts
    sender: FromName
    account: Account
    writer: Named | None
    named: list[Named]  # others with particulars of their own or a signature
    others: list[Other]  # everybody spoken of, the named ones first
    other_names: list[Named | None]  # along with `others`: the group of `named`, where there is one


SPOUSES = frozenset({"husband", "wife", "spouse"})
# Who may say "we both" with the writer and ask for themself; parents and children are spoken for.
SIGNS_TOO = SPOUSES | {"", "brother", "sister", "twin", "roommate", "friend"}


def signs_beside(writer: Named | None, group: Named | None) -> bool:
    """ "June & Walt Peters": two names in one signature."""
    if writer is None or group is None:
        return False
    return any(
        abs(a.start - b.end) <= 7 or abs(b.start - a.end) <= 7
        for a in writer.places
        for b in group.places
        if a.how in (How.SIGNED, How.BESIDE) and b.how in (How.SIGNED, How.BESIDE)
    )


def _is_called(group: Named, name: str) -> bool:
    """Whether a relative's name is this group's: a given name alone must be the very word."""
    if len(name.split()) > 1 or not name.isascii():
        return group.fits(name)
    return any(fold(name) in parts(p.text) for p in group.places)


def _writer(groups: list[Named], relatives: list[Relative], sender: FromName) -> Named | None:
    def is_relative(group: Named) -> bool:
        return any(r.name and _is_called(group, r.name) for r in relatives)

    def is_spoken_of(group: Named) -> bool:
        """ "Milagros, my wife, …": the very place that names the relative."""
        starts = {r.name_start for r in relatives if r.name}
        return all(p.start in starts for p in group.places)

    for how in (How.SIGNED, How.SAID, How.BESIDE):
        able = [g for g in groups if g.has(how) and not (is_spoken_of(g) if how is How.SIGNED else is_relative(g))]
        if not able:
            continue
        for name in sender.names:
            fitting = [g for g in able if g.fits(name)]
            if fitting:
                return fitting[0]
        if how is How.BESIDE and sender.names and any(len(n.split()) > 1 for n in sender.names) and len(able) > 1:
            return None
        return able[-1] if how is How.SIGNED else able[0]
    return None


def _is_the_relative(writer: Named, relatives: list[Relative], sender: FromName, text: str, language: str) -> bool:
    """Whether the only name with particulars is the unnamed relative's: another's account, and no "my ballot"."""
    if writer.has(How.SIGNED, How.SAID):
        return False
    if not relatives and wishes(text, vocabulary(language)) and not any(writer.fits(n) for n in sender.names):
        return vocabulary(language).pattern("own_ballot").search(text) is None
    if not any(len(n.split()) > 1 for n in sender.names):
        return False
    if any(writer.fits(n) for n in sender.names) or len({r.relation for r in relatives if not r.name}) != 1:
        return False
    return vocabulary(language).pattern("own_ballot").search(text) is None


def assemble(letter: Letter, language: str, *, changes: bool) -> Cast:
    """Read the new text and say who writes and who is spoken of."""
    sender = from_name(letter.sender.name)
    facts = gather(as_written(letter.new_text), language, letter.arrived.date(), sender, changes=changes)
    text = facts.text
    whose = account(text, language)
    relatives = list(facts.relatives)
    groups = cluster(facts.names)
    writer = _writer(groups, relatives, sender)
    if writer is not None and _is_the_relative(writer, relatives, sender, text, language):
        writer = None
    others: list[Other] = []
    other_names: list[Named | None] = []

    def keep(relation: str, name: str) -> int:
        for i, other in enumerate(others):
            if name and other.names:
                if any(compatible(name, n) for n in other.names):
                    return i
            elif relation and other.relation == relation:
                return i
        others.append(Other(relation))
        other_names.append(None)
        return len(others) - 1

    for relative in relatives:
        if whose.is_anothers and relative.relation == whose.relation and not relative.name:
            continue
        if relative.name and writer is not None and writer.fits(relative.name) and len(relative.name.split()) > 1:
            relative = Relative(relative.start, relative.end, relative.relation, possessive=relative.possessive)
        i = keep(relative.relation, relative.name)
        others[i].relation = others[i].relation or relative.relation
        if relative.name and relative.name not in others[i].names:
            others[i].names.append(relative.name)
        others[i].places.append((relative.start, max(relative.end, relative.name_end), relative.possessive))
    _join_unnamed(others, other_names)
    for other in others:  # "my son Viktor … Viktor Emil Gard, born …": the whole name is his too
        if len(other.names) == 1 and other.names[0].isalpha() and other.names[0].isascii():
            for m in re.finditer(rf"\b{other.names[0]}(?=[ ][A-Z])", text):
                whole = name_at(text, m.start(), vocabulary(language))
                if whole is not None and len(whole.text.split()) > 1:
                    other.names.append(whole.text)
                    other.places.append((whole.start, whole.end, False))
                    break
    known = [(p.start, p.end) for p in facts.names] + [(a.start, a.end) for a in facts.addresses]
    known += [(r.name_start, r.name_end) for r in facts.relatives if r.name]
    if whose.is_anothers:
        known.append(whose.said_at)
    own = writer.forms if writer is not None else sender.names
    told = Told(letter.subject, text, language, own, known)
    add_asked_for(told, others)
    other_names += [None] * (len(others) - len(other_names))
    nameless = [i for i, o in enumerate(others) if not o.names]
    for group in groups:
        if group is writer:
            continue
        name = group.forms[0] if group.forms else ""
        found = next((i for i, o in enumerate(others) if any(_is_called(group, n) for n in o.names)), None)
        # "Emil and Edith Varga" sign; neither is the son who drives them, but one may be "my husband".
        able = not signs_beside(writer, group) or (nameless and others[nameless[0]].relation in SIGNS_TOO)
        if found is None and able and len(nameless) == 1 and not others[nameless[0]].names:
            found = nameless[0]
        if found is None:
            found = keep("", name)
        others[found].names = list(dict.fromkeys([*group.forms, *others[found].names]))
        others[found].places += [(p.start, p.end, False) for p in group.places]
        other_names[found] = group
        group.relation = others[found].relation
    add_named(told, others)
    other_names += [None] * (len(others) - len(other_names))
    return Cast(facts, sender, whose, writer, [g for g in groups if g is not writer], others, other_names)


def _join_unnamed(others: list[Other], other_names: list[Named | None]) -> None:
    """ "I'm Ana Poe's son … my mother": the one without a relation and the one without a name are the same."""
    named = [o for o in others if o.names and not o.relation]
    unnamed = [o for o in others if not o.names and o.is_close]
    if len(named) == 1 and len(unnamed) == 1:
        named[0].relation = unnamed[0].relation
        named[0].places += unnamed[0].places
        at = next(i for i, o in enumerate(others) if o is unnamed[0])
        del others[at], other_names[at]
