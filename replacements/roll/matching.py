"""Who is it about? Clues from a message and the roll in, a standing with candidates and reasons out.

The roll is asked twice at most: for everybody who shares a key with the clues, and for the household of the one found.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from replacements.roll.address_fit import places_on_file
from replacements.roll.keys import clue_keys, household_keys
from replacements.roll.names import Written, read_name
from replacements.roll.standing import PUBLIC, SUFFICIENT, Case, Grade, grade, identity_sets, missing, separated
from replacements.roll.types import Candidate, Clues, Roll, Standing, Voter, Who
from replacements.roll.weighing import Likeness, Scale, folded

MOST_SHOWN = 8  # candidates handed on; more would not help a clerk
_FACTS = {
    "birth_date": "birth date",
    "voter_id": "voter id",
    "ballot_number": "ballot number",
    "address": "address",
    "email_on_file": "e-mail on file",
    "phone_on_file": "telephone on file",
    "suffix": "suffix (Jr, Sr)",
    "age": "age",
    "middle_name": "middle name",
    "name": "name",
}


def identify(clues: Clues, roll: Roll, *, sufficient: Sequence[str], today: date) -> Who:
    """The voter whom `clues` describe, with a standing.

    `sufficient`: the office's `[identity] with_name` (`standing.identity_sets`). Raises ValueError for a fact that is
    not in `SUFFICIENT`.
    `today` is the office's date, for ages.
    """
    sets = identity_sets(sufficient)
    written = [(place, name) for place, text in enumerate(clues.names) for name in read_name(text)]
    scale = Scale(roll)
    found = {voter.voter_id: voter for voter in roll.with_keys(clue_keys(clues))}
    accounts = folded(clues.emails)
    owners = [voter for voter in found.values() if voter.email and voter.email.strip().casefold() in accounts]
    homes = frozenset(place for voter in owners for place in places_on_file(voter) if place is not None)

    def weighed(voters: Iterable[Voter]) -> list[Likeness]:
        return [scale.weigh(clues, written, voter, today, homes) for voter in voters]

    likenesses = sorted(weighed(found.values()), key=_order)
    case = _case(clues, written, sets, likenesses)
    grades = [grade(case, likeness) for likeness in likenesses]
    plausible = [g for g in grades if g.plausible]
    near = [*(g.likeness.voter for g in plausible[:2]), *owners[:2]]
    if near:
        keys = frozenset().union(*(household_keys(voter) for voter in near))
        household = [v for v in roll.with_keys(keys) if v.voter_id not in found]
        if household:
            likenesses = sorted([*likenesses, *weighed(household)], key=_order)
            case = _case(clues, written, sets, likenesses)
            grades = [grade(case, likeness) for likeness in likenesses]
            plausible = [g for g in grades if g.plausible]
    return _answer(case, scale, grades, plausible)


def by_weight(clues: Clues, roll: Roll, *, today: date) -> list[Candidate]:
    """Everybody who shares a key with the clues, heaviest first by the sum of the weights alone: linkage without
    the rules of standing, which ask for more than likeness before a ballot is voided."""
    written = [(place, name) for place, text in enumerate(clues.names) for name in read_name(text)]
    scale = Scale(roll)
    found = (scale.weigh(clues, written, voter, today) for voter in roll.with_keys(clue_keys(clues)))
    return [likeness.candidate(scale.prior) for likeness in sorted(found, key=_order)]


def _order(likeness: Likeness) -> tuple[float, str]:
    return (-round(likeness.weight, 6), likeness.voter.voter_id)


def _case(
    clues: Clues,
    written: Sequence[tuple[int, Written]],
    sufficient: frozenset[frozenset[str]],
    likenesses: Sequence[Likeness],
) -> Case:
    emails = Counter(x.voter.email.strip().casefold() for x in likenesses if x.email == "on file")
    shared = frozenset(email for email, voters in emails.items() if voters > 1)
    owned = frozenset(x.voter.voter_id for x in likenesses if x.voter_id == "same")
    return Case(clues, written, sufficient, shared, owned)


def _answer(case: Case, scale: Scale, grades: Sequence[Grade], plausible: Sequence[Grade]) -> Who:
    chances = _chances(scale, grades)
    if not plausible:
        return _nobody(case, grades, chances)
    best = _best(case, plausible)
    p = chances.of(best)
    rivals = [g for g in plausible if g is not best and not separated(case, best, g)]
    others = [] if best.agreed else [g for g in plausible if g is not best and g.agreed]
    if others:
        rivals += [g for g in others if g not in rivals]
        because = f"The name fits one voter, but {_agreeing(others[0], named=False)} another."
        return _who(Standing.UNCLEAR, case, best, rivals, chances, because)
    if rivals:
        together = p + sum(chances.of(g) for g in rivals)
        gap = best.likeness.weight - max(g.likeness.weight for g in rivals)
        if not any(g.agreed for g in (best, *rivals)) and together < scale.decision["likely_p"]:
            return _nobody(case, grades, chances)
        if gap < scale.decision["equal_bits"]:
            return _who(
                Standing.UNCLEAR,
                case,
                best,
                rivals,
                chances,
                f"{len(rivals) + 1} voters fit equally well: {_agreeing(best)}.",
            )
        return _who(
            Standing.LIKELY,
            case,
            best,
            rivals,
            chances,
            f"One voter fits best ({_agreeing(best)}), but another fits, too.",
        )
    if best.certain(case.sufficient) and p >= scale.decision["certain_p"]:
        return _who(
            Standing.CERTAIN,
            case,
            best,
            (),
            chances,
            f"{_agreeing(best).capitalize()} agree, and no other voter fits as well."
            + (" Both are on public lists." if best.agreed == PUBLIC else ""),
        )
    if p < scale.decision["likely_p"] and not best.agreed:
        return _nobody(case, grades, chances)
    return _who(Standing.LIKELY, case, best, _others(plausible, best), chances, _why_not_certain(case, best))


def _best(case: Case, plausible: Sequence[Grade]) -> Grade:
    """The heaviest, unless something said tells a lighter one apart from it (a contradiction outweighs a sum).

    A voter whose name fits comes before one whose name does not: a number on file may be the spouse's."""
    fitting = [g for g in plausible if g.fits] or plausible
    best = fitting[0]
    for other in fitting[1:]:
        if (
            separated(case, other, best)
            and not separated(case, best, other)
            and other.certain(case.sufficient) >= best.certain(case.sufficient)
        ):
            best = other
    return best


@dataclass(frozen=True, slots=True)
class _Chances:
    """Of each candidate, by voter id, against the others who may be meant and a writer who is not on the roll."""

    prior: float  # bits
    by_voter: dict[str, float]

    def of(self, graded: Grade) -> float:
        return self.by_voter[graded.likeness.voter.voter_id]

    def candidate(self, graded: Grade) -> Candidate:
        return graded.likeness.candidate(self.prior, self.of(graded))


def _chances(scale: Scale, grades: Sequence[Grade]) -> _Chances:
    """Who is not plausible (a spouse whose account was used, with another given name) does not compete."""
    nobody = scale.decision["not_on_the_roll"]
    each = (1 - nobody) / scale.size
    odds = {g.likeness.voter.voter_id: each * 2.0 ** min(g.likeness.weight, 200.0) for g in grades}
    competing = {g.likeness.voter.voter_id for g in grades if g.plausible}
    total = sum(value for voter_id, value in odds.items() if voter_id in competing) + nobody
    return _Chances(
        scale.prior,
        {
            voter_id: min(1.0, value / (total if voter_id in competing else total + value))
            for voter_id, value in odds.items()
        },
    )


def _who(standing: Standing, case: Case, best: Grade, others: Sequence[Grade], chances: _Chances, because: str) -> Who:
    shown = tuple(chances.candidate(g) for g in (best, *others))[:MOST_SHOWN]
    asked = () if standing is Standing.CERTAIN else missing(case, best, others if standing is Standing.UNCLEAR else ())
    return Who(standing, shown, round(chances.of(best), 6), asked, because)


def _others(plausible: Sequence[Grade], best: Grade) -> list[Grade]:
    return [g for g in plausible if g is not best]


def _nobody(case: Case, grades: Sequence[Grade], chances: _Chances) -> Who:
    near = [g for g in grades if g.fits or (g.agreed and _half_named(g))][:MOST_SHOWN]
    p = chances.of(near[0]) if near else 0.0
    if not case.clues.names:
        because = "No name is given, and nothing else leads to one voter."
    elif not case.written:
        because = "The name is in a script that cannot be compared with the roll, and nothing else leads to one voter."
    elif any(g.contradictions for g in near):
        because = (
            f"A voter of this name is on the roll, but {_list(near[0].contradictions)} differs and nothing else agrees."
        )
    else:
        because = "Nobody on the roll fits the name together with what else was said."
        if near:
            because += f" The nearest has half of the name, and {_agreeing(near[0], named=False)} agrees."
    return Who(Standing.NONE, tuple(chances.candidate(g) for g in near), round(p, 6), missing(case, None, ()), because)


def _half_named(graded: Grade) -> bool:
    """Nobody said otherwise, or one of the names is theirs: a slip may have made another name of the other one."""
    name = graded.likeness.name
    return name is None or "same" in (name.first, name.last)


def _list(facts: Sequence[str]) -> str:
    words = [_FACTS[fact] for fact in dict.fromkeys(facts)]
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1] if words else "nothing"


def _agreeing(best: Grade, *, named: bool = True) -> str:
    name = best.likeness.name if named else None
    parts = [_FACTS[item] for item in SUFFICIENT if item in best.agreed]
    if name is not None and name.word not in ("differs", "not given"):
        parts.insert(0, "name" if name.word == "same" else f"name ({name.word})")
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1] if parts else "what was said"


def _why_not_certain(case: Case, best: Grade) -> str:
    if best.contradictions:
        return f"{_agreeing(best).capitalize()} agree, but {_list(best.contradictions)} differs."
    name = best.likeness.name
    if name is None:
        return f"No name is given that can be compared; this voter was found by {_agreeing(best)}."
    if name.last in ("missing", "initial") or name.first == "missing":
        return f"The name is not given in full; this voter was found by {_agreeing(best)}."
    if not best.fits:
        return f"The name on file is another one; this voter was found by {_agreeing(best)}."
    if best.doubts:
        return f"{_agreeing(best).capitalize()} agree, but {_list(best.doubts)} leaves a doubt."
    if not best.enough(case.sufficient):
        return "One voter of this name is on the roll, but nothing else that the office asks for agrees."
    return f"{_agreeing(best).capitalize()} agree, but the name is too common to be sure."
