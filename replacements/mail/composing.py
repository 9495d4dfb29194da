"""The office's own answers as bytes: text and HTML, threaded, marked as automatic, for one recipient.

Sources: RFC 5322 section 3.6 (fields, threading), RFC 3834 section 3 (automatic responses), RFC 6532 (internationalised
addresses), RFC 3282 (Content-Language).
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from email import policy
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime

_MESSAGE_ID = re.compile(r"<[^<>\s@]{1,400}@[^<>\s@]{1,400}>")
_LANGUAGE = re.compile(r"[A-Za-z]{2,8}(?:-[A-Za-z0-9]{1,8}){0,3}")
_MAX_REFERENCES = 30
_NO_PART = re.compile(r"[\s<>()\[\],;:\\\"\x00-\x1f\x7f\ud800-\udfff]")  # of a plain address
_LONGEST_ADDRESS = 254  # RFC 3696 as corrected by its erratum 1690


@dataclass(frozen=True, slots=True)
class Attached:
    """A file that goes with a message. `content_type` as in `application/pdf`."""

    name: str
    content_type: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One message to be sent. `message_id`, `in_reply_to` and each of `references` with angle brackets; `date` aware;
    `language` as in BCP 47; `in_reply_to` empty where nothing is answered."""

    message_id: str
    sender_name: str
    sender_address: str
    to: str
    subject: str
    text: str
    html: str
    language: str
    date: datetime
    in_reply_to: str = ""
    references: tuple[str, ...] = ()
    attached: tuple[Attached, ...] = ()


def compose(outgoing: Outgoing) -> bytes:
    """The message as it goes over the wire (lines end in CRLF); the same input gives the same bytes.

    Line breaks and control characters in the name and the subject become spaces. An address, id or language that could
    bring in a header field or a second recipient is refused with `ValueError`."""
    if outgoing.date.tzinfo is None:
        raise ValueError("The date of an outgoing message needs its time zone.")
    if not _LANGUAGE.fullmatch(outgoing.language):
        raise ValueError("The language of an outgoing message is not a language tag.")
    ids = [outgoing.message_id, *outgoing.references, *([outgoing.in_reply_to] if outgoing.in_reply_to else [])]
    if not all(_MESSAGE_ID.fullmatch(one) for one in ids):
        raise ValueError("A message id is not of the form <left@right>.")
    sender, recipient = _address(outgoing.sender_name, outgoing.sender_address), _address("", outgoing.to)
    plain_ascii = all(address.addr_spec.isascii() for address in (sender, recipient)) and all(i.isascii() for i in ids)
    message = EmailMessage(policy=policy.SMTP if plain_ascii else policy.SMTPUTF8)
    message["Date"] = format_datetime(outgoing.date)
    message["From"] = sender
    message["To"] = recipient
    message["Subject"] = _one_line(outgoing.subject)
    message["Message-ID"] = outgoing.message_id
    if outgoing.in_reply_to:
        message["In-Reply-To"] = outgoing.in_reply_to
    if outgoing.references:
        message["References"] = " ".join(outgoing.references)
    message["Auto-Submitted"] = "auto-replied"
    text, html = _body(outgoing.text), _body(outgoing.html)
    message.set_content(text, subtype="plain", charset="utf-8", cte=_encoding(text))
    message.add_alternative(html, subtype="html", charset="utf-8", cte=_encoding(html))
    message["Content-Language"] = outgoing.language
    boundary = f"=_{hashlib.sha256(outgoing.message_id.encode()).hexdigest()[:40]}"
    message.set_boundary(boundary)
    for file in outgoing.attached:
        main, _, sub = file.content_type.partition("/")
        message.add_attachment(file.content, maintype=main, subtype=sub, filename=_one_line(file.name))
    if outgoing.attached:  # the texts are a part of it now, and keep the boundary that they have
        message.set_boundary(f"{boundary}-files")
    return message.as_bytes()


def thread_headers(
    message_id: str, references: Sequence[str], in_reply_to: Sequence[str]
) -> tuple[str, tuple[str, ...]]:
    """In-Reply-To and References of an answer, from the fields of the message that it answers (RFC 5322 section 3.6.4).

    Without a message id of the parent there is neither field. A very long thread keeps its first and its latest ids."""
    if not _MESSAGE_ID.fullmatch(message_id):
        return "", ()
    before = [one for one in references if _MESSAGE_ID.fullmatch(one)]
    if not references and len(in_reply_to) == 1:
        before = [one for one in in_reply_to if _MESSAGE_ID.fullmatch(one)]
    chain = [one for one in dict.fromkeys(before) if one != message_id]
    if len(chain) >= _MAX_REFERENCES:
        chain = [chain[0], *chain[-(_MAX_REFERENCES - 2) :]]
    return message_id, (*chain, message_id)


def reply_message_id(seed: str, domain: str) -> str:
    """The message id for the answer that `seed` names: the same seed always gives the same id, so that an answer that
    is sent twice after a crash is one message to its reader."""
    digest = hashlib.sha256(seed.encode()).hexdigest()[:40]
    return f"<{digest}@{ascii_domain(domain)}>"


def can_be_written_to(address: str) -> bool:
    """Whether it is one plain address to which a message can be made."""
    try:
        return len(_address("", address).addr_spec) <= _LONGEST_ADDRESS
    except ValueError:
        return False


def _address(name: str, address: str) -> Address:
    local, _, domain = address.strip().rpartition("@")
    if local and domain:
        domain = ascii_domain(domain)  # first: some letters become signs by it
    if not local or not domain or "@" in local or _NO_PART.search(local + domain):
        raise ValueError("An address of an outgoing message is not one plain mail address.")
    return Address(_one_line(name), local, domain)


def ascii_domain(domain: str) -> str:
    """A domain as servers take it. Raises ValueError where it is none."""
    try:
        return domain.encode("idna").decode("ascii").encode("idna").decode("ascii")
    except UnicodeError as error:
        raise ValueError("The domain of an address is not a domain name.") from error


def _one_line(text: str) -> str:
    return " ".join(re.sub(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+", " ", text).split()).encode("utf-8", "replace").decode()


def _encoding(text: str) -> str:
    """A transfer encoding that any mail server passes on unchanged; the readable one where most is ASCII."""
    return "quoted-printable" if sum(c.isascii() for c in text) >= 0.7 * len(text) else "base64"


def _body(text: str) -> str:
    """Line ends of one kind; half characters, which no mail can carry, are replaced."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").encode("utf-8", "replace").decode("utf-8")
    return lines if lines.endswith("\n") else f"{lines}\n"
