"""Where an earlier message begins and ends: attribution lines, header blocks, rules with words, quote marks.

Mail programs agree on no form; their habits are cues (`cues/quoting.toml`), and what no cue makes sure stays `NEW`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from replacements.mail.cues import pattern
from replacements.mail.letter import PartLabel
from replacements.mail.markup import Line

MAX_SHAPE = 400  # characters of a line that are compared with a cue
MAX_MANNERS = 5  # in which one message marks its quotations, besides ">"
_NEW, _QUOTED, _FORWARDED = PartLabel.NEW, PartLabel.QUOTED, PartLabel.FORWARDED
_BAR = re.compile(r"[ \t]{0,3}([|│┃¦»])(?=\s|$)")
_RECURRING = re.compile(r"[ \t]{0,6}(>|[A-Za-z]{1,8}>|[|│┃¦](?=\s[^|│┃¦]*$))(?=\s|$|\w)")
_INITIALS = re.compile(r"[ \t]{0,3}([A-Z]{1,4}>)")
_ADDRESS = re.compile(r"@[\w-]+\.")
_HOUR = re.compile(r"\b\d{1,2}[:.h]\d{2}\b|\d{1,2}시 ?\d{1,2}분")
_DATE = re.compile(r"(?<!\d)(?:19|20)\d\d(?!\d)|\b\d{1,2}[./-]\d{1,2}[./-]\d{2}\b")


def earlier_messages(lines: Sequence[Line], subject: str, *, is_reply: bool) -> tuple[Sequence[Line], list[PartLabel]]:
    """The lines, freed of unusual quote marks, and a label for each: new, quoted or forwarded.

    A mark without any quoting below it holds for the rest of the message."""
    is_forward = bool(pattern("quoting", "forward_subject").match(subject[:MAX_SHAPE]))
    known = is_forward or is_reply or bool(pattern("quoting", "reply_subject").match(subject[:MAX_SHAPE]))
    lines = _apart(_known_marks(lines) if known else lines)
    labels: list[PartLabel] = []
    context = _QUOTED
    at = freeings = 0
    while at < len(lines):
        line = lines[at]
        mark = _mark(lines, at, known=known)
        if mark is not None:
            length, kind, marked = mark
            if kind == "block" and not _is_programs(lines, at, length, known=known, is_forward=is_forward):
                # A letter that is laid out like a memorandum or a form: To, From, Date, Subject.
                labels.extend([_NEW] * length)
                at += length
                continue
            context = _FORWARDED if kind == "forwarded" or (kind == "block" and is_forward) else _QUOTED
            labels.extend([context] * length)
            at += length
            if marked:
                continue
            freed = _otherwise_marked(lines, at) if freeings < MAX_MANNERS else None
            freeings += 1
            if freed is None:
                labels.extend([context] * (len(lines) - at))
                return lines, labels
            lines = freed
            continue
        label = context if line.depth else _NEW
        if not line.depth and line.text.strip():
            context = _QUOTED
        labels.append(label)
        at += 1
    _join_blank_lines(lines, labels)
    return lines, labels


def _is_programs(lines: Sequence[Line], at: int, length: int, *, known: bool, is_forward: bool) -> bool:
    """Whether a block of header lines was written by a program: it says so by an address or a time of day; in an
    answer, by a subject line below something new. Voters lay out their own letters in this way too."""
    block = lines[at : at + length]
    if lines[at].depth or _by_program(block) or is_forward:
        return True
    above = any(line.text.strip() for line in lines[:at])
    return known and above and any(_header_role(line.text.strip()[:MAX_SHAPE]) == "subject" for line in block)


def _by_program(lines: Sequence[Line]) -> bool:
    """Whether an address or a time of day stands in these lines, as programs write and people hardly do."""
    return any(_ADDRESS.search(line.text[:MAX_SHAPE]) or _HOUR.search(line.text[:MAX_SHAPE]) for line in lines)


def _otherwise_marked(lines: Sequence[Line], at: int) -> list[Line] | None:
    """The lines with those below quoted by bars, by initials ("AF>") or by indentation given a depth; None where
    what follows is marked in none of these ways."""
    first = _next_with_text(lines, at)
    if first is None:
        return None
    text = lines[first].text
    if match := _BAR.match(text) or _INITIALS.match(text):
        mark = re.compile(rf"[ \t]{{0,3}}{re.escape(match[1])}[ ]?")
    elif re.match(r"[ ]{2,}|\t", text) and _is_set_apart(lines[first:]):
        mark = re.compile(r"(?:[ ]{2,}|\t)\s*")
    else:
        return None
    below = [_freed(line, mark) for line in lines[at:]]
    return [*lines[:at], *below]


def _known_marks(lines: Sequence[Line]) -> Sequence[Line]:
    """In an answer, lines with a mark that recurs are quoted also without any attribution: ">" behind spaces, the
    quoted person's letters or name ("AF>"), a bar. A bar that comes again in its line is a table's."""
    marks = [match[1] for line in lines if not line.depth and (match := _RECURRING.match(line.text[:MAX_SHAPE]))]
    often = [mark for mark, times in Counter(marks).most_common(MAX_MANNERS) if times > 1]
    if not often:
        return lines
    mark = re.compile(rf"[ \t]{{0,6}}(?:{'|'.join(map(re.escape, often))})[ ]?")
    return [_freed(line, mark) if _RECURRING.match(line.text[:MAX_SHAPE]) else line for line in lines]


def _freed(line: Line, mark: re.Pattern[str]) -> Line:
    match = None if line.depth else mark.match(line.text)
    return Line(line.text[match.end() :], 1, line.signature) if match else line


def _is_set_apart(lines: Sequence[Line]) -> bool:
    """Whether indented lines are a quotation with answers at the margin, and not paragraphs that begin indented."""
    indented = margin = 0
    above = ""
    for line in lines:
        inside = line.text[:1] in (" ", "\t")
        if line.text.strip() and not inside:
            margin += 1
            if above[:1] in (" ", "\t") and above.rstrip()[-1:] not in "?:？：":
                return False
        indented += inside
        above = line.text if line.text.strip() else ""
    return indented >= margin


def _mark(lines: Sequence[Line], at: int, *, known: bool) -> tuple[int, str, bool] | None:
    """A mark of an earlier message that begins here: how many lines it takes, its kind, and whether what follows is
    quoted line by line (so that an unquoted line below is new again). `known`: the message answers or forwards."""
    if not lines[at].text.strip():
        return None
    block = _header_block(lines, at)
    if block:
        return block, "block", _quoted_below(lines, at + block) and not lines[at].depth
    shape = lines[at].text.strip()[:MAX_SHAPE]
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
    length = _attribution(lines, at) or _announcement(lines, at)
    if not length:
        return None
    if _quoted_below(lines, at + length):
        return length, "attribution", True
    # Without any quote mark below, only a line that a program wrote is believed, or one with a year in an answer.
    written = " ".join(line.text for line in lines[at : at + length])[:MAX_SHAPE]
    dated = bool(_DATE.search(written))
    believed = bool(_ADDRESS.search(written)) or (dated and (known or bool(_HOUR.search(written))))
    if believed and _next_with_text(lines, at + length) is not None:
        return length, "attribution", False
    return None


def _attribution(lines: Sequence[Line], at: int) -> int:
    """Lines that an attribution takes ("On … wrote:"), which programs break into up to four; 0 where there is none."""
    text = _bare(lines[at].text)
    if len(text) > MAX_SHAPE:
        return 0
    cue = pattern("quoting", "attribution")
    if _ends_like_attribution(text) and cue.match(text):
        return 1
    if not (pattern("quoting", "attribution_start").match(text) or (_ADDRESS.search(text) and _DATE.search(text))):
        return 0
    blank = 0
    for end in range(at + 1, min(at + 7, len(lines))):
        more = _bare(lines[end].text)
        if not more:
            # Some programs leave blank lines in the middle; what was said before them must look like their hand.
            blank += 1
            if blank > 2 or not _by_program([Line(text)]):
                return 0
            continue
        text = f"{text} {more}"
        if lines[end].depth or len(text) > MAX_SHAPE or (blank and len(more) > 80):
            return 0
        if _ends_like_attribution(text) and cue.match(text):
            return end + 1 - at
    return 0


def _announcement(lines: Sequence[Line], at: int) -> int:
    """Lines above marked text as programs write them in any language: an address and when, or "… wrote:" alone."""
    if pattern("quoting", "attribution_above_marks").match(_bare(lines[at].text)) and _quoted_below(lines, at + 1):
        return 1
    text = ""
    for length in (1, 2):
        if at + length > len(lines) or lines[at + length - 1].depth or not lines[at + length - 1].text.strip():
            return 0
        text = f"{text} {lines[at + length - 1].text.strip()}"
        if len(text) > MAX_SHAPE:
            return 0
        if length == 2 and not (
            _ADDRESS.search(lines[at].text) or (_HOUR.search(lines[at].text) and _DATE.search(text))
        ):
            return 0  # an answer may stand right above it, a birth date too
        dated = bool(_ADDRESS.search(text)) and bool(_HOUR.search(text) or _DATE.search(text))
        next_line = lines[at + length] if at + length < len(lines) else None
        if dated and next_line is not None and (next_line.depth or not next_line.text.strip()):
            return length if _quoted_below(lines, at + length) else 0
    return 0


def _apart(lines: Sequence[Line]) -> Sequence[Line]:
    """The lines, with an attribution that stands behind the writer's own words on a line of its own."""
    cue = pattern("quoting", "attribution_behind")
    out: list[Line] = []
    for line in lines:
        match = cue.match(line.text) if len(line.text) <= MAX_SHAPE and not line.depth else None
        if match is None or pattern("quoting", "attribution_start").match(line.text):
            out.append(line)
        else:
            out += [Line(match[1], 0, line.signature), Line(match[2], 0, line.signature)]
    return out


def _bare(text: str) -> str:
    """A line without the stars and rules that some programs set around it."""
    return re.sub(r"^[*\s]+|[*\s]+$|\*(?=\s)", "", text[: MAX_SHAPE + 1])


def _ends_like_attribution(text: str) -> bool:
    return text.endswith((":", "：", ".", "-", "작성", "씀", "글"))


def _header_block(lines: Sequence[Line], at: int, *, needed: int = 3) -> int:
    """Lines of an earlier message's header, with a rule of dashes or underscores above it; 0 where there is none."""
    start = at
    if re.fullmatch(r"[\s_*=-]{5,}", lines[at].text[:MAX_SHAPE]) and len(lines[at].text) < MAX_SHAPE:
        following = _next_with_text(lines, at + 1)
        if following is None:
            return 0
        start = following
    seen: set[str] = set()
    end = start
    while end < len(lines) and end - start < 60:
        text = lines[end].text.strip()[:MAX_SHAPE]
        role = _header_role(text)
        if role:
            seen.add(role)
        elif not text or not seen:
            # HTML mail sets each header line as a paragraph of its own.
            following = _next_with_text(lines, end)
            if not seen or following is None or not _header_role(lines[following].text.strip()[:MAX_SHAPE]):
                break
        elif not (lines[end].text[:1] in " \t" or (end > start and _is_continuation(lines[end - 1].text, text))):
            break
        end += 1
    # Some programs write two fields only: below a rule, or below something new, with a time and an address.
    block = [line.text[:MAX_SHAPE] for line in lines[start:end]]
    timed = any(_HOUR.search(text) for text in block)
    if start > at and {"from", "sent"} <= seen and (timed or any(_ADDRESS.search(text) for text in block)):
        return end - at
    above = any(line.text.strip() for line in lines[max(0, start - 6) : start])
    if above and "sent" in seen and seen & {"from", "to"} and timed and any(_ADDRESS.search(text) for text in block):
        return end - at
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
