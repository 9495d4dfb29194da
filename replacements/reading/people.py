"""From who is who to the people of a reading: for whom something is asked, with the facts that are theirs.

The body outranks the From line. Whoever is only mentioned (a twin whose ballot is fine, a neighbour who has hers) is no
person of the reading.
"""

from __future__ import annotations

from dataclasses import replace

from replacements.mail.letter import Letter
from replacements.reading.attribution import Other, Share, Shares, Sign, share
from replacements.reading.belongings import Belongings, own_account, sort_facts
from replacements.reading.cast import SIGNS_TOO, Cast, Named, assemble, signs_beside
from replacements.reading.facts.name_places import How
from replacements.reading.facts.names import compatible, without_initials
from replacements.reading.facts.relations import PLURALS, suffix_in_words
from replacements.reading.facts.vocabulary import as_typed, vocabulary
from replacements.reading.kinds import KindsFound
from replacements.reading.other_parts import with_other_parts, with_subject
from replacements.reading.types import Flag, Kind, Person, Topic

_NOBODY = frozenset({Kind.AUTOMATIC, Kind.OTHER})
_GENERAL = frozenset({Kind.QUESTION, Kind.ASSISTANCE})
_SUFFIXES = {"hijo": "Jr", "padre": "Sr"}
_MANY = 4
_ENOUGH, _PERHAPS = 2.0, 1.5


def find_people(letter: Letter, found: KindsFound) -> tuple[Person, ...]:
    """The people of a message, the writer first. Empty for machine mail, junk, and questions that name nobody."""
    asked = tuple(k.kind for k in found.kinds if k.kind not in _NOBODY)
    if not asked:
        return ()
    found = replace(found, language=as_typed(found.language, letter.new_text))
    cast = assemble(letter, found.language, changes=Kind.ADDRESS_CHANGE in asked)
    signs = [Sign(e.kind, e.start, e.end, e.cause) for e in found.evidence if e.start >= 0 and e.kind in asked]
    shares = share(cast.facts.text, found.language, signs, cast.others)
    if _is_general(letter, found, asked, cast, shares):
        return ()
    in_care = cast.sender.is_organisation or vocabulary(found.language).pattern("helper").search(cast.facts.text)
    if len(cast.named) >= (_MANY - 1 if Flag.MANY_PEOPLE in found.flags else _MANY) or (in_care and _lists(cast)):
        listed = _listed(cast, asked, found)
        if listed:
            return listed
    partners = _partners(cast, shares)
    if partners:
        return _couple(letter, found, asked, cast, shares, partners)
    people = _writer_and_others(letter, found, asked, cast, shares)
    return (with_subject(letter, found, people[0], cast),) if len(people) == 1 else people


def _is_general(letter: Letter, found: KindsFound, asked: tuple[Kind, ...], cast: Cast, shares: Shares) -> bool:
    """A question that nobody in particular asks, or that a helper asks about voters who are not named."""
    if not set(asked) <= _GENERAL:
        return False
    facts = cast.facts
    particulars = bool(facts.births or facts.own_addresses or any(n.kind.value != "email" for n in facts.numbers))
    words = vocabulary(found.language)
    own_ballot = any(m[0].lower() != "mine" for m in words.pattern("own_ballot").finditer(facts.text))
    helps = words.pattern("helper").search(facts.text) is not None or cast.sender.is_organisation
    spoken_for = any(o.names for o in cast.others)
    if helps and not own_ballot and not facts.births and not spoken_for:
        return True
    if shares.pleads and not own_ballot and not spoken_for and not particulars:
        return True
    if shares.others and not (own_ballot or particulars or spoken_for or _says_a_whole_name(cast)):
        return True  # somebody with a given name alone asks about a relative who is not named
    if cast.writer is not None or particulars or spoken_for:
        return False
    return not (own_ballot and cast.sender.names) and Topic.STATUS not in found.topics


def _says_a_whole_name(cast: Cast) -> bool:
    names = (*(cast.writer.forms if cast.writer is not None else ()), *cast.sender.names)
    return any(len(n.split()) > 1 or n[0] > "ἀ" for n in names) or bool(cast.sender.household)


def _lists(cast: Cast) -> bool:
    """Whether two people or more are named with particulars, and none of them writes."""
    groups = [g for g in (cast.writer, *cast.named) if g is not None and g.has(How.BESIDE)]
    return len(groups) > 1 and not any(g.has(How.SIGNED, How.SAID) for g in groups)


def _listed(cast: Cast, asked: tuple[Kind, ...], found: KindsFound) -> tuple[Person, ...]:
    """A list of voters from one sender: each is a third party, and a person reads it."""
    groups = [g for g in cast.named if g.has(How.BESIDE, How.SAID)]
    if cast.writer is not None and cast.writer.has(How.BESIDE) and _lists(cast):
        groups.insert(0, cast.writer)  # nobody signs: the first of the list is no writer
    owners = [sort_facts(cast, [g.places for g in groups], i) for i in range(len(groups))]
    return tuple(
        _person(g.forms, belongings, asked, found, is_writer=False, relation=g.relation, suffix=g.suffix)
        for g, belongings in zip(groups, owners, strict=True)
    )


def _person(
    names: list[str],
    belongings: Belongings,
    kinds: tuple[Kind, ...],
    found: KindsFound,
    *,
    is_writer: bool,
    relation: str = "",
    suffix: str = "",
    emails: tuple[str, ...] = (),
    part: Share | None = None,
) -> Person:
    names = without_initials([n for n in dict.fromkeys(names) if n])
    return Person(
        name=names[0] if names else "",
        names=tuple(names),
        suffix=_SUFFIXES.get(suffix.lower(), suffix),
        birth_dates=belongings.birth_dates,
        age=belongings.age,
        addresses=belongings.addresses,
        voter_ids=belongings.voter_ids,
        ballot_numbers=belongings.ballot_numbers,
        phones=belongings.phones,
        emails=tuple(dict.fromkeys([*emails, *(belongings.emails if is_writer else ())])),
        is_writer=is_writer,
        relation=relation,
        kinds=kinds,
        cause=(part.cause if part and part.cause else None) or found.cause,
    )


def _partners(cast: Cast, shares: Shares) -> list[int]:
    """Indices of the others who ask along with the writer: they sign too, or are the other half of "we both"."""
    both = shares.both.points >= _PERHAPS
    row = []
    for i, (other, group) in enumerate(zip(cast.others, cast.other_names, strict=True)):
        signs = (
            group is not None
            and group.has(How.SIGNED, How.SAID)
            and cast.writer is not None
            and cast.writer.has(How.SIGNED, How.SAID)
        )
        particulars = group is not None and group.has(How.BESIDE)
        spoken = (
            signs and both and group is not None and _has_birth_date(cast, group)
        )  # "we are Ana (1/2/50) and Lea (…)"
        if (other.relation not in SIGNS_TOO and not spoken) or shares.pleads:
            continue
        # Two names below "I spoiled my ballot" are a greeting from both, not two requests.
        together = both or (shares.own_said == 0 and shares.own.points < _PERHAPS)
        dated = group is not None and _has_birth_date(cast, group)
        if (together and (signs or signs_beside(cast.writer, group))) or (signs and dated) or (both and particulars):
            row.append(i)  # "my sister and I both": she does not write herself, and is spoken for
    return row


def _signed_by_several(cast: Cast) -> bool:
    """Whether two people sign, one of them asks, and nothing says which: then nobody is named."""
    writer = cast.writer
    if writer is None or writer.has(How.SAID):
        return False
    also = [g for g in cast.named if signs_beside(writer, g) or (writer.has(How.SIGNED) and g.has(How.SIGNED))]
    also = [g for g in also if not g.relation]  # "my wife Sue": then the other one writes
    fitting = [g for g in (writer, *also) if any(g.fits(n) for n in cast.sender.names)]
    return bool(also) and len(fitting) != 1


def _couple(
    letter: Letter, found: KindsFound, asked: tuple[Kind, ...], cast: Cast, shares: Shares, partners: list[int]
) -> tuple[Person, ...]:
    writer = cast.writer or Named()
    anchors = [writer.places] + [_places(cast, i) for i in partners]
    emails = (letter.sender.address,) if letter.sender.address and not cast.account.is_anothers else ()
    people: list[Person] = []
    for number, index in enumerate([None, *partners]):
        belongings = sort_facts(cast, anchors, number, speaks=index is None)
        if index is None:
            names = _writer_names(cast, writer)
            for partner in partners:
                names += _with_surname_of(names, cast.other_names[partner])
            people.append(
                _person(
                    names,
                    belongings,
                    asked,
                    found,
                    is_writer=True,
                    suffix=writer.suffix,
                    emails=emails,
                    part=shares.own,
                )
            )
            continue
        other = cast.others[index]
        group = cast.other_names[index]
        names = _other_names(cast, other, group)
        if not names:  # "my husband and I both …": his name is for the office to ask
            people.append(
                _person(
                    [], belongings, asked, found, is_writer=False, relation=other.relation, part=shares.others[index]
                )
            )
            continue
        names += [n for n in cast.sender.names if any(compatible(n, m) for m in names)]
        names += _with_surname_of(names, cast.writer)
        suffix = group.suffix if group else ""
        people.append(
            _person(
                names, belongings, asked, found, is_writer=True, relation=other.relation, suffix=suffix, emails=emails,
                part=shares.others[index],
            )
        )  # fmt: skip
    return tuple(people)


def _with_surname_of(names: list[str], other: Named | None) -> list[str]:
    """ "Ray, 1/2/50" beside "Lorna Gale, 3/4/52": the surname that is given once is both's."""
    if other is None or not names or any(len(n.split()) > 1 for n in names) or not names[0].isascii():
        return []
    last = next((n.split()[-1] for n in other.forms if len(n.split()) > 1 and len(n.split()[-1]) > 2), "")
    return [f"{names[0]} {last}"] if last else []


def _places(cast: Cast, index: int) -> list[tuple[int, int]]:
    return [(s, e) for s, e, _ in cast.others[index].places]


def _other_names(cast: Cast, other: Other, group: Named | None) -> list[str]:
    """Every form of a third person's name; a single given name in the family may go with the writer's surname."""
    names = list(dict.fromkeys([*(group.forms if group else []), *other.names]))
    names.sort(key=lambda n: -min(2, len(n.split())))
    if names and len(names[0].split()) == 1 and names[0].isascii() and other.is_close:
        writer = _writer_names(cast, cast.writer or Named())
        last = next(
            (n.split()[-1] for n in writer if len(n.split()) > 1 and len(n.split()[-1].rstrip(".")) > 1),
            cast.sender.household,
        )
        if last and last.lower().rstrip(".") not in ("jr", "sr", "ii", "iii", "iv"):
            names.append(f"{names[0]} {last}")
    return names


def _writer_names(cast: Cast, writer: Named) -> list[str]:
    """The writer's names: from the text, then from the From line where the account is the writer's own."""
    names = writer.forms
    household = cast.sender.household
    if cast.account.is_anothers and (names or cast.account.relation):
        return names
    fitting = [n for n in cast.sender.names if not names or compatible(n, names[0])]
    if not names and len(cast.sender.names) > 1:
        fitting = []  # a shared account, and nobody says which of the two writes
    names = names + [n for n in fitting if n not in names]
    if household and names:
        row = names[0].rstrip(".").split()
        if len(row) == 1 or (len(row[-1]) == 1 and household.lower().startswith(row[-1].lower())):
            names.append(f"{row[0]} {household}")
    elif household:
        names.append(household)
    return names


def _writer_and_others(
    letter: Letter, found: KindsFound, asked: tuple[Kind, ...], cast: Cast, shares: Shares
) -> tuple[Person, ...]:
    wanted = _wanted(cast, shares, asked)
    own = _writer_asks(cast, shares, wanted)
    people: list[Person] = []
    if shares.pleads and not wanted and not own:
        wanted = [i for i, o in enumerate(cast.others) if o.names] or [i for i, _ in enumerate(cast.others)][:1]
        own = not wanted
    writer = cast.writer or Named()
    anchors = ([writer.places] if own else []) + [_places(cast, i) for i in wanted]
    bystanders = [_places(cast, i) for i in range(len(cast.others)) if i not in wanted]
    if own:
        belongings = sort_facts(cast, anchors, 0, bystanders, speaks=True)
        kinds = asked
        if wanted and shares.own.kinds:
            kinds = tuple(k for k in asked if k in shares.own.kinds) or asked
        emails = (letter.sender.address,) if letter.sender.address and own_account(letter, cast) else ()
        suffix = writer.suffix or suffix_in_words(cast.facts.text, found.language)
        names = [] if _signed_by_several(cast) else _writer_names(cast, writer)
        person = _person(
            names,
            belongings,
            kinds,
            found,
            is_writer=True,
            suffix=suffix,
            emails=emails,
            part=shares.own if wanted else None,
        )
        people.append(with_other_parts(letter, found, person, cast))
    for number, index in enumerate(wanted):
        other, group, part = cast.others[index], cast.other_names[index], shares.others[index]
        belongings = sort_facts(
            cast, anchors, number + (1 if own else 0), bystanders, after=_signature(cast) if not own else None
        )
        kinds = tuple(k for k in asked if k in part.kinds) or asked
        names = _other_names(cast, other, group)
        suffix = (group.suffix if group else "") or ("" if own else suffix_in_words(cast.facts.text, found.language))
        people.append(
            _person(names, belongings, kinds, found, is_writer=False, relation=other.relation, suffix=suffix, part=part)
        )
    return tuple(people)


def _signature(cast: Cast) -> int | None:
    """Where the writer's own signature begins: what stands below it is the writer's."""
    if cast.writer is None:
        return None
    places = [p.start for p in cast.writer.places if p.how is How.SIGNED]
    return max(places) if places else None


def _wanted(cast: Cast, shares: Shares, asked: tuple[Kind, ...]) -> list[int]:
    """Indices of the others for whom something is asked."""
    row = []
    for i, (other, part) in enumerate(zip(cast.others, shares.others, strict=True)):
        need = _ENOUGH if other.is_close else 3.0
        if shares.own.points <= 0.5 and not shares.pleads:
            need = min(need, _PERHAPS)
        if shares.own_said == 0 and other.is_close and part.kinds and any(len(n.split()) > 1 for n in other.names):
            need = min(need, _PERHAPS)  # a relative with the whole name, and nothing about a ballot of one's own
        if shares.own_said == 0 and shares.own.points <= 0.5 and other.names:
            need = min(need, 1.0)  # nothing at all is said of the writer's own
        if shares.own_said and not other.names:
            need = max(need, 3.0)
        if shares.dictated:
            need = 5.0
        group = cast.other_names[i]
        if part.points >= need or (group is not None and _has_birth_date(cast, group) and not shares.dictated):
            row.append(i)
        elif shares.both.points >= _ENOUGH and other.is_close and other.names and part.points > 0:
            row.append(i)  # "my mother Ida and I both …"
    # "my parents, Ray and Lorna": what is asked for one is asked for both.
    many = {cast.others[i].relation for i in row} & PLURALS
    row += [i for i, o in enumerate(cast.others) if o.relation in many and o.names and i not in row]
    # A person's own particulars and nobody else's: the list names whom it is about, whoever signs.
    if not row and cast.writer is not None and not cast.writer.has(How.BESIDE, How.SAID) and not shares.dictated:
        for i, group in enumerate(cast.other_names):
            if group is not None and group.has(How.BESIDE, How.SAID) and shares.own.points <= 1.0:
                row.append(i)
    return row


def _has_birth_date(cast: Cast, group: Named) -> bool:
    """Whether a birth date stands right behind the name: nobody gives that of a bystander."""
    return any(
        0 <= d.start - p.end <= 12 for p in group.places if p.how in (How.BESIDE, How.SAID) for d in cast.facts.births
    )


def _writer_asks(cast: Cast, shares: Shares, wanted: list[int]) -> bool:
    if not wanted:
        return True
    if shares.pleads or any(cast.others[i].in_subject for i in wanted):
        return shares.own_said > 0 and shares.own.points >= _ENOUGH
    if shares.both.points >= _ENOUGH and len(wanted) == 1 and cast.others[wanted[0]].relation not in PLURALS:
        return True
    most = max(shares.others[i].points for i in wanted)
    return shares.own.points >= _ENOUGH or (shares.own.points >= _PERHAPS and most < 3.0)
