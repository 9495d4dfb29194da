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

_MAX_SHAPE = 400  # characters of a line that are compared with a cue
_NEW, _QUOTED, _FORWARDED = PartLabel.NEW, PartLabel.QUOTED, PartLabel.FORWARDED
_SIGNATURE, _DISCLAIMER = PartLabel.SIGNATURE, PartLabel.DISCLAIMER


def labelled(lines: Sequence[Line], *, subject: str = "", is_reply: bool = False) -> tuple[TextPart, ...]:
    """The visible lines as labelled stretches, in order. `is_reply`: the message names one that it answers."""
    labels = _earlier_messages(lines, subject, is_reply=is_reply)
    _signatures(lines, labels)
    _disclaimers(lines, labels)
    parts: list[TextPart] = []
    for label, run in groupby(zip(labels, lines, strict=True), key=lambda pair: pair[0]):
        text = "\n".join(line.text for _, line in run).strip("\n")
        if not text.strip():
            continue
        if parts and parts[-1].label is label:
            parts[-1] = TextPart(label, f"{parts[-1].text}\n\n{text}")
        else:
            parts.append(TextPart(label, re.sub(r"\n{3,}", "\n\n", text)))
    return tuple(parts)


def _earlier_messages(lines: Sequence[Line], subject: str, *, is_reply: bool) -> list[PartLabel]:
    """Quoted and forwarded stretches. A mark without ">" below it holds for the rest of the message."""
    is_forward = bool(pattern("quoting", "forward_subject").match(subject[:_MAX_SHAPE]))
    known = is_forward or is_reply or bool(pattern("quoting", "reply_subject").match(subject[:_MAX_SHAPE]))
    labels: list[PartLabel] = []
    context = _QUOTED
    at = 0
    while at < len(lines):
        line = lines[at]
        mark = _mark(lines, at, known=known)
        if mark is not None:
            length, kind, marked = mark
            if kind == "block" and not (known or lines[at].depth or _by_program(lines[at : at + length])):
                # A letter that is laid out like a memorandum or a form: To, From, Date, Subject.
                labels.extend([_NEW] * length)
                at += length
                continue
            context = _FORWARDED if kind == "forwarded" or (kind == "block" and is_forward) else _QUOTED
            labels.extend([context] * length)
            at += length
            if not marked:
                labels.extend([context] * (len(lines) - at))
                return labels
            continue
        label = context if line.depth else _NEW
        if not line.depth and line.text.strip():
            context = _QUOTED
        labels.append(label)
        at += 1
    _join_blank_lines(lines, labels)
    return labels


def _by_program(lines: Sequence[Line]) -> bool:
    """Whether an address or a time of day stands in these lines, as programs write and people hardly do."""
    return any(re.search(r"@[\w-]+\.|\b\d{1,2}[:.]\d{2}\b", line.text[:_MAX_SHAPE]) for line in lines)


def _mark(lines: Sequence[Line], at: int, *, known: bool) -> tuple[int, str, bool] | None:
    """A mark of an earlier message that begins here: how many lines it takes, its kind, and whether what follows is
    quoted line by line (so that an unquoted line below is new again). `known`: the message answers or forwards."""
    if not lines[at].text.strip():
        return None
    block = _header_block(lines, at)
    if block:
        return block, "block", _quoted_below(lines, at + block) and not lines[at].depth
    shape = lines[at].text.strip()[:_MAX_SHAPE]
    for kind in ("forwarded", "original"):
        if shape[-1:] in "-:." or kind == "forwarded":
            if not pattern("quoting", kind).match(shape):
                continue
            length = 1
            following = _next_with_text(lines, at + 1)
            if following is not None:
                inner = _header_block(lines, following, needed=1)
                length = following + inner - at if inner else 1
            if lines[at].depth:
                return None if kind == "original" else (length, kind, True)
            return length, kind, _quoted_below(lines, at + length)
    if lines[at].depth:
        return None
    length = _attribution(lines, at)
    if not length:
        return None
    if _quoted_below(lines, at + length):
        return length, "attribution", True
    # Without any quote mark below, only a line that a program wrote is believed, or one with a year in an answer.
    written = lines[at : at + length]
    believed = _by_program(written) or (known and any(re.search(r"\b(?:19|20)\d\d\b", line.text) for line in written))
    if believed and _next_with_text(lines, at + length) is not None:
        return length, "attribution", False
    return None


def _attribution(lines: Sequence[Line], at: int) -> int:
    """Lines that an attribution takes ("On … wrote:"), which programs break into up to four; 0 where there is none."""
    text = lines[at].text.strip()
    if len(text) > _MAX_SHAPE:
        return 0
    cue = pattern("quoting", "attribution")
    if text.endswith((":", "：", ".", "작성", "씀")) and cue.match(text):
        return 1
    if not pattern("quoting", "attribution_start").match(text):
        return 0
    for length in range(2, 5):
        if at + length > len(lines) or lines[at + length - 1].depth or not lines[at + length - 1].text.strip():
            return 0
        text = f"{text} {lines[at + length - 1].text.strip()}"
        if len(text) > _MAX_SHAPE:
            return 0
        if cue.match(text):
            return length
    return 0


def _header_block(lines: Sequence[Line], at: int, *, needed: int = 3) -> int:
    """Lines of an earlier message's header, with a rule of dashes or underscores above it; 0 where there is none."""
    start = at
    if re.fullmatch(r"[\s_*=-]{5,}", lines[at].text[:_MAX_SHAPE]) and len(lines[at].text) < _MAX_SHAPE:
        following = _next_with_text(lines, at + 1)
        if following is None:
            return 0
        start = following
    seen: set[str] = set()
    end = start
    while end < len(lines) and end - start < 60:
        text = lines[end].text.strip()[:_MAX_SHAPE]
        role = _header_role(text)
        if role:
            seen.add(role)
        elif not text or not seen:
            # HTML mail sets each header line as a paragraph of its own.
            following = _next_with_text(lines, end)
            if not seen or following is None or not _header_role(lines[following].text.strip()[:_MAX_SHAPE]):
                break
        elif not (lines[end].text[:1] in " \t" or (end > start and _is_continuation(lines[end - 1].text, text))):
            break
        end += 1
    enough = len(seen - {"other"}) >= needed and (needed == 1 or {"from"} <= seen)
    return end - at if enough else 0


def _is_continuation(above: str, text: str) -> bool:
    """A header line that was broken because it was long: recipients go on, or a long subject does."""
    return len(above) >= 60 and ("@" in text or ";" in text or above.rstrip().endswith((",", ";")))


def _header_role(text: str) -> str:
    if ":" not in text[:40] and "：" not in text[:40]:
        return ""
    for role in ("from", "sent", "to", "subject", "other"):
        if pattern("quoting", "header_lines", role).match(text):
            return role
    return ""


def _next_with_text(lines: Sequence[Line], at: int) -> int | None:
    return next((n for n in range(at, min(at + 6, len(lines))) if lines[n].text.strip()), None)


def _quoted_below(lines: Sequence[Line], at: int) -> bool:
    following = _next_with_text(lines, at)
    return following is not None and lines[following].depth > 0


def _join_blank_lines(lines: Sequence[Line], labels: list[PartLabel]) -> None:
    """A blank line between two quoted ones belongs to the quotation."""
    for at in range(1, len(lines) - 1):
        if not lines[at].text.strip() and labels[at - 1] is not _NEW and labels[at + 1] is labels[at - 1]:
            labels[at] = labels[at - 1]


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
    texts = [lines[at].text.strip()[:_MAX_SHAPE] for at in below]
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
    return _SIGNATURE if _is_boilerplate(text.strip()[:_MAX_SHAPE]) else _NEW


def _is_boilerplate(text: str) -> bool:
    return any(_is(text, cue) for cue in ("business", "reachable", "title", "added"))


def _is(text: str, cue: str) -> bool:
    return bool(pattern("quoting", "signature", cue).search(text.strip()[:_MAX_SHAPE]))


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
            if pattern("quoting", "disclaimer", "banner").match(lines[at].text[:_MAX_SHAPE]):
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
    first = next((at for at in range(start, end) if opening.match(lines[at].text[:_MAX_SHAPE])), None)
    # No legal paragraph speaks of a ballot: a voter who asks for confidence does.
    if signs < (3 if first is None else 2) or len(text) < 80 or pattern("quoting", "disclaimer", "voter").search(text):
        return
    if first is None:
        first = next((at for at in range(start, end) if words.search(lines[at].text)), start)
        while first > start and len(lines[first - 1].text) >= 60:
            first -= 1
    labels[first:end] = [_DISCLAIMER] * (end - first)
