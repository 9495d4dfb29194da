"""What an earlier message, quoted below a reply, adds: the writer's own words, and the name the office greeted."""

from __future__ import annotations

import re
from dataclasses import dataclass

from replacements.mail.letter import Letter, PartLabel

_MARK = re.compile(r"^[ \t]*((?:>[ \t]?)*)")
_ATTRIBUTION = re.compile(
    r"^[ \t>]*(?:on\b.{4,160}\bwrote:|el\b.{4,160}\bescribi[óo]:|le\b.{4,160}\ba écrit\s?:|vào\b.{4,160}\bviết:"
    r"|.{4,120}(?:님이|에)\s?작성:?|-{2,}.{0,40}(?:original|forwarded).{0,30}-{2,}"
    r"|(?:from|de|từ|보낸 사람):\s?.{2,120})[ \t]*$",
    re.I,
)
_OFFICE = re.compile(
    r"\b(?:dear|estimad[oa]s?|kính gửi|kính thưa|hello|hi)\s+(?-i:[A-ZÀ-Ỹ가-힣])"
    r"|\b(?:county (?:elections?|clerk|office)|elections? (?:office|department)|registrar"
    r"|our office|we (?:can|could|have|cannot|need|will)|for writing to us"
    r"|please (?:send|reply|tell|write) us|you (?:wrote|asked|told|said))\b"
    r"|\b(?:oficina electoral|usted nos|podemos|díganos)\b|văn phòng bầu cử|선거\s?관리",
    re.I,
)
_FIRST_PERSON = re.compile(
    r"\b(?:i|my|mine|i'?m|i'?ve|me|mi|yo|soy|necesito|tôi|em|phiếu)\b|저는|제 |제가|저의|투표용지|我|boleta", re.I
)
_TO_A_VOTER = re.compile(
    r"\b(?:you|your|usted|su boleta|ustedes)\b(?![^.]{0,20}\b(?:send|mail|office))|quý vị vui lòng|귀하|您", re.I
)
_GREETED = re.compile(
    r"(?:^|\n)[ \t>]*(?:dear|hello|hi|estimad[oa]|hola|kính gửi(?: ông| bà| anh| chị)?|thưa(?: ông| bà)?)[ \t]+"
    r"(?:mr\.?|mrs\.?|ms\.?|dr\.?|sra?\.?|don|doña)?[ \t]*"
    r"((?-i:[A-ZÀ-Ỹ][\w'’.\-]*(?:[ \t]+[A-ZÀ-Ỹ][\w'’.\-]*){0,4}))[ \t]*[,:!.\n]",
    re.I,
)
_HANGUL_GREETED = re.compile(r"(?:^|\n)[ \t>]*([가-힣]{2,4})\s?(?:님|귀하)")
# How an office repeats to somebody what they told it.
_TOLD = re.compile(
    r"\byou(?:'ve| have)? (?:also )?(?:wrote|written|asked|told|said|mentioned|reported|explained|described|requested"
    r"|let us know|informed us)\b"
    r"|\byour (?:first |earlier |last )?(?:message|e-?mail|letter|note|request) (?:says|said|about|that|of|regarding)\b"
    r"|\b(?:ballot|one) (?:that |which )?you (?!need|should|must|will|can|may|want|would|are|get|receive)\w+"
    r"|\bnos (?:ha )?(?:dijo|dicho|escribió|escrito|contó|pidió|pedido|informó|avisó|indicó|comentó|solicitó|explicó)\b"
    r"|\b(?:usted )?(?:escribió|pidió|solicitó|dijo|contó) (?:que|otra|una|un)\b"
    r"|\bsu (?:primer )?(?:mensaje|correo|solicitud|carta) (?:dice|decía|sobre|de que)\b"
    r"|\b(?:quý vị|ông|bà|anh|chị|bạn|cô|chú|bác)(?: \w+){0,2}? (?:viết|cho biết|báo|nói|yêu cầu|xin|kể|thông báo)\b"
    r"|(?:라고|다고|다는|었음을|함을) ?(?:하셨|하신|적으|쓰셨|알려|말씀|연락|전해)"
    r"|(?:요청|신청|말씀)하신|써 주신|적어 주신",
    re.I,
)
# The same in the mouth of who told it: letters are read as their writers say things.
_IN_THEIR_MOUTH = tuple(
    (re.compile(said, re.I), says)
    for said, says in (
        (r"\byou(?:'ve| have)? (?:also )?(?:asked|requested)(?: us)? (?:for|to send you)\b", "I need"),
        (r"\byou(?:'ve| have)? (?:also )?(?:asked|requested) (?=an?other|a new)", "I need "),
        (
            r"\byou(?:'ve| have)? (?:also )?(?:wrote|written|told|said|mentioned|reported|explained|let us know)"
            r"(?: to)?(?: us)?(?: that|:)?",
            "",
        ),
        (r"\byour (?:message|e-?mail|letter|note) (?:says|said)(?: that|:)?", ""),
        (r"\b(?:you're|you are)\b", "I am"),
        (r"\byou were\b", "I was"),
        (r"\byou've\b", "I have"),
        (r"\byou\b", "I"),
        (r"\byour\b", "my"),
        (r"\byours\b", "mine"),
        (
            r"\b(?:usted )?nos (?:ha )?(?:dijo|dicho|escribió|escrito|contó|informó|avisó|indicó|comentó|explicó)"
            r"(?: que|:)",
            "",
        ),
        (r"\b(?:usted )?nos (?:pidió|ha pedido|solicitó)\b", "quiero"),
        (r"\bsu (?=boleta|papeleta|sobre|paquete)", "mi "),
        (r"\b(?:quý vị|ông|bà|anh|chị|bạn)(?: đã)? (?:viết|cho biết|báo|nói|thông báo)(?: rằng| là|:)?", ""),
        (r"\bquý vị\b", "tôi"),
    )
)
_HEADER = re.compile(
    r"^[ \t>]*[*]?(?:from|sent|to|cc|subject|date|de|enviado|para|asunto|fecha|gửi|đến|chủ đề"
    r"|보낸 사람|받는 사람|제목|날짜)[*]?\s?:",
    re.I,
)
_SENTENCE = re.compile(r"(?<=[.!?。”\"])\s+|\n\s*\n")
_NOT_NAMES = re.compile(
    r"\b(?:voter|sir|madam|votante|elector|cử tri|friend|customer|all|there|quý|office|team|señora?e?s?)\b", re.I
)


@dataclass(frozen=True, slots=True)
class Earlier:
    """`own`: earlier words of the same writer; `greeted`: names that the office's quoted reply begins with; `told`:
    its sentences that repeat what the writer had told."""

    own: str = ""
    greeted: tuple[str, ...] = ()
    told: tuple[str, ...] = ()


def earlier(letter: Letter) -> Earlier:
    """Split the quoted parts by depth and attribution: who wrote which stretch."""
    own: list[str] = []
    greeted: list[str] = []
    told: list[str] = []
    for part in letter.parts:
        if part.label is not PartLabel.QUOTED:
            continue
        for m in _GREETED.finditer(part.text):
            if not _NOT_NAMES.search(m[1]) and m[1][0].isupper():
                greeted.append(m[1].strip().rstrip(".,"))
        greeted += [m[1] for m in _HANGUL_GREETED.finditer(part.text) if m[1] not in ("유권자", "고객", "선생")]
        own += _own_stretches(part.text, letter)
        told += _repeated(part.text)
    return Earlier("\n\n".join(own), tuple(dict.fromkeys(greeted)), tuple(dict.fromkeys(told)))


def _repeated(text: str) -> list[str]:
    """The sentences of a quotation that say to its reader what they had told the office."""
    lines = (_MARK.sub("", line) for line in text.split("\n") if not (_ATTRIBUTION.match(line) or _HEADER.match(line)))
    found = (" ".join(sentence.split()) for sentence in _SENTENCE.split("\n".join(lines)))
    return [_in_their_mouth(sentence) for sentence in found if _TOLD.search(sentence)]


def _in_their_mouth(sentence: str) -> str:
    for said, says in _IN_THEIR_MOUTH:
        sentence = said.sub(says, sentence)
    return sentence.strip()


def _own_stretches(text: str, letter: Letter) -> list[str]:
    stretches: list[tuple[int, bool | None, list[str]]] = []
    said_by: dict[int, bool | None] = {}
    for line in text.split("\n"):
        mark = _MARK.match(line)
        depth = mark[1].count(">") if mark else 0
        content = line[mark.end() :] if mark else line
        if len(line) < 400 and _ATTRIBUTION.match(content):
            low = content.lower()
            by_writer = bool(letter.sender.address and letter.sender.address in low) or bool(
                letter.sender.name and letter.sender.name.lower() in low
            )
            if not re.match(r"[ \t]*-{2,}", content):
                said_by[depth + 1] = by_writer
                said_by[depth] = by_writer
            stretches.append((-1, None, []))
            continue
        if not stretches or stretches[-1][0] != depth:
            stretches.append((depth, said_by.get(depth), []))
        stretches[-1][2].append(content)
    found = []
    for depth, theirs, lines in stretches:
        if depth < 0:
            continue
        found += _own_paragraphs("\n".join(lines), by_writer=theirs, deep=depth >= 2)
    return found


def _own_paragraphs(stretch: str, *, by_writer: bool | None, deep: bool) -> list[str]:
    """The paragraphs of one stretch that are the writer's: all, where it is said so; else those in a voter's words."""
    if by_writer:
        return [stretch.strip()] if stretch.strip() else []
    found = []
    own = deep
    for paragraph in re.split(r"\n\s*\n", stretch):
        if not paragraph.strip():
            continue
        if _OFFICE.search(paragraph):
            own = False
        elif not _TO_A_VOTER.search(paragraph) and (by_writer is None or _FIRST_PERSON.search(paragraph)):
            own = True
        if own:
            found.append(paragraph.strip())
    return found
