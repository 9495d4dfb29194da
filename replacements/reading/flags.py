"""What a person must know before anything is done about a mail, with the words that say so."""

from __future__ import annotations

import re

from replacements.mail.letter import Attachment
from replacements.reading.evidence import Weighed
from replacements.reading.folding import fold
from replacements.reading.scanning import Scan
from replacements.reading.types import Flag, Kind

_LISTED = re.compile(
    r"^[ \t]*(?:(?:[-*•]|\(?\d{1,3}[.):])[ \t]*)?(?:(?:mr|mrs|ms|dr)\.?[ \t]+)?"
    r"[A-ZÀ-Þ][\w.'’-]+[ ,]+(?:[A-ZÀ-Þ][\w.'’-]*[ ,]*){1,4}"
    r"(?:.{0,40}\d.{0,60}|(?=[ \t]*$))$",
    re.MULTILINE,
)
_STATEMENT_FILE = re.compile(
    r"sign|statement|affidavit|declar|form|request|firmad|formulario|solicitud|tuyen bo|don xin|mau don|ky ten"
    r"|서명|진술|신청|양식"
)
_NOT_A_STATEMENT = re.compile(
    r"signature[._-]?(?:logo|image)|information|screenshot|platform|format|performance|design"
)
_PAPER = re.compile(r"\.(?:pdf|docx?|odt|rtf|jpe?g|png|heic|tiff?)$", re.IGNORECASE)
_HALF_SAID = 0.3  # the chance from which a second reading is worth a person's look
_TITLES = frozenset({"mr", "mrs", "ms", "dr", "and"})
_SEVERAL = 4  # voters in one mail: from here on it is a list, not a family


def flags_of(
    scan: Scan, weighed: Weighed, kinds: frozenset[Kind], attachments: tuple[Attachment, ...], never_came: float
) -> list[tuple[Flag, str]]:
    """Every flag with its words, in the order of the list of flags. `never_came`: the chance that a ballot did not
    arrive, which a letter about a spoiled one may half say."""
    found: list[tuple[Flag, str]] = []

    def raise_for(flag: Flag, *concepts: str, least: int = 1) -> None:
        hits = scan.real(*concepts)
        if len(hits) >= least:
            found.append((flag, scan.words(hits[0])[:160]))

    raise_for(Flag.THREAT, "threat")
    raise_for(Flag.COMMANDS_SOFTWARE, "commands")
    listed = _LISTED.findall(scan.text)
    if len({_given(line) for line in listed}) >= _SEVERAL:
        found.append((Flag.MANY_PEOPLE, listed[0].strip()[:80]))
    if Kind.OTHER in kinds:
        raise_for(Flag.PRESS, "press")
        if not any(f is Flag.PRESS for f, _ in found):
            raise_for(Flag.JUNK, "junk")
    raise_for(Flag.CHOICES_STATED, "choices")
    anothers = scan.all("sent_by_another")
    own = [h for h in scan.real("sent") if not any(a.start < h.end and h.start < a.end for a in anothers)]
    if own:
        found.append((Flag.BALLOT_ALREADY_SENT, scan.words(own[0])[:160]))
    raise_for(Flag.SWAPPED, "swapped")
    has_it = scan.has("no_need", "fine", "unworried") or bool(scan.denied("want"))
    if weighed.ballot_missing is not None and Kind.MISSING_MATERIALS in kinds and not has_it:
        found.append((Flag.BALLOT_MISSING, scan.words(weighed.ballot_missing)[:160]))
    statement = statement_among(attachments)
    if statement:
        found.append((Flag.STATEMENT_ATTACHED, statement))
    elif attachments:
        raise_for(Flag.STATEMENT_ATTACHED, "form_attached")
    if weighed.hypothetical:
        supposed = scan.supposed(
            "mismark", "damage", "ruin", "goof", "never", "lost", "thrown", "stolen", "undeliverable"
        )
        found.append((Flag.HYPOTHETICAL, scan.words(supposed[0])[:160]))
    raise_for(Flag.ALREADY_REPLACED, "replaced")
    if Kind.WITHDRAWAL in kinds and kinds & {Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED}:
        hits = scan.real("found", "never_mind", "cancel_request", "no_need", "in_person_instead") or scan.denied("want")
        if hits:
            found.append((Flag.CONFLICT, scan.words(hits[0])[:160]))
    if kinds & {Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED}:  # "please don't void it" outweighs any wish that was read
        raise_for(Flag.CONFLICT, "keep_it")
    # One reading says spoiled, the other half-says that it never came: the rules for the two differ.
    if Kind.SPOILED_BALLOT in kinds and Kind.NOT_RECEIVED not in kinds and never_came > _HALF_SAID:
        words = [e.scan.words(e.hit) for e in weighed.evidence if e.kind is Kind.NOT_RECEIVED]
        if words:
            found.append((Flag.CONFLICT, words[0][:160]))
    return found


def _given(line: str) -> str:
    """The first word of a listed name: a couple that signs below its own particulars is two people, not four."""
    return fold(next((w for w in re.findall(r"[^\W\d_]{2,}", line) if fold(w).text not in _TITLES), line)).text


def statement_among(attachments: tuple[Attachment, ...]) -> str:
    """The name of an attachment that looks like a signed statement or form, or nothing."""
    for attachment in attachments:
        name = fold(attachment.name).text
        if _PAPER.search(name) and _STATEMENT_FILE.search(name) and not _NOT_A_STATEMENT.search(name):
            return attachment.name
    return ""
