"""Fill a reviewed text with facts. Every reply that a voter may get is a text of `sources`: a file, or an edited one.

What a reply may never hold is kept out here, not left to the texts: the voter's name and ballot numbers are blank
unless the address is on file, no address or birth date of the record is handed to a text at all, and nothing that the
voter wrote is (so a stated choice cannot come back in a reply).
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache, partial
from typing import Any

import structlog
from jinja2 import Environment, StrictUndefined, Template
from jinja2.sandbox import ImmutableSandboxedEnvironment

from replacements.replies import calendar_words
from replacements.replies.html_part import html_page
from replacements.replies.sources import FILES, FOLDER, FRAME, PROPOSALS, REPLIES, SEVERAL, TOPICS, Texts, phrases
from replacements.rules.office import Rules

__all__ = ["PROPOSALS", "TOPICS", "NoText", "Rendered", "ReplyFacts", "render"]

FALLBACK = "en"
log = structlog.get_logger()
# What is asked for, in the order in which it is asked.
IDENTITY_FACTS = ("name", "birth_date", "address", "voter_id")
NEVER_CAME = frozenset({"not_received", "lost", "stolen", "undeliverable"})


class NoText(Exception):
    """There is no reviewed text of this name: a person writes the reply, or none goes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplyFacts:
    """What a text may be filled with. `on_file`: the reply goes to an address that is on file for this voter; without
    it name and ballot numbers are left out, whatever is given here. `mailing_day`: the mailing that the packet goes (or
    went) in. `chance`: that the ballot is back in time, 0 to 1. `last_good_day`: the last mailing for which that chance
    is above the office's threshold. `missing`: of `IDENTITY_FACTS`. `cause`: as in `[reasons]` of the office's rules.
    `materials`: names from the office's packet contents. `stopped`: None while it is not decided.
    `overseas`: the voter has the dates of `[dates.overseas]`. `lapses_on`: the day on which a request that waits is
    closed. `waited_for`: "statement" or "details", what a lapsed request waited for. `open_for_post`: a ballot can
    still be asked for by mail. `names_election`: several elections are open, so the reply says which it is about.
    `lacking`: what the voter's statement lacks, of `Statement.parts`."""

    rules: Rules
    adopted: bool
    voter_name: str = ""
    on_file: bool = False
    mailing_day: date | None = None
    chance: float | None = None
    last_good_day: date | None = None
    ballot_number: str = ""
    old_ballot_number: str = ""
    missing: tuple[str, ...] = ()
    cause: str = ""
    form: str = ""
    materials: tuple[str, ...] = ()
    stopped: bool | None = None
    overseas: bool = False
    lapses_on: date | None = None
    waited_for: str = ""
    open_for_post: bool = True
    names_election: bool = False
    lacking: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rendered:
    """A reply, filled. `template`: its name (`answer/TOPIC`, the first topic, for an answer). `text` is plain text with
    a line a paragraph; `html` says the same."""

    template: str
    language: str
    subject: str
    text: str
    html: str


def render(
    template: str, language: str, facts: ReplyFacts, *, topics: tuple[str, ...] = (), texts: Texts = FILES
) -> Rendered:
    """Fill one reviewed text. `template`: of `PROPOSALS`, or `answer` with one or more `topics`, or `answer/TOPIC`.

    Falls back to English as a whole where the language has no text, or is not among the office's reviewed languages.
    An edited text that cannot be filled (it was checked before, but the program may be newer) gives way to the
    project's own. Raises NoText where no reply exists under this name.
    """
    names = _names(template, topics)
    language = language if _has_all(language, names, facts.rules) else FALLBACK
    context = context_of(facts, language)
    try:
        return fill_whole(names, language, context, texts)
    except Exception as error:
        if not texts.edited:
            raise
        log.warning("edited_text_failed", template=names[0], language=language, kind=type(error).__name__)
        return fill_whole(names, language, context, FILES)


def fill_whole(names: list[str], language: str, facts: dict[str, Any], texts: Texts) -> Rendered:
    """A reply of one text or more within the frame, filled with `facts` as `context_of` gives them."""
    context = with_phrases(facts, language, texts)
    filled = [(_subject(texts, language, name), fill(texts, language, name, context)) for name in names]
    subject, body = filled[0]
    headings: tuple[str, ...] = ()
    if len(filled) > 1:
        headings = tuple(heading for heading, _ in filled)
        subject = _subject(texts, language, SEVERAL)
        body = "\n\n".join(f"{heading}\n\n{text.strip()}" for heading, text in filled)
    text = paragraphs(fill(texts, language, FRAME, context | {"body": body.strip()}))
    page = html_page(text, subject=subject, language=language, headings=headings)
    return Rendered(names[0], language, subject, text, page)


def _names(template: str, topics: tuple[str, ...]) -> list[str]:
    names = [f"answer/{topic}" for topic in dict.fromkeys(topics)] if template == "answer" else [template]
    unknown = [name for name in names if name not in REPLIES]
    if unknown or not names:
        raise NoText(f"there is no reviewed text {', '.join(unknown) or template!r}")
    return names


def _has_all(language: str, names: list[str], rules: Rules) -> bool:
    if language not in calendar_words.languages() or language not in rules.office.languages:
        return False
    return all(FILES.of(language, name) is not None for name in (*names, FRAME, SEVERAL))


class _Phrase:
    """A phrase that is filled where a text names it."""

    def __init__(self, fill: Callable[[], str]) -> None:
        self._fill = fill

    def __str__(self) -> str:
        return self._fill().strip()


def with_phrases(facts: dict[str, Any], language: str, texts: Texts) -> dict[str, Any]:
    """The facts, and beside them every phrase by its name."""
    context = dict(facts)
    for name in phrases():
        context[name] = _Phrase(partial(fill, texts, language, f"phrases/{name}", context))
    return context


def fill(texts: Texts, language: str, name: str, context: dict[str, Any]) -> str:
    """One text's body, filled. Raises what the template raises, and NoText where there is none."""
    source = texts.of(language, name)
    if source is None:
        raise NoText(f"there is no reviewed text {name!r} in {language}")
    return _compiled(language, source.body).render(context)


def _subject(texts: Texts, language: str, name: str) -> str:
    source = texts.of(language, name)
    if source is None or not clean(source.subject):
        raise NoText(f"there is no subject of {name!r} in {language}")
    return clean(source.subject)


def tidy(body: str) -> str:
    """A line that holds nothing but tags is no line of the text."""
    return re.sub(r"^[ \t]*((?:\{%[^%\n]*%\})+)[ \t]*\n", r"\1", body + "\n", flags=re.MULTILINE)


@lru_cache(maxsize=2000)  # by the words themselves: a changed text is another entry, in every process at once
def _compiled(language: str, body: str) -> Template:
    return environment(language).from_string(tidy(body))


@cache
def environment(language: str) -> Environment:
    """The sandbox that texts are filled in. Plain text: nothing is escaped here; the HTML part escapes everything."""
    made = ImmutableSandboxedEnvironment(undefined=StrictUndefined, autoescape=False)
    made.filters["full"] = partial(calendar_words.full_day, language=language)
    made.filters["short"] = partial(calendar_words.short_day, language=language)
    made.filters["hour"] = partial(calendar_words.hour, language=language)
    return made


def context_of(facts: ReplyFacts, language: str) -> dict[str, Any]:
    """Everything that a text can name. Text is cleaned to one line, so that no fact can start a line of its own."""
    rules = facts.rules
    # An overseas voter has dates of their own; that somebody is one is a fact of the record.
    dates = rules.dates_for(overseas=facts.overseas and facts.on_file)
    good = min(facts.last_good_day, dates.last_request_by_mail.date()) if facts.last_good_day else None
    return {
        "office": clean(rules.office.name),
        "office_mail": clean(rules.office.address),
        "phone": clean(rules.office.phone),
        "in_person": clean(rules.office.in_person),
        "hours": calendar_words.opening(clean(rules.office.hours), language),
        "website": clean(rules.office.website),
        "election": clean(rules.election.name),
        "election_day": rules.election.date,
        "adopted": facts.adopted,
        "last_request": dates.last_request_by_mail,
        "overseas_last_request": rules.dates.overseas.last_request_by_mail,
        "last_in_person": dates.last_in_person,
        "postmarked": dates.return_rule == "postmarked",
        "return_by": dates.return_by,
        "grace_until": dates.grace_until if dates.return_rule == "postmarked" else None,
        "boxes": [
            {
                "place": clean(box.place),
                "address": clean(box.address),
                "open": box.open,
                "close": box.close,
                "hours": calendar_words.opening(clean(box.hours), language),
            }
            for box in rules.drop_boxes
        ],
        "boxes_on_last_day": any(box.close >= dates.return_by.date() for box in rules.drop_boxes),
        "witness": rules.statement.witness,
        "suspends": rules.replacements.original == "suspend",
        "postage_paid": any("postage" in item.lower() for item in rules.mailing.contents),
        "name": clean(facts.voter_name) if facts.on_file else "",
        "ballot": clean(facts.ballot_number) if facts.on_file else "",
        "old_ballot": clean(facts.old_ballot_number) if facts.on_file else "",
        "on_file": facts.on_file,
        "mailing_day": facts.mailing_day,
        "too_slow": facts.chance is not None and facts.chance < rules.transit.threshold,
        "last_good_day": good if good and facts.mailing_day and good >= facts.mailing_day else None,
        "missing": [fact for fact in IDENTITY_FACTS if fact in facts.missing] or ["name", "birth_date", "address"],
        "never_came": facts.cause in NEVER_CAME,
        "form": _term(facts.form or rules.address_change.form, language),
        "materials": [_term(item, language) for item in facts.materials if clean(item)],
        "stopped": facts.stopped,
        "lapses_on": facts.lapses_on,
        "waited_for_statement": facts.waited_for == "statement",
        "open_for_post": facts.open_for_post,
        "names_election": facts.names_election,
        "lacking": [_term(part, language) for part in facts.lacking or rules.statement.parts],
        "cure_until": rules.statement.cure_until,
    }


@cache
def _terms() -> dict[str, dict[str, str]]:
    return tomllib.loads((FOLDER / "terms.toml").read_text(encoding="utf-8"))


def _term(name: str, language: str) -> str:
    """What the office names in English, in the reply's language, with the office's name behind it."""
    name = clean(name)
    known = _terms().get(language, {}).get(name.lower())
    return f"{known} ({name})" if known else name


def clean(text: str | None) -> str:
    """One line without control characters or marks that turn the direction of writing."""
    visible = text or ""
    if not visible.isprintable():  # most are, and every reply cleans all that it may name
        visible = "".join(" " if unicodedata.category(c)[0] in "CZ" else c for c in visible)
    return " ".join(visible.split())


def paragraphs(text: str) -> str:
    """Lines of the file joined into paragraphs; entries of lists (`- `, `1. `) stay lines."""
    done: list[str] = []
    for block in re.split(r"\n[ \t]*\n", text.strip()):
        lines: list[str] = []
        for line in (" ".join(raw.split()) for raw in block.split("\n")):
            if not line:
                continue
            if lines and not re.match(r"(-|\d+\.) ", line):
                lines[-1] = f"{lines[-1]} {line}"
            else:
                lines.append(line)
        if lines:
            done.append("\n".join(lines))
    # "7:30 p. m." ends a sentence by itself
    return re.sub(r"(?<=[^.]\.)\.(?!\.)", "", "\n\n".join(done)) + "\n"
