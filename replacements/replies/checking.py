"""Checking a text before it is kept: all mistakes at once, in the words of whoever wrote it.

The text is filled in every case that it can tell apart. Wherever the project's own text tells a needed fact or a
caution, the edited one must tell it, too; and nothing may be left that a voter cannot read.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from itertools import combinations

from replacements.replies import readability
from replacements.replies.catalogue import BODY, called, known, needed, written
from replacements.replies.combinations import MOST, Filled, cases, filled, how_many, in_words, mark, narrowed
from replacements.replies.samples import Sample, samples
from replacements.replies.sources import FRAME, Source, Texts, has_body, has_subject, own, phrases
from replacements.replies.syntax import Read, names_of, read
from replacements.rules.office import Rules

LONGEST_SUBJECT = 100  # characters
LONGEST_SOURCE = 6000
LONGEST_REPLY = 4000
ENOUGH_WORDS = 40  # for a formula to say anything about a text by itself
_LEFT_OVER = (
    re.compile(r"\[[^\]\n]{1,60}\]"),
    re.compile(r"\{[^{}%#\n]{0,40}\}"),
    re.compile(r"_{3,}"),
    re.compile(r"\b(?:TODO|TBD|FIXME|XX+|NN+)\b"),
    re.compile(r"%\(?[a-z_]*\)?s\b"),
    re.compile(r"[{}]"),
)
_HTML = re.compile(r"</?[A-Za-z!][^>\n]*>?|&(?:#\d+|[a-z]{2,8});")
_BY_HAND = (
    ("a web address", "{{ website }}", re.compile(r"https?://\S+|\bwww\.\S+")),
    ("a mail address", "{{ office_mail }}", re.compile(r"\S+@\S+\.\w+")),
    ("a phone number", "{{ phone }}", re.compile(r"\(?\b\d{3}\)?[ .-]\d{3}[ .-]\d{4}\b")),
    ("a year", "a day from the list", re.compile(r"\b20\d\d\b")),
)


@dataclass(frozen=True, slots=True)
class Checked:
    """What was found. With any of `mistakes` a text is refused; `notes` are worth a thought. `plain`: how plain the
    hardest reply with it reads, as a sentence."""

    mistakes: tuple[str, ...]
    notes: tuple[str, ...] = ()
    plain: str = ""


@dataclass(slots=True)
class _Found:
    mistakes: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def check(language: str, name: str, source: Source, *, texts: Texts, rules: Rules) -> Checked:
    """Check one text as it would stand among `texts`, for an office with these rules. Changes nothing.

    Raises LookupError where the project has no such text.
    """
    original = own(language, name)
    if original is None:
        raise LookupError(f"there is no text {name!r} in {language!r}")
    found = _Found()
    _subject(name, source.subject, found)
    if not has_body(name):
        if source.body.strip():
            found.mistakes.append("This text is a subject alone: leave the rest empty.")
        return Checked(tuple(found.mistakes))
    if not source.body.strip():
        found.mistakes.append("The text is empty.")
        return Checked(tuple(found.mistakes))
    taken = read(source.body, known(name))
    found.mistakes += taken.mistakes
    _words(source.body, taken, found)
    changed = texts.but(language, name, source)
    plain = ""
    if not taken.mistakes:
        _in_every_case(name, source, original, taken, found)
        _no_ring(language, changed, found)
    if not found.mistakes:
        plain = _as_it_reads(language, name, changed, rules, found)
    return Checked(tuple(dict.fromkeys(found.mistakes)), tuple(dict.fromkeys(found.notes)), plain)


def _subject(name: str, subject: str, found: _Found) -> None:
    if not has_subject(name):
        if subject.strip():
            found.mistakes.append("This text has no subject.")
        return
    if not subject.strip():
        found.mistakes.append("The subject is empty.")
    if any(unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp", "Co") for c in subject):
        found.mistakes.append("The subject must be one line without hidden characters.")
    if "{" in subject or "}" in subject:
        found.mistakes.append("A subject takes no facts: it can be read on a locked screen.")
    if len(subject) > LONGEST_SUBJECT:
        found.mistakes.append(f"The subject has {len(subject)} characters; {LONGEST_SUBJECT} is the most.")
    _left_over(subject, "the subject", found)


def _words(body: str, taken: Read, found: _Found) -> None:
    """What stands outside the tags: nothing left over, no HTML, nothing that cannot be seen."""
    if len(body) > LONGEST_SOURCE:
        found.mistakes.append(f"The text has {len(body)} characters; {LONGEST_SOURCE} is the most.")
    hidden = {c for c in body if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Co", "Zl", "Zp")}
    if hidden:
        codes = ", ".join(sorted(f"U+{ord(c):04X}" for c in hidden))
        found.mistakes.append(f"The text holds characters that cannot be seen ({codes}). Type that place again.")
    if taken.mistakes:
        return
    _left_over(taken.words, "the text", found)
    for what, instead, pattern in _BY_HAND:
        typed = pattern.search(taken.words)
        if typed:
            found.notes.append(
                f"“{typed[0]}” is {what} that is typed by hand: it stays when the office's rules change. "
                f"Better: {instead}."
            )


def _left_over(text: str, where: str, found: _Found) -> None:
    html = _HTML.search(text)
    if html:
        found.mistakes.append(f"“{html[0]}” in {where} looks like HTML. Replies are plain text.")
        text = _HTML.sub("", text)
    for pattern in _LEFT_OVER:
        left = pattern.search(text)
        if left:
            found.mistakes.append(
                f"“{left[0]}” in {where} looks like something to be filled in. Write the fact's name in double braces, "
                "such as {{ phone }}."
            )
            break


def _in_every_case(name: str, source: Source, original: Source, taken: Read, found: _Found) -> None:
    names = taken.names | names_of(original.body)
    if how_many(names) > MOST:
        found.mistakes.append(
            f"The text depends on too many things at once ({how_many(names)} cases; {MOST} is the most). "
            "Make it simpler."
        )
        return
    before = filled(original.body, names)
    try:
        after = filled(source.body, names)
    except Exception as error:
        case = "".join(getattr(error, "__notes__", [""])[-1:])
        found.mistakes.append(f"The text cannot be filled{f' when {case}' if case else ''}: {_plainly(error)}")
        return
    every = [one.case for one in after]
    for day in sorted({day for one in after for day in one.bare_days}):
        found.mistakes.append(f"“{{{{ {day} }}}}” needs a form: write {written(day)}, or “|short” or “|hour”.")
    silent = [new.case for old, new in zip(before, after, strict=True) if old.text and not new.text]
    if silent:
        found.mistakes.append(f"The text says nothing{_when(silent, every)}.")
    for need in needed(name).needs:
        pairs = zip(before, after, strict=True)
        lost = [new.case for old, new in pairs if need in old.shown and need not in new.shown | new.bare_days]
        if lost:
            found.mistakes.append(f"{written(need)} is missing{_when(lost, every)}. It tells {called(need)}.")
    for switch in needed(name).differs:
        if not _tells_apart(switch, before, after):
            found.mistakes.append(
                f"The text must say something else for “{switch}”: {_choices(switch)}. The project's own text does."
            )
    if name == FRAME and any(one.text.count(mark(BODY)) != 1 for one in after):
        found.mistakes.append("{{ body }} must stand exactly once: it is the reply that the frame goes around.")


def _plainly(error: Exception) -> str:
    told = str(error)
    return told if type(error).__name__ == "Misused" else f"{type(error).__name__}: {told}" if told else "it breaks."


def _when(failing: list[dict[str, object]], every: list[dict[str, object]]) -> str:
    said = narrowed(failing, every)
    if said:
        return f" when {said}"
    return "" if len(failing) == len(every) else f", for example when {in_words(failing[0])}"


def _choices(switch: str) -> str:
    said = dict.fromkeys(in_words(case) for case in cases([switch]))
    return "; ".join(text for text in said if text) or called(switch)


def _tells_apart(switch: str, before: list[Filled], after: list[Filled]) -> bool:
    """Whether the new text tells apart, somewhere, whatever the old one tells apart somewhere."""
    return _apart(switch, before) <= _apart(switch, after)


def _apart(switch: str, fillings: list[Filled]) -> set[tuple[str, str]]:
    others: dict[str, list[tuple[str, str]]] = {}
    for one in fillings:
        rest = repr(sorted((name, repr(value)) for name, value in one.case.items() if name != switch))
        others.setdefault(rest, []).append((repr(one.case.get(switch)), one.text))
    return {(a[0], b[0]) for group in others.values() for a, b in combinations(sorted(group), 2) if a[1] != b[1]}


def _no_ring(language: str, texts: Texts, found: _Found) -> None:
    uses = {}
    for phrase in phrases():
        source = texts.of(language, f"phrases/{phrase}")
        uses[phrase] = names_of(source.body) & set(phrases()) if source else frozenset()
    for phrase in phrases():
        reached, todo = set(), list(uses[phrase])
        while todo:
            one = todo.pop()
            if one not in reached:
                reached.add(one)
                todo += uses[one]
        if phrase in reached:
            found.mistakes.append(f"{{{{ {phrase} }}}} would stand within itself. Take it out of one of the phrases.")
            return


def _as_it_reads(language: str, name: str, texts: Texts, rules: Rules, found: _Found) -> str:
    """The replies that this text is part of, with real words: they must be filled, short and plain."""
    try:
        replies = samples(language, name, texts, rules)
    except Exception as error:
        found.mistakes.append(f"A reply with this text cannot be written: {_plainly(error)}")
        return ""
    longest = max(replies, key=lambda sample: len(sample.text))
    if len(longest.text) > LONGEST_REPLY:
        found.mistakes.append(
            f"The reply has up to {len(longest.text)} characters; {LONGEST_REPLY} is the most. Make it shorter."
        )
    sentence = max((readability.longest_sentence(sample.body) for sample in replies), key=lambda s: len(s.split()))
    if len(sentence.split()) > readability.LONG_SENTENCE.get(language, 30):
        found.notes.append(
            f"This sentence has {len(sentence.split())} words: “{sentence}”. Two would read more easily."
        )
    return _plain(language, replies, sentence, found)


def _plain(language: str, replies: list[Sample], sentence: str, found: _Found) -> str:
    parts = [sample.text for sample in replies]
    parts += [sample.body for sample in replies if len(sample.body.split()) >= ENOUGH_WORDS]
    hint = f"Use shorter words and sentences. The longest sentence: “{sentence}”."
    if language == "en":
        grade, most = max(map(readability.english_grade, parts)), readability.MOST_GRADE
        if grade > most:
            found.mistakes.append(f"The reply reads at school grade {grade:.1f}; {most:.0f} is the most. {hint}")
        return f"Reads at school grade {grade:.1f} (Flesch–Kincaid; {most:.0f} is the most)."
    if language == "es":
        ease, least = min(map(readability.spanish_ease, parts)), readability.LEAST_EASE
        if ease < least:
            found.mistakes.append(
                f"The reply has an ease of {ease:.0f} on the scale INFLESZ; {least:.0f} is the least. {hint}"
            )
        return f"Ease of {ease:.0f} on the scale INFLESZ ({least:.0f} is the least, 80 and more is very easy)."
    return f"The longest sentence has {len(sentence.split())} words. No formula for this language is in common use."
