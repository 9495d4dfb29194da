"""Whether a machine sent this, and how that is known.

Sources: RFC 3834 (Auto-Submitted, null return path, lists), RFC 6522 (multipart/report), RFC 3464 (delivery status),
RFC 8098 (receipts), RFC 2369 and 2919 (lists), RFC 5546 (calendar methods). Where no header speaks, the
subject *and* the beginning must: a voter's letter is never taken for a machine's because of words somewhere in it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from replacements.mail.body import Contents
from replacements.mail.charsets import decoded
from replacements.mail.cues import pattern
from replacements.mail.headers import addresses_in, header_text
from replacements.mail.letter import Machine, PartLabel, Sender, SenderCheck, TextPart
from replacements.mail.structure import Allowance, Node, transfer_decoded

_BEGINNING = 600  # characters of new text that count as its beginning
_FIELD = 1000  # bytes of a field that is one word or one address
_LIST_FIELDS = ("list-id", "list-unsubscribe", "list-post", "list-help", "list-subscribe", "list-owner", "list-archive")
_REPLY_FIELDS = ("x-autoreply", "x-autorespond", "x-autoresponder", "x-auto-reply", "x-autoreply-from", "x-vacation")


def machine_of(
    root: Node,
    sender: Sender,
    subject: str,
    parts: Sequence[TextPart],
    contents: Contents,
    office_addresses: frozenset[str],
    allowance: Allowance,
) -> Machine | None:
    """The most telling reason to take this for machine mail, or None: a person wrote it."""
    if sender.address and sender.address in office_addresses and sender.check is not SenderCheck.FAIL:
        return Machine("own", f"It comes from the office's own address, {sender.address}.")
    beginning = _beginning(parts)
    return (
        _report(root, allowance)
        or _calendar(subject, beginning, contents)
        or _by_header(root, sender, subject, beginning)
        or _old_bounce(sender, subject, beginning, proven=False, encloses=bool(contents.forwarded))
        or _receipt(subject, beginning)
        or _challenge(subject, beginning)
        or _out_of_office(root, subject, beginning)
        or _acknowledgement(sender, subject, parts)
    )


def delivery_actions(root: Node, allowance: Allowance) -> list[tuple[str, str]]:
    """(recipient, action) of every recipient in a delivery status report (RFC 3464 section 2.3), lower case."""
    found: list[tuple[str, str]] = []
    for node in _nodes(root):
        if node.content_type not in ("message/delivery-status", "message/global-delivery-status"):
            continue
        text = decoded(transfer_decoded(node, allowance, 200_000))[0]
        for group in re.split(r"\n[ \t]*\n", text):
            fields = {
                name.strip().lower(): value.strip()
                for name, colon, value in (line.partition(":") for line in re.sub(r"\n[ \t]+", " ", group).split("\n"))
                if colon
            }
            recipient = fields.get("original-recipient") or fields.get("final-recipient", "")
            action = re.sub(r"[^a-z].*", "", fields.get("action", "").lower())
            if action:
                found.append((recipient.rpartition(";")[2].strip().lower(), action))
    return found


def _beginning(parts: Sequence[TextPart]) -> str:
    """The first lines as one: of the new text, and only if it stands before anything quoted."""
    if not parts or parts[0].label not in (PartLabel.NEW, PartLabel.SIGNATURE, PartLabel.DISCLAIMER):
        return ""
    first = next((part.text for part in parts if part.label is PartLabel.NEW), "")
    return " ".join(first[:_BEGINNING].split())


def _nodes(root: Node) -> list[Node]:
    """The parts of this message, without those of messages attached to it."""
    found, waiting = [], [root]
    while waiting:
        node = waiting.pop()
        found.append(node)
        waiting.extend(reversed(node.children))
    return found


def _report(root: Node, allowance: Allowance) -> Machine | None:
    """A report (RFC 6522), by itself or first in a multipart: a person's letter that encloses one is none."""
    node = root
    while node.content_type in ("multipart/mixed", "multipart/related") and node.children:
        node = node.children[0]
    if node.content_type != "multipart/report":
        return None
    kinds = {child.content_type for child in node.children}
    if node.report_type == "disposition-notification" or "message/disposition-notification" in kinds:
        return Machine("receipt", "It is a receipt (Content-Type: multipart/report, disposition notification).")
    if node.report_type in ("delivery-status", "") or "message/delivery-status" in kinds:
        actions = {action for _, action in delivery_actions(node, allowance)}
        if not actions or any(action.startswith("fail") for action in actions):
            return Machine("bounce", "It is a delivery report (Content-Type: multipart/report), Action: failed.")
        if "delayed" in actions:
            return Machine("delay", "It is a delivery report (Content-Type: multipart/report), Action: delayed.")
        return Machine("receipt", f"It is a delivery report (Content-Type: multipart/report), Action: {min(actions)}.")
    return Machine("auto_submitted", f"It is a report (Content-Type: multipart/report, {node.report_type}).")


def _calendar(subject: str, beginning: str, contents: Contents) -> Machine | None:
    if beginning.startswith("BEGIN:VCALENDAR"):
        return Machine("calendar", "The text is a calendar entry (BEGIN:VCALENDAR).")
    methods = [method for method in contents.calendar_methods if method and method != "PUBLISH"]
    if methods:
        return Machine("calendar", f"It holds a calendar message (text/calendar, METHOD:{methods[0]}).")
    files = [a for a in contents.attachments if a.content_type in ("text/calendar", "application/ics")]
    if files and (not beginning or pattern("machine", "calendar", "subject").match(subject)):
        return Machine("calendar", f"It is a calendar entry ({files[0].name}).")
    return None


def _by_header(root: Node, sender: Sender, subject: str, beginning: str) -> Machine | None:
    """What the headers say by themselves; the subject or sender may then tell more exactly what it is."""
    reason: Machine | None = None
    submitted = (
        re.sub(r"\([^)]*\)", " ", header_text(root.first("auto-submitted")[:_FIELD])).partition(";")[0].strip().lower()
    )
    precedence = header_text(root.first("precedence")).partition(";")[0].strip().lower()
    path = root.first("return-path")[:_FIELD]
    listed = next((name for name in _LIST_FIELDS if root.has(name)), "")
    replied = next(
        (n for n in _REPLY_FIELDS if root.has(n) and header_text(root.first(n)).lower() not in ("no", "false")), ""
    )
    if root.has("x-failed-recipients"):
        return Machine("bounce", "Its header names failed recipients (X-Failed-Recipients).")
    if submitted and submitted.split()[0] != "no":
        reason = Machine("auto_submitted", f"Its header says Auto-Submitted: {submitted[:60]}.")
    elif root.has("return-path") and re.sub(rb"\([^)]*\)|\s", b"", path) in (b"<>", b""):
        reason = Machine("null_return_path", "Its return path is empty (Return-Path: <>), so no answer may be sent.")
    elif listed:
        reason = Machine("list", f"It came by a mailing list ({listed.title()} in its header).")
    elif precedence in ("list", "bulk", "junk"):
        reason = Machine("list", f"Its header says Precedence: {precedence}.")
    elif replied or precedence in ("auto_reply", "auto-reply"):
        reason = Machine(
            "auto_submitted", f"Its header says that it is an automatic reply ({(replied or 'precedence').title()})."
        )
    if reason is None:
        return None
    bounce = _old_bounce(sender, subject, beginning, proven=True)
    if bounce:
        return Machine(bounce.code, f"{reason.because} {bounce.because}")
    if any(pattern("machine", "out_of_office", cue).match(subject) for cue in ("strict_subject", "subject")):
        return Machine("out_of_office", f"{reason.because} Its subject begins like an out-of-office reply.")
    return reason


def _old_bounce(
    sender: Sender, subject: str, beginning: str, *, proven: bool, encloses: bool = False
) -> Machine | None:
    """A bounce in plain text. From anybody but a post program, the subject and the words must both speak, and something
    that people do not write besides: a server's code, the returned message, or a failed address and no word of a wish.
    `proven`: a header already says that a machine sent it; `encloses`: a message is attached."""
    local = sender.address.partition("@")[0].rstrip("\\")
    subject_speaks = bool(pattern("machine", "bounce", "subject").match(subject))
    words = pattern("machine", "bounce", "beginning").search(beginning)
    daemon = bool(pattern("machine", "bounce", "daemon").match(local))
    named = pattern("machine", "bounce", "sender").match(local) or pattern("machine", "bounce", "name").search(
        sender.name
    )
    post = bool(named) and (subject_speaks or bool(words))
    beyond_people = (
        proven
        or encloses
        or bool(pattern("machine", "bounce", "code").search(beginning))
        or (bool(addresses_in(beginning)) and not _asks(beginning))
    )
    if not (daemon or post or (subject_speaks and words and beyond_people)):
        return None
    said = f"{subject} {beginning}"
    late = pattern("machine", "bounce", "delay").search(said) and not pattern("machine", "bounce", "final").search(said)
    who = (
        f"It comes from a post program ({sender.address})."
        if daemon or post
        else "It is written like a post program's notice."
    )
    return Machine("delay" if late else "bounce", f"{who} {'“' + words[0][:80] + '”' if words else ''}".strip())


def _receipt(subject: str, beginning: str) -> Machine | None:
    if not pattern("machine", "receipt", "subject").match(subject):
        return None
    words = pattern("machine", "receipt", "beginning").search(beginning)
    return (
        Machine("receipt", f"Its subject and beginning are those of a read receipt: “{words[0][:80]}”.")
        if words
        else None
    )


def _challenge(subject: str, beginning: str) -> Machine | None:
    if not pattern("machine", "challenge", "subject").search(subject):
        return None
    words = pattern("machine", "challenge", "beginning").search(beginning)
    if (
        words
        and pattern("machine", "challenge", "action").search(beginning)
        and pattern("machine", "challenge", "about").search(beginning)
    ):
        return Machine("challenge", f"It asks the sender of a message to confirm it: “{words[0][:80]}”.")
    return None


def _out_of_office(root: Node, subject: str, beginning: str) -> Machine | None:
    strict = pattern("machine", "out_of_office", "strict_subject").match(subject)
    if not strict and not pattern("machine", "out_of_office", "subject").match(subject):
        return None
    words = pattern("machine", "out_of_office", "beginning").search(beginning[:300])
    if strict and words is None and (root.has("in-reply-to") or root.has("references")):
        return Machine("out_of_office", f"Its subject begins “{strict[0]}”, and it answers a message.")
    if strict and words is None:
        words = pattern("machine", "out_of_office", "until").search(beginning) or _acknowledges(beginning)
    # What programs call themselves in a subject nobody types; "OOO: no ballot yet" a voter may.
    by_program = strict and re.search(r"auto|tự động|자동", strict[0], re.IGNORECASE)
    if words is None or (not by_program and _asks(beginning)):
        return None
    if unattended := pattern("machine", "acknowledgement", "unattended").search(beginning):
        return Machine("acknowledgement", f"It is an automatic acknowledgement: “{unattended[0][:80]}”.")
    return Machine(
        "out_of_office", f"Its subject and beginning are those of an out-of-office reply: “{words[0][:80]}”."
    )


def _acknowledges(beginning: str) -> re.Match[str] | None:
    for cue in ("beginning", "unattended", "automatic"):
        if words := pattern("machine", "acknowledgement", cue).search(beginning):
            return words
    return None


def _asks(beginning: str) -> bool:
    """A person who is away and asks for something writes of the ballot or puts a question."""
    return bool(pattern("machine", "out_of_office", "person").search(beginning))


def _acknowledgement(sender: Sender, subject: str, parts: Sequence[TextPart]) -> Machine | None:
    """An automatic acknowledgement: it says that nobody reads there or that a machine wrote, and something else agrees.
    A form on a web page that passes a person's words on names that person under Reply-To, and is none."""
    if sender.reply_to and sender.reply_to != sender.address:
        return None
    new = " ".join(
        part.text for part in parts if part.label in (PartLabel.NEW, PartLabel.SIGNATURE, PartLabel.DISCLAIMER)
    )
    text = " ".join(new[:1500].split())
    unattended = pattern("machine", "acknowledgement", "unattended").search(text)
    automatic = pattern("machine", "acknowledgement", "automatic").search(text)
    signs = [
        bool(unattended),
        bool(automatic),
        bool(pattern("machine", "acknowledgement", "subject").match(subject)),
        bool(pattern("machine", "out_of_office", "strict_subject").match(subject)),
        bool(pattern("machine", "acknowledgement", "beginning").search(text[:300])),
        bool(pattern("machine", "acknowledgement", "sender").match(sender.address.partition("@")[0])),
    ]
    words = unattended or automatic
    if words is None or sum(signs) < 2 or not _beginning(parts):
        return None
    return Machine("acknowledgement", f"It is an automatic acknowledgement: “{words[0][:80]}”.")
