"""What a bounce says came back: which message, to whom, and why.

Sources: RFC 3464 (delivery status), RFC 3462 and 6522 (the returned message or its header), RFC 3463 (status codes).
Post programs that keep to none of these put the returned header into their text; it is looked for there.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from replacements.mail.charsets import decoded
from replacements.mail.cues import pattern
from replacements.mail.headers import addresses, addresses_in, header_text, message_ids
from replacements.mail.letter import Machine, Returned, TextPart
from replacements.mail.structure import Allowance, Node, read_attached, read_fields, transfer_decoded

_MAX_TEXT = 60_000  # characters of the notice that are looked through
_MOST = 20  # ids, and recipients
_COPIES = (
    "message/rfc822",
    "message/global",
    "message/global-headers",
    "text/rfc822-headers",
    "message/rfc822-headers",
)
_ENHANCED = re.compile(r"(?<![\d.])([45])\.(\d{1,3})\.(\d{1,3})(?![\d.])")
_ID_LINE = re.compile(r"^\W{0,4}message-id\s*:\s*(<[^<>\s]{1,400}@[^<>\s]{1,400}>)", re.IGNORECASE | re.MULTILINE)
_DIAGNOSTIC = re.compile(r"^.*(?<![\d.])[45]\d\d[ -](?:[45]\.\d{1,3}\.\d{1,3}|\S).{0,300}$", re.MULTILINE)
_PREFIX = re.compile(
    r"\s*(?:undeliver(?:able|ed)(?: mail)?|delivery (?:status )?(?:notification|failure|failed)\b[^:]{0,40}|"
    r"returned mail|failure notice|mail delivery failed[^:]{0,40}|no se puede entregar|"
    r"no entregado|unzustellbar|non remis|không thể gửi|배달되지 않음|반송|退信|无法投递|無法傳遞)\s*[:：]\s*",
    re.IGNORECASE,
)
# The subject and detail of an enhanced status code (RFC 3463 section 3), in the words of a clerk.
_PLAIN = {
    "1.0": "the address is wrong", "1.1": "there is no such mailbox", "1.2": "there is no such mail domain",
    "1.3": "the address is badly written", "1.6": "the mailbox has moved", "1.10": "the domain takes no mail",
    "2.0": "the mailbox does not take it", "2.1": "the mailbox is switched off", "2.2": "the mailbox is full",
    "2.3": "the message is too long for the mailbox", "3.4": "the message is too big for the other server",
    "4.0": "the other server could not be reached", "4.1": "the other server did not answer",
    "4.4": "the way to the other server is not known", "4.7": "it could not be delivered in time",
    "7.0": "the other server refused it", "7.1": "the other server refused it",
}  # fmt: skip
_BY_SUBJECT = {
    "1": "the address is not right",
    "2": "the mailbox does not take it",
    "3": "the other server could not take it",
    "4": "the other server could not be reached",
    "5": "the two servers did not understand each other",
    "6": "the other server could not read it",
    "7": "the other server refused it",
}
_UNKNOWN = "the other server gave it back"
# The words of servers that give no such code, in the order in which they are believed; basic codes (RFC 5321) at last.
_WORDS = [
    (re.compile(words, re.IGNORECASE), reason)
    for words, reason in (
        (
            r"over ?quota|quota (?:is |was )?exceeded|(?:mailbox|inbox) (?:is |was )?full|full mailbox|\bstorage\b",
            _PLAIN["2.2"],
        ),
        (r"exceed\w*\b.{0,40}\bsize\b|\btoo (?:large|big|long)\b", _PLAIN["3.4"]),
        (r"\b(?:hops|looping|loops? back|mail loop)\b", "it went round in circles"),
        (r"\b(?:host|domain|server)\b.{0,30}\b(?:unknown|not found|does(?:n't| not) exist)\b", _PLAIN["1.2"]),
        (
            r"\b(?:no|not) (?:such |a |valid |listed |known )*(?:user|mailbox|address|recipient|account)s?\b|"
            r"\b(?:unknown|invalid)\b.{0,20}\b(?:user(?:id)?|recipient|address|mailbox)\b|no mailbox|no match(?:es)?\b|"
            r"\b(?:user|recipient|mailbox|address|account)\b.{0,40}\b(?:unknown|invalid|"
            r"not (?:found|known|listed|exist))\b|\b(?:does|do)(?:n't| not) (?:exist|have an? \S+ account)"
            r"|n'existe pas|no existe|không tồn tại|존재하지 않|不存在",
            _PLAIN["1.1"],
        ),
        (r"\b(?:disabled|inactive|discontinued|no longer (?:active|in use|valid))\b", _PLAIN["2.1"]),
        (
            r"not (?:be )?reach|unreachable|timed? ?out|connection refused|refused connection|attempts|"
            r"delivery problems",
            _PLAIN["4.0"],
        ),
        (r"\b(?:not accept|rejected|refused|blocked|denied|spam|policy)", _PLAIN["7.0"]),
        (r"(?<![\d.-])55[013](?![\d.-])|mailbox unavailable", "the mailbox is not there, or does not take it"),
        (r"(?<![\d.-])552(?![\d.-])", _PLAIN["2.2"]),
        (r"(?<![\d.-])5[57]4(?![\d.-])", _PLAIN["7.0"]),
    )
]


def returned_of(
    root: Node, machine: Machine | None, subject: str, parts: Sequence[TextPart], allowance: Allowance
) -> Returned | None:
    """What came back, for a bounce or a notice of delay; None for any other message.

    A machine's mail that names itself no bounce counts where it encloses what was sent and says that it failed."""
    if machine is None or machine.code not in ("bounce", "delay", "null_return_path", "auto_submitted"):
        return None
    text = "\n".join(part.text for part in parts)[:_MAX_TEXT]
    copies = list(_copies(root, allowance))
    said = f"{subject} {text[:2000]}"
    if machine.code not in ("bounce", "delay"):
        fails = any(pattern("machine", "bounce", cue).search(said) for cue in ("subject", "beginning"))
        if not fails or not (copies or _ids_in(text)):
            return None
    groups = _status_groups(root, allowance)
    failed = [g for g in groups if not g.get("action", "failed").lower().startswith(("deliver", "relay", "expand"))]
    ids = [i for copy in copies for i in message_ids(copy.first("message-id"))] + _ids_in(text)
    ids += [*message_ids(root.first("in-reply-to")), *reversed(message_ids(root.first("references")))]
    plain, told = _reason(failed, text)
    return Returned(
        message_ids=tuple(dict.fromkeys(ids))[:_MOST],
        recipients=_recipients(root, failed, copies, text),
        subject=_subject(copies, text, subject),
        final=machine.code != "delay",
        reason=plain,
        told=told,
    )


def _nodes(root: Node) -> Iterator[Node]:
    waiting = [root]
    while waiting:
        node = waiting.pop()
        yield node
        waiting.extend(reversed(node.children))


def _copies(root: Node, allowance: Allowance) -> Iterator[Node]:
    """The returned message, or its header alone, wherever the notice encloses it."""
    for node in _nodes(root):
        if node.content_type not in _COPIES:
            continue
        if node.content_type.endswith("headers"):
            fields = read_fields(transfer_decoded(node, allowance, 100_000).replace(b"\r\n", b"\n"), allowance)
            node = Node(fields, "text/plain", "", "", "", False, False, "", "", "", b"")
        else:
            inner = read_attached(node, Allowance(), 0)
            if inner is None:
                continue
            node = inner
        if node.fields:
            yield node


def _status_groups(root: Node, allowance: Allowance) -> list[dict[str, str]]:
    """The fields of each recipient in the delivery status parts."""
    found: list[dict[str, str]] = []
    for node in _nodes(root):
        if node.content_type not in ("message/delivery-status", "message/global-delivery-status"):
            continue
        text = decoded(transfer_decoded(node, allowance, 200_000))[0].replace("\r\n", "\n")
        for group in re.split(r"\n[ \t]*\n", text)[:100]:
            lines = re.sub(r"\n[ \t]+", " ", group).split("\n")
            fields = {n.strip().lower(): v.strip() for n, colon, v in (line.partition(":") for line in lines) if colon}
            if "final-recipient" in fields or "original-recipient" in fields or "action" in fields:
                found.append(fields)
    return found


def _ids_in(text: str) -> list[str]:
    return [str(one) for one in _ID_LINE.findall(text)]


def _recipients(root: Node, failed: list[dict[str, str]], copies: list[Node], text: str) -> tuple[str, ...]:
    fields = ("original-recipient", "final-recipient")
    named = [group.get(field, "").rpartition(";")[2] for group in failed for field in fields]
    found = addresses_in(" ".join([*named, header_text(root.first("x-failed-recipients"))]))
    found += [address for copy in copies for _, address in addresses(copy.all("to")) if address]
    return tuple(dict.fromkeys(found or addresses_in(text[:4000])))[:_MOST]


def _subject(copies: list[Node], text: str, subject: str) -> str:
    for copy in copies:
        if copy.has("subject"):
            return header_text(copy.first("subject"))
    if match := re.search(r"^\W{0,4}subject\s*:\s*(\S.{0,300})$", text, re.IGNORECASE | re.MULTILINE):
        return match[1].strip()
    prefix = _PREFIX.match(subject)
    return subject[prefix.end() :].strip() if prefix else ""


def _reason(failed: list[dict[str, str]], text: str) -> tuple[str, str]:
    """Why, in plain words; and what the servers said, which may name the recipient."""
    group = failed[0] if failed else {}
    told = group.get("diagnostic-code", "").partition(";")[2].strip() or group.get("diagnostic-code", "")
    if not told and (line := _DIAGNOSTIC.search(text)):
        told = line[0].strip(" >|\t")
    told = " ".join(told.split())[:300]
    code = _ENHANCED.search(group.get("status", "")) or _ENHANCED.search(told) or _ENHANCED.search(text)
    if code is None or code[2] == "0":
        code = _ENHANCED.search(told) or code
    if code is None or code[2] not in _BY_SUBJECT:
        return _by_words(f"{told} {text[:2000]}"), told
    return _PLAIN.get(f"{int(code[2])}.{int(code[3])}", _BY_SUBJECT[code[2]]), told


def _by_words(text: str) -> str:
    return next((reason for words, reason in _WORDS if words.search(text)), _UNKNOWN)
