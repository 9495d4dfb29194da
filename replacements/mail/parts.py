"""Which stretch of the visible text is what the writer says now, and which is quoted, forwarded, or added by a program.

A writer's own name, address or birth date must never be taken for boilerplate: in doubt a line stays `NEW`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import groupby

from replacements.mail.cues import pattern
from replacements.mail.letter import PartLabel, TextPart
from replacements.mail.markup import Line
from replacements.mail.quotations import MAX_SHAPE, earlier_messages

_NEW = PartLabel.NEW
_SIGNATURE, _DISCLAIMER = PartLabel.SIGNATURE, PartLabel.DISCLAIMER


def labelled(lines: Sequence[Line], *, subject: str = "", is_reply: bool = False) -> tuple[TextPart, ...]:
    """The visible lines as labelled stretches, in order. `is_reply`: the message names one that it answers."""
    lines, labels = earlier_messages(lines, subject, is_reply=is_reply)
    _signatures(lines, labels)
    _disclaimers(lines, labels)
    parts: list[TextPart] = []
    for label, run in groupby(zip(labels, lines, strict=True), key=lambda pair: pair[0]):
        text = _text([line for _, line in run])
        if not text.strip():
            continue
        if parts and parts[-1].label is label:
            parts[-1] = TextPart(label, f"{parts[-1].text}\n\n{text}")
        else:
            parts.append(TextPart(label, re.sub(r"\n{3,}", "\n\n", text)))
    return tuple(parts)


def _text(lines: Sequence[Line]) -> str:
    """Lines as one text. Where the writers of a quotation change, a paragraph ends."""
    text, before = "", lines[0].depth
    for line in lines:
        text += f"\n{line.text}" if line.depth == before else f"\n\n{line.text}"
        before = line.depth
    return text.strip("\n")


def _new_end(lines: Sequence[Line], labels: Sequence[PartLabel]) -> int:
    """Where the last stretch of new text ends: what follows is all quoted, forwarded or blank."""
    end = len(lines)
    while end and (labels[end - 1] is not _NEW or not lines[end - 1].text.strip()):
        end -= 1
    return end


def _signatures(lines: Sequence[Line], labels: list[PartLabel]) -> None:
    outside = any(
        label is _NEW and line.text.strip() and not line.signature for label, line in zip(labels, lines, strict=True)
    )
    for at, line in enumerate(lines):
        if labels[at] is _NEW and line.signature and outside:  # some write their whole letter inside the signature
            labels[at] = _under_the_dashes(line.text) if _has_personal(lines, at) else _SIGNATURE
    for at in reversed(range(len(lines))):
        # Added lines end a stretch: the same words in the middle of a sentence are the writer's.
        last = at + 1 == len(lines) or labels[at + 1] is not _NEW or not lines[at + 1].text.strip()
        if last and labels[at] is _NEW and lines[at].text.strip() and _is(lines[at].text, "added"):
            labels[at] = _SIGNATURE
    # The delimiter counts at the end of each stretch of new text (answers may stand above a quotation).
    start = 0
    for label, run in groupby(list(labels)):
        length = len(list(run))
        if label is _NEW:
            _delimited(lines, labels, start, start + length)
        start += length
    _contact_block(lines, labels)


def _has_personal(lines: Sequence[Line], at: int) -> bool:
    """Whether the marked signature around this line holds a birth date or voter number."""
    near = lines[max(0, at - 10) : at + 11]
    return any(line.signature and _is(line.text, "personal") for line in near)


def _delimited(lines: Sequence[Line], labels: list[PartLabel], start: int, end: int) -> None:
    """The block below the last "-- " line of a stretch. A bare "--" typed above a name alone is no delimiter."""
    marks = [at for at in range(start, end) if re.fullmatch(r"--[ ]?|—|__+[ ]?", lines[at].text) and at > start]
    marks = marks or [at for at in range(start, min(end, start + 1)) if lines[at].text == "-- "]
    if not marks:
        return
    mark = marks[-1]
    below = [at for at in range(mark + 1, end) if lines[at].text.strip()]
    if not below or len(below) > 15 or any(len(lines[at].text) > 300 for at in below):
        return
    texts = [lines[at].text.strip()[:MAX_SHAPE] for at in below]
    if any(_is(text, "personal") for text in texts):
        labels[mark] = _SIGNATURE
        for at, text in zip(below, texts, strict=True):
            labels[at] = _under_the_dashes(text)
        return
    typed = len(below) <= 4 and not any(_is_boilerplate(text) for text in texts)
    # Below a program's "-- " stands the owner of the account; only an address there tells who is meant.
    said = lines[mark].text != "-- " or any(_is(text, "street") for text in texts)
    if typed and said and not _ends_with_name(lines, start, mark):
        return
    for at in range(mark, end):
        labels[at] = _SIGNATURE


def _under_the_dashes(text: str) -> PartLabel:
    return _SIGNATURE if _is_boilerplate(text.strip()[:MAX_SHAPE]) else _NEW


def _is_boilerplate(text: str) -> bool:
    return any(_is(text, cue) for cue in ("business", "reachable", "title", "added"))


def _is(text: str, cue: str) -> bool:
    return bool(pattern("quoting", "signature", cue).search(text.strip()[:MAX_SHAPE]))


def _ends_with_name(lines: Sequence[Line], start: int, mark: int) -> bool:
    """Whether the text above the dashes is already signed with a typed name."""
    above = next(
        (lines[at].text.strip() for at in range(mark - 1, max(start - 1, mark - 4), -1) if lines[at].text.strip()), ""
    )
    words = above.rstrip(".,").split()
    return (
        1 <= len(words) <= 4
        and not re.search(r"[\d?!:@]", above)
        and all(w[:1].isupper() or w[:1] == "(" for w in words)
    )


def _contact_block(lines: Sequence[Line], labels: list[PartLabel]) -> None:
    """A business's contact block at the very end without any delimiter: titles, firms, web addresses; never a street.

    Two signs are needed, one of them of a business: a voter's own number under a name stays the voter's word."""
    end = _new_end(lines, labels)
    start = end
    while start > 0 and labels[start - 1] is _NEW and lines[start - 1].text.strip() and end - start < 12:
        start -= 1
    block = [at for at in range(start + 1, end) if len(lines[at].text) <= 120 and not _is(lines[at].text, "personal")]
    business = {at for at in block if _is(lines[at].text, "business")}
    reachable = {at for at in block if _is(lines[at].text, "reachable")}
    titles = {at for at in block if _is(lines[at].text, "title") and _is_bare_title(lines[at].text)}
    found = business | reachable | titles
    if business and len(found) >= 2:
        for at in found:
            labels[at] = _SIGNATURE


def _is_bare_title(text: str) -> bool:
    return len(text.split()) <= 6 and not re.search(r"\d", text)


def _disclaimers(lines: Sequence[Line], labels: list[PartLabel]) -> None:
    at = 0
    while at < len(lines):
        end = at
        while end < len(lines) and lines[end].text.strip() and labels[end] is labels[at]:
            end += 1
        if end > at and labels[at] in (_NEW, _SIGNATURE):
            if pattern("quoting", "disclaimer", "banner").match(lines[at].text[:MAX_SHAPE]):
                labels[at] = _DISCLAIMER  # the line alone: the writer's text may follow without a blank line
                at += 1
                continue
            _disclaimer(lines, labels, at, end)
        at = max(end, at + 1)


def _disclaimer(lines: Sequence[Line], labels: list[PartLabel], start: int, end: int) -> None:
    """Mark a paragraph of legal boilerplate, from the line where it begins: a name may stand right above it."""
    words = pattern("quoting", "disclaimer", "words")
    text = " ".join(line.text for line in lines[start:end])[:4000]
    signs = len({match[0].lower()[:12] for match in words.finditer(text)})
    opening = pattern("quoting", "disclaimer", "opening")
    first = next((at for at in range(start, end) if opening.match(lines[at].text[:MAX_SHAPE])), None)
    # No legal paragraph speaks of a ballot: a voter who asks for confidence does.
    if (
        signs < (3 if first is None else 1)
        or len(text.encode()) < 80
        or pattern("quoting", "disclaimer", "voter").search(text)
    ):
        return
    if any(_is(line.text, "personal") for line in lines[start:end]):
        return
    if first is None:
        first = next((at for at in range(start, end) if words.search(lines[at].text)), start)
        while first > start and len(lines[first - 1].text) >= 60:
            first -= 1
    labels[first:end] = [_DISCLAIMER] * (end - first)
