"""What a mail asks: its kinds with their probability and the writer's own words for each."""

from __future__ import annotations

import bisect
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from replacements.mail.letter import Letter, PartLabel, TextPart
from replacements.reading.clauses import clauses, speaks_of_several
from replacements.reading.cue_files import cue_file, languages
from replacements.reading.evidence import SHORT, Weighed, Weight
from replacements.reading.flags import flags_of, statement_among
from replacements.reading.folding import Folded, fold
from replacements.reading.language import language_of
from replacements.reading.learned import KINDS, places, said_of_causes, said_of_kinds, said_of_topics
from replacements.reading.ngrams import Place
from replacements.reading.scanning import Scan, scan
from replacements.reading.sentences import Sentence, sentences
from replacements.reading.signs import Signs, is_technical, signs_of
from replacements.reading.types import Cause, Flag, Kind, KindFound, Topic
from replacements.reading.weighing import Weigher

_REPLY = re.compile(
    r"^\s*(?:(?:re|aw|sv|res|rv|fw|fwd|tl|답장|회신|trả lời)\s*(?:\[\d+\])?\s*[:：]\s*)+", re.IGNORECASE
)
# Common practice: the programs of mailing lists put the list's name before the subject. Gateways warn the same way.
_LISTED = re.compile(
    r"^\s*(?:(?:re|fwd?)\s*:\s*)*\[(?!\s*(?:ext(?:ern(?:al)?)?|spam|caution|secure|encrypt)\b)", re.IGNORECASE
)
_CAUSES_OF = {
    Kind.SPOILED_BALLOT: (Cause.SPOILED, Cause.DAMAGED),
    Kind.NOT_RECEIVED: (Cause.NOT_RECEIVED, Cause.LOST, Cause.STOLEN, Cause.UNDELIVERABLE),
}
_CAUSE_TOLD = 0.2  # below this chance that any cause was told, none is named
_LONGEST_WORDS = 90  # characters of the writer's words shown for one stretch
_SHOWN = 3
_A_GUESS = 0.1  # what is less likely than this is not even guessed: the mail is other
_A_FAR_GUESS = 0.4  # the same of a letter without a word about voting
_PLAINER = 0.7  # how likely a wish for a ballot must be in a letter that may well be of something else
_NOT_BELIEVED = 0.45  # how likely it is at most where it is less
_OF_OTHER_THINGS = 0.2  # and in a letter that is of other things
_HARDLY_A_LANGUAGE = 0.5  # how sure the language of a letter is that holds hardly a word
_FEW_PLAIN_WORDS = 8
_HINTED = 0.2
_SAID_PLAINLY = 0.8
_VOTING = ("ballot", "context", "mismark")
_LONGEST_QUOTED = 4_000  # characters
_ANSWERS = 0.75  # a short answer to an earlier mail that gives a fact
_FEW_WORDS = 25
_TAKEN_BACK = ("found", "never_mind", "cancel_request", "no_need", "in_person_instead", "fine")
_NOT_TAKEN_BACK = 0.3
# What an office asks for, where it can be mislaid and found: the voter's number, and the card or paper that tells it.
_DETAIL = re.compile(
    r"\b(?:numbers?|no\.|cards?|licen[cs]e|id|stub|números?|tarjeta|credencial|licencia|cédula|mã số|số cử tri|thẻ)\b"
    r"|번호|카드|신분증|면허",
    re.I,
)
_TAKEN_BACK_HEARD = -2.0  # log-odds


@dataclass(frozen=True, slots=True)
class Evidence:
    """A stretch of the new text that speaks for a kind. `weight` in log-odds; in the subject only: start=end=-1."""

    kind: Kind
    words: str
    start: int
    end: int
    weight: float
    sentence: int
    cause: Cause | None


@dataclass(frozen=True, slots=True)
class KindsFound:
    """What the words of a mail say about what is asked. `kinds`: those with p of a half or more, likeliest first."""

    kinds: tuple[KindFound, ...]
    evidence: tuple[Evidence, ...]
    topics: tuple[Topic, ...]
    flags: frozenset[Flag]
    flag_words: tuple[tuple[Flag, str], ...]
    cause: Cause | None
    language: str
    sentences: tuple[Sentence, ...]


def find_kinds(letter: Letter) -> KindsFound:
    """Read what a letter asks. Pure: the same letter gives the same answer."""
    if letter.machine is not None:
        text = letter.new_text
        found = KindFound(Kind.AUTOMATIC, 0.99, (letter.machine.because[:_LONGEST_WORDS],))
        return KindsFound((found,), (), (), frozenset(), (), None, _language(letter), sentences(text))
    return _found(_weigh(letter))


def heard(letter: Letter) -> tuple[Signs, dict[Kind, float]]:
    """The signs of a letter and the log-odds of every kind by its cues: what the weights are learned over."""
    cues = _weigh(letter)
    return _signs(cues)[0], cues.weighed.odds


def spoken_text(letter: Letter) -> str:
    """What the learned weights are over: the subject that the writer wrote, a line, and the new text."""
    subject = _REPLY.sub("", letter.subject).strip()
    replied = subject != letter.subject.strip()
    return f"{'' if replied and letter.new_text.strip() else subject}\n{letter.new_text}"


@dataclass(frozen=True, slots=True)
class _Cues:
    """A letter weighed by its cues. `bare`: it has no text, and its subject speaks for it; `heading`: the subject where
    its writer wrote it; `quoted`: what it answers, in the languages that may be its own; `answering`: the office had
    asked for details."""

    letter: Letter
    body: Scan
    heading: Scan | None
    quoted: tuple[Scan, ...]
    answering: bool
    weighed: Weighed
    language: str
    bare: bool


def _language(letter: Letter) -> str:
    text = letter.new_text
    subject = _REPLY.sub("", letter.subject).strip()
    code, sure = language_of(text if len(text.split()) >= 3 else f"{text} {subject}".strip())
    if sure <= _HARDLY_A_LANGUAGE or code not in languages():
        # A name, a street and a date are in no language: then the letter is in that of what it answers.
        quoted = letter.text(PartLabel.QUOTED)[:_LONGEST_QUOTED]
        answered, surely = language_of(quoted) if quoted.strip() else ("", 0.0)
        unlikely = code not in languages() and sum(word.islower() for word in text.split()) < _FEW_PLAIN_WORDS
        if (surely > sure or (unlikely and surely > _HARDLY_A_LANGUAGE)) and answered in languages():
            return answered
    return code


def _weigh(letter: Letter) -> _Cues:
    text = letter.new_text
    subject = _REPLY.sub("", letter.subject).strip()
    replied = subject != letter.subject.strip()
    language = _language(letter)
    names = " ".join(a.name for a in letter.attachments if a.is_picture) if not text.strip() else ""
    bare = not any(c.isalnum() for c in text)
    spoken = " . ".join(p for p in (subject, re.sub(r"[_.\-]|\d", " ", names)) if p) if bare else text
    body = _scan(spoken, language)
    heading = None if bare or (replied and len(text.split()) > 2) or not subject else _scan(subject, language)
    statement = statement_among(letter.attachments)
    quoted = _quoted(letter, language)
    answering = not bare and any(scan.has("asks_details") for scan in quoted)
    weighed = Weigher(body, heading, language=language, answering=answering, statement=bool(statement)).weigh()
    return _Cues(letter, body, heading, quoted, answering, weighed, language, bare)


def _scan(text: str, language: str) -> Scan:
    """The cues of the language of the text; English ones where it has no cue file or its own say nothing."""
    scanned = scan(text, language if cue_file(language).cues else "en")
    if language != "en" and not (scanned.hits.keys() - {"neg", "clause", "hypo_if", "ask", "thanks", "other_person"}):
        english = scan(text, "en")
        return english if english.hits else scanned
    return scanned


def _quoted(letter: Letter, language: str) -> tuple[Scan, ...]:
    """The cues of what the letter answers: in its own language, in the letter's, and in English."""
    quoted = letter.text(PartLabel.QUOTED)[:_LONGEST_QUOTED]
    if not quoted.strip():
        return ()
    codes = dict.fromkeys((language_of(quoted)[0], language, "en"))
    return tuple(scan(quoted, code) for code in codes if cue_file(code).cues)


def _found(cues: _Cues) -> KindsFound:
    weighed, body, letter = cues.weighed, cues.body, cues.letter
    text = letter.new_text
    signs, folded, before = _signs(cues)
    learned = said_of_kinds(signs, weighed.odds)

    def stretches(kind: Kind) -> list[tuple[int, int]]:
        return _stretches(places(signs, kind), folded, before) if kind in KINDS else []

    chances = {kind: _chance(odds) for kind, odds in learned.items()}
    if cues.answering and _found_a_detail(cues):
        chances[Kind.WITHDRAWAL] = min(chances[Kind.WITHDRAWAL], _NOT_TAKEN_BACK)
    apart = _told_apart(cues, chances) if speaks_of_several(signs) else {}
    kinds = _kinds(chances, cues, lambda kind: [text[a:b] for a, b in stretches(kind)])
    if {k.kind for k in kinds} == {Kind.OTHER} and _only_facts(cues, learned):
        kinds = (KindFound(Kind.DETAILS, _ANSWERS, _opening(body)),)
    names = frozenset(k.kind for k in kinds)
    flag_words = tuple(flags_of(body, weighed, names, letter.attachments, chances[Kind.NOT_RECEIVED]))
    evidence = []
    for e in sorted(weighed.evidence, key=lambda e: (e.scan is not body, e.hit.start, e.hit.end)):
        here = e.scan is body and not cues.bare
        start, end = e.scan.span(e.hit) if here else (-1, -1)
        words = _clip(e.scan.words(e.hit))
        evidence.append(Evidence(e.kind, words, start, end, e.weight, e.hit.sentence if here else -1, e.cause))
    evidence.extend(_stretch_of(kind, body, start, end) for kind, (start, end) in apart.items())
    told = {e.kind for e in evidence if e.start >= 0}
    for kind in names - told:
        evidence.extend(_stretch_of(kind, body, start, end) for start, end in stretches(kind)[:1])
    topics: tuple[Topic, ...] = ()
    if names & {Kind.QUESTION, Kind.ASSISTANCE}:
        topics = tuple(topic for topic, odds in said_of_topics(signs, weighed.odds).items() if odds > 0)
    wanted = next((k.kind for k in kinds if k.kind in _CAUSES_OF), None)
    cause = _cause(wanted, said_of_causes(signs, weighed.odds)) if wanted else None
    return KindsFound(
        kinds, tuple(evidence), topics, frozenset(f for f, _ in flag_words), flag_words,
        cause, cues.language, sentences(text),
    )  # fmt: skip


def _stretch_of(kind: Kind, body: Scan, start: int, end: int) -> Evidence:
    """A stretch of the new text as evidence where no cue stands."""
    sentence = next((i for i, s in enumerate(body.sentences) if s.start <= start < s.end), -1)
    return Evidence(kind, _clip(body.text[start:end]), start, end, 1.0, sentence, None)


def _only_facts(cues: _Cues, learned: dict[Kind, float]) -> bool:
    """A short answer within a conversation that gives a number or a date, asks nothing and takes nothing back."""
    letter = cues.letter
    replies = bool(letter.in_reply_to) or bool(letter.text(PartLabel.QUOTED).strip())
    text = letter.new_text
    short = len(text.split()) <= _FEW_WORDS and any(c.isdigit() for c in text)
    takes_back = cues.body.has(*_TAKEN_BACK) or learned[Kind.WITHDRAWAL] > _TAKEN_BACK_HEARD
    return replies and short and not any(cues.body.asked) and not takes_back


def _found_a_detail(cues: _Cues) -> bool:
    """Whether what turned up is what the office asked for ("my voter number was in the drawer"), and no ballot."""
    body = cues.body
    hits = body.real(*_TAKEN_BACK)
    if not hits or any(hit not in body.real("found") for hit in hits):
        return False
    for hit in hits:
        said = body.sentences[max(0, hit.sentence - 1) : hit.sentence + 1]
        told = body.text[said[0].start : said[-1].end]
        of_a_ballot = any(ballot.sentence == hit.sentence for ballot in body.all("ballot", "packet", "envelope"))
        if of_a_ballot or not _DETAIL.search(told):
            return False
    return True


def _signs(cues: _Cues) -> tuple[Signs, Folded, int]:
    """The signs of a letter, the plain form that their places are in, and how long the subject before the text is."""
    spoken = spoken_text(cues.letter)
    folded = fold(spoken)
    before = len(spoken) - len(cues.letter.new_text)  # the subject and its line
    offset = before if folded.origin is None else bisect.bisect_left(folded.origin, before)
    if cues.bare:  # its cues stand in no text
        offset = -len(cues.body.text) - 1
    return signs_of(folded, cues.language, cues.body, cues.heading, offset, _surroundings(cues)), folded, before


def _surroundings(cues: _Cues) -> list[str]:
    """What is told by what stands around the text."""
    letter = cues.letter
    told = {
        "answers": cues.answering,
        "quotes": bool(letter.text(PartLabel.QUOTED).strip()),
        "picture": any(a.is_picture for a in letter.attachments),
        "attachment": any(not a.is_picture for a in letter.attachments),
        "bare": cues.bare,
    }
    return [name for name, so in told.items() if so]


def _stretches(places: list[Place], folded: Folded, before: int) -> list[tuple[int, int]]:
    """Places of the plain form as stretches of the new text; those of the subject are left out."""
    row = [folded.span(start, end) for start, end in places if start >= 0]
    return [(start - before, end - before) for start, end in row if start >= before]


def _chance(odds: float) -> float:
    return 1 / (1 + math.exp(-max(-30.0, min(30.0, odds))))


def _told_apart(cues: _Cues, chances: dict[Kind, float]) -> dict[Kind, tuple[int, int]]:
    """Wishes for a ballot that the letter as a whole only hints at and one clause of it says plainly, with the clause;
    their `chances` rise."""
    hinted = [kind for kind in _CAUSES_OF if _HINTED <= chances[kind] < _SAID_PLAINLY]
    if not hinted:
        return {}
    found: dict[Kind, tuple[float, int, int]] = {}
    for start, end in clauses(cues.letter.new_text):
        clause = replace(cues.letter, subject="", parts=(TextPart(PartLabel.NEW, cues.letter.new_text[start:end]),))
        odds = said_of_kinds(*heard(clause))
        for kind in hinted:
            if _chance(odds[kind]) >= max(_SAID_PLAINLY, found.get(kind, (0.0,))[0]):
                found[kind] = (_chance(odds[kind]), start, end)
    for kind, (chance, _, _) in found.items():
        chances[kind] = (chances[kind] + chance) / 2
    return {kind: (start, end) for kind, (_, start, end) in found.items()}


def _kinds(chances: dict[Kind, float], cues: _Cues, words: Callable[[Kind], list[str]]) -> tuple[KindFound, ...]:
    """The kinds that are likelier than not, likeliest first; where none is, the likeliest alone."""
    about = _is_about_voting(cues)
    needed, most = _needed(cues, about)
    for kind in _CAUSES_OF:
        if chances[kind] < needed:
            chances[kind] = min(chances[kind], most)
    named = [kind for kind in KINDS if chances[kind] >= 0.5]
    if Kind.OTHER in named and len(named) > 1:  # what is other is none of the rest; a wish for a ballot goes first
        likelier = max(named, key=lambda kind: (kind in _CAUSES_OF, chances[kind]))
        named = [likelier] if likelier is Kind.OTHER else [kind for kind in named if kind is not Kind.OTHER]
    if not named:
        likeliest = max(KINDS, key=lambda kind: chances[kind])
        named = [likeliest if chances[likeliest] >= (_A_GUESS if needed == 0 else _A_FAR_GUESS) else Kind.OTHER]
    found = []
    for kind in named:
        because = _because(cues.weighed, kind) or tuple(dict.fromkeys(map(_clip, words(kind)))) or _opening(cues.body)
        found.append(KindFound(kind, round(min(chances[kind], 0.995), 4), because))
    return tuple(sorted(found, key=lambda k: -k.p))


def _is_about_voting(cues: _Cues) -> bool:
    """Whether a word of the letter, its subject or what it answers is about voting."""
    return any(scan.has(*_VOTING) for scan in (cues.body, cues.heading, *cues.quoted) if scan is not None)


def _needed(cues: _Cues, about: bool) -> tuple[float, float]:
    """How likely a wish for a ballot must be to be believed, and how likely it is at most where it is less.

    People break and lose other things, too: a letter without a word about voting must be plainer, unless it is a few
    words to this mailbox; it is not believed where it is part of a conversation or a list about something else, or has
    links and code in it.
    """
    technical = is_technical(cues.letter.new_text)
    if about:
        return (_PLAINER, _NOT_BELIEVED) if technical else (0.0, 1.0)
    if technical or cues.letter.text(PartLabel.QUOTED).strip() or _LISTED.match(cues.letter.subject):
        return 1.0, _OF_OTHER_THINGS
    return (0.0, 1.0) if len(cues.body.text.split()) <= SHORT else (_PLAINER, _NOT_BELIEVED)


def _because(weighed: Weighed, kind: Kind) -> tuple[str, ...]:
    """The weightiest words for a kind, one stretch per concept, in the order of the text."""
    best: dict[str, Weight] = {}
    for e in sorted((e for e in weighed.evidence if e.kind is kind), key=lambda e: -e.weight):
        best.setdefault(e.hit.concept, e)
    chosen = sorted(list(best.values())[:_SHOWN], key=lambda e: e.hit.start)
    return tuple(dict.fromkeys(_clip(e.scan.words(e.hit)) for e in chosen))


def _opening(body: Scan) -> tuple[str, ...]:
    """How the mail begins, where no single words decided: a bare answer to a question is one as a whole."""
    return tuple(_clip(" ".join(s.text.split())) for s in body.sentences[:1])


def _clip(words: str) -> str:
    return words if len(words) <= _LONGEST_WORDS else words[: _LONGEST_WORDS - 1].rsplit(" ", 1)[0] + "…"


def _cause(wanted: Kind, said: dict[Cause, float]) -> Cause | None:
    """Why a ballot is wanted: the likeliest cause of this request; None where what happened is not told."""
    able = _CAUSES_OF[wanted]
    told = sum(_chance(said[cause]) for cause in able)
    return max(able, key=lambda cause: said[cause]) if told >= _CAUSE_TOLD else None
