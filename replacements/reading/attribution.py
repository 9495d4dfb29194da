"""Whose ballot each sentence is about: the writer's, both partners', or somebody else's.

Clauses carry marks: "my ballot", "his ballot", "send her another", "neither of ours". Marks in a clause that made a
kind count whole, others half; a clause that says that somebody's ballot is fine counts nothing for that person.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from replacements.reading.facts.relations import is_female
from replacements.reading.facts.vocabulary import Vocabulary, vocabulary
from replacements.reading.types import Cause, Kind

_CLAUSE = re.compile(
    # The look back keeps a long row of blanks from being tried from each of them.
    r"[;—–\n]|\s-\s|,?(?<!\s)\s++(?:and|but|while|so|because|y|pero|và|nhưng|còn|mais|mas)\s+|,\s+(?=(?:my|his|her|i|he|she|mi|su|yo)\b)|(?<=고),?\s|(?<=만),?\s",
    re.I,
)
_SENTENCE = re.compile(r"[.!?。？！]+[\s\"”')]+|\n\s*\n")
_FOR = re.compile(
    r"(?<!\bvote )(?<!\bvoted )(?<!\bvoting )"
    r"\b(?:for|(?:one|another|ballot|it|them) to|on behalf of|para|por|cho|giùm|dùm|pour|de parte de"
    r"|en nombre de|替|幫|帮)\s*(?:both\s+)?(?:(?:me|myself|mí)\s+(?:and|y)\s+)?(?:for\s+)?$",
    re.I,
)
_SEND = re.compile(
    r"\b(?:send|mail|get|issue|give|resend|mailing|sending|getting|reissue|gửi|gởi|gửi lại)\s+(?:cho\s+)?$", re.I
)
_BALLOTISH = re.compile(
    r"\W{0,2}(?:\w+\s+){0,3}?(?:ballot|packet|envelope|vote|mail-in|absentee|papers?|and mine|one)\b", re.I
)
_AND_MINE = re.compile(r"^(?:['’]s)?\s+and\s+mine\b|\bmine\s+and\s+$", re.I)
_ASKS = re.compile(
    r"\b(?:send|mail|need|want|request|writ|ask|get|replac|another|issue|void|cancel|order|new one|one|too|also"
    r"|mand|env[ií]|pid|escrib|necesit|otra|solicit|gửi|gởi|xin|cần|viết)",
    re.I,
)
_HABIT = re.compile(  # "we both vote by mail": so we live, nothing is asked
    r"\b(?:both|all|each)\s+(?:always\s+|still\s+)?(?:vote|live|work|travel|get along|are registered)\b"
    r"|\b(?:los|las) dos (?:votamos|vivimos|trabajamos)",
    re.I,
)
_DENIED = re.compile(r"(?:\bnever|\bnot|n['’]?t|\bnunca|\bno|\bneither|\bchưa|\bkhông|안|못)\s+(?:\w+\s+)?$", re.I)
_ALONG = re.compile(r"\b(?:with|con|junto a|cùng|cung|với|voi)\s+$", re.I)  # "I'll go and vote with my brother"
_WITH_MINE = re.compile(r"\b(?:ballots?|packets?|mine|boleta)\s+(?:and|y)\s+$", re.I)  # "my ballot and my wife's"
_WANTS = re.compile(
    r"\s*(?:please\s+)?(?:get|have|receive)\s+(?:an?\b|another|one)"
    r"|\s*(?:also |too |still |tambi[ée]n |cũng )?(?:needs|wants|would like|could use|necesita|quiere|ocupa|cần)\b",
    re.I,
)
ELLIPTIC = re.compile(r"\s+(?:got|was|is|came|arrived|has been|never)\b")  # "Walt's got wet"
OWN, BOTH = -1, -2
STRONG, WEAK, PLEADS = 3.0, 1.0, 6.0
_MOST_WEAK = 1.5


@dataclass(slots=True)
class Other:
    """Somebody besides the writer whom the text speaks of. `places`: start, end, whether in the possessive."""

    relation: str
    names: list[str] = field(default_factory=list)
    places: list[tuple[int, int, bool]] = field(default_factory=list)
    in_subject: bool = False  # the subject says that the letter is about this person's ballot

    @property
    def is_close(self) -> bool:
        """Family, whose ballot a writer speaks of as his own affair; neighbours and friends only explain."""
        return self.relation not in ("neighbor", "friend", "coworker", "roommate", "client", "ex")


@dataclass(frozen=True, slots=True)
class Sign:
    """Words that made a kind, by their place in the new text."""

    kind: Kind
    start: int
    end: int
    cause: Cause | None


@dataclass(slots=True)
class Share:
    """What falls to one side: points, and the kinds of the clauses that are its."""

    points: float = 0.0
    kinds: list[Kind] = field(default_factory=list)
    cause: Cause | None = None


@dataclass(slots=True)
class Shares:
    own: Share
    both: Share
    others: list[Share]
    own_said: int  # clauses that speak of "my ballot"
    pleads: bool  # says that it is written for somebody else
    dictated: bool


@dataclass(frozen=True, slots=True)
class _Clause:
    start: int
    end: int
    sentence: int


def clauses(text: str) -> list[_Clause]:
    found = []
    begin = 0
    borders = [(m.start(), m.end()) for m in _SENTENCE.finditer(text)] + [(len(text), len(text))]
    for number, (stop, after) in enumerate(borders):
        at = begin
        for m in _CLAUSE.finditer(text, begin, stop):
            if m.start() > at:
                found.append(_Clause(at, m.start(), number))
            at = m.end()
        if stop > at:
            found.append(_Clause(at, stop, number))
        begin = after
    return found


def _refer(written: str, at: int, others: Sequence[Other]) -> int | None:
    """Which of the others a pronoun means: the last one spoken of before it whom it fits."""
    low = written.lower()
    female = (
        True
        if low.startswith(("she", "her", "ella", "bà", "chị", "cô"))
        else False
        if low.startswith(("he", "hi", "él", "ông", "anh"))
        else None
    )
    best: tuple[int, int] | None = None
    for i, other in enumerate(others):
        told = is_female(other.relation)
        if female is not None and told is not None and told is not female:
            continue
        before = [s for s, _, _ in other.places if s < at]
        if before and (best is None or max(before) > best[0]):
            best = (max(before), i)
    return best[1] if best else None


def _asks(text: str, at: int) -> bool:
    """Whether something is asked near this place, so that "for her" says for whom."""
    return _ASKS.search(text[max(0, at - 70) : at + 70]) is not None


def _marks(text: str, clause: _Clause, others: Sequence[Other], words: Vocabulary) -> dict[int, float]:
    part = text[clause.start : clause.end]
    well = words.pattern("no_need").search(part)
    fine = well is not None and not _DENIED.search(part[: well.start()])
    points: dict[int, float] = {}

    def add(side: int | None, weight: float) -> None:
        if side is not None and not (fine and (side >= 0 or others)):  # "mine's already filled out, but hers …"
            points[side] = points.get(side, 0.0) + weight

    last: tuple[int, int | None] = (-1, None)
    # "mẹ tôi" holds the word for "I": what lies inside the mention of somebody else is not the writer's.
    held = [(s - clause.start, e - clause.start) for o in others for s, e, _ in o.places]

    def free(m: re.Match[str]) -> bool:
        return not any(m.start() < e and m.end() > s for s, e in held)

    own_ballot = any(free(m) for m in words.pattern("own_ballot").finditer(part))
    if own_ballot:
        add(OWN, STRONG)
    if words.pattern("both").search(part):
        add(BOTH, STRONG)
    for m in words.pattern("third_ballot").finditer(part):
        add(_refer(m[0], clause.start + m.start(), others), STRONG)
    for m in words.pattern("third").finditer(part):
        at = clause.start + m.start()
        who = _refer(m[0], at, others)
        if (_asks(text, at) and _FOR.search(text[max(0, at - 24) : at])) or _SEND.search(text[max(0, at - 14) : at]):
            add(who, STRONG)
        elif words.pattern("need_too").match(text[clause.start + m.end() : clause.end].lstrip()):
            add(who, 2.0)
        last = max(last, (m.start(), who if who is not None else OWN), key=lambda x: x[0])
    for i, other in enumerate(others):
        for start, end, possessive in other.places:
            if not clause.start <= start < clause.end:
                continue
            before, after = text[max(0, start - 24) : start], text[end : end + 34]
            if (possessive and _BALLOTISH.match(after.removeprefix("'s").removeprefix("’s"))) or (
                not possessive and ((_asks(text, start) and _FOR.search(before)) or _SEND.search(before))
            ):
                add(i, STRONG)
            elif possessive and not own_ballot and ELLIPTIC.match(after.removeprefix("'s").removeprefix("’s")):
                add(i, 2.0)
            elif (
                (
                    words.pattern("need_too").search(text[end : min(clause.end, end + 60)])
                    or _WANTS.match(text[end : end + 24])
                )
                and (not own_ballot or _WANTS.match(text[end : end + 24]))
                and not possessive
            ):
                add(i, 4.0 if _WANTS.match(text[end : end + 24]) else 2.0)
            if _WITH_MINE.search(before):
                add(i, STRONG)
            if re.match(r"[^.!?]{0,60}\?", text[end : end + 62]) and (
                _AND_MINE.search(after) or _AND_MINE.search(before)
            ):
                add(i, STRONG)
            if not possessive and not _ALONG.search(before):
                last = max(last, (start - clause.start, i), key=lambda x: x[0])
    mine = [m for m in words.pattern("own").finditer(part) if free(m)]
    if mine and mine[0].start() < 200:
        subject = max((m.start() for m in mine), default=-1)
        last = max(last, (subject, OWN), key=lambda x: x[0])
    if last[1] is not None:
        add(last[1], WEAK)
    if own_ballot:  # "my son spilled milk on my ballot" is about the writer's
        points = {side: weight for side, weight in points.items() if side < 0 or weight >= STRONG}
    return points


def share(text: str, language: str, signs: Sequence[Sign], others: Sequence[Other]) -> Shares:
    """Weigh every clause of the text. `signs`: the words that made kinds, with their places."""
    words = vocabulary(language)
    result = Shares(
        Share(),
        Share(),
        [Share() for _ in others],
        own_said=0,
        pleads=False,
        dictated=bool(words.pattern("dictated").search(text)),
    )

    def side(number: int) -> Share:
        return result.own if number == OWN else result.both if number == BOTH else result.others[number]

    told_of: dict[int, float] = {}
    previous: int | None = None
    sentence, in_sentence = -1, None
    for clause in clauses(text):
        points = _marks(text, clause, others, words)
        here = [s for s in signs if clause.start <= s.start < clause.end or clause.start < s.end <= clause.end]
        for number, weight in points.items():
            habit = number == BOTH and not here and _HABIT.search(text[clause.start : clause.end]) is not None
            counted = weight if here else weight / 4 if habit else weight / 2
            if number >= 0 and weight <= WEAK:  # however often a story speaks of somebody, that asks for nothing
                counted = min(counted, _MOST_WEAK - told_of.get(number, 0.0))
                told_of[number] = told_of.get(number, 0.0) + counted
            side(number).points += counted
        result.own_said += points.get(OWN, 0.0) >= STRONG
        if clause.sentence != sentence:
            sentence, in_sentence = clause.sentence, None
        winner = (
            max(points, key=lambda n: points[n]) if points else in_sentence if in_sentence is not None else previous
        )
        if points:
            in_sentence = previous = winner
        for sign in here:
            if winner is None:
                continue
            its = side(winner)
            if sign.kind not in its.kinds:
                its.kinds.append(sign.kind)
            its.cause = its.cause or sign.cause
    for number, other in enumerate(others):
        if other.in_subject:
            result.others[number].points += STRONG
    for m in words.pattern("behalf").finditer(text):
        near = [(abs(s - m.end()), i) for i, o in enumerate(others) for s, _, _ in o.places if -160 < s - m.end() < 80]
        if near and not result.dictated:
            result.pleads = True
            result.others[min(near)[1]].points += PLEADS
        elif not near and not result.dictated:
            result.pleads = True
    return result
