"""The demonstration's mail: templates of people's voices, filled with voters of the invented county.

A template (`mails/*.txt`) is a few lines `name: value`, a blank line, and the words. Values and words may name what is
known of the voter in the role (`$first`, `$home`, `$born_us`, …) and of a second one (`$other_first`, …).

| line | meaning | when left out |
|---|---|---|
| voter, other | roles of the county's cast | nobody |
| days | days before now at which it came | 1 |
| subject | | none |
| name, from | as in the From field | the voter's; the address on file, else one that is not on file |
| auth | what the office's server found: pass, fail, none | pass |
| answers | the template whose mail this one answers | nothing |
| attach | file names of pictures, separated by commas | none |
| hidden | words that the HTML part hides | no HTML part |
| header | a further field, `Name: value`; may be repeated | |
| report | makes a delivery report of it: failed or delayed | |
"""

from __future__ import annotations

import hashlib
import struct
import tomllib
import zlib
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from email.headerregistry import Address
from email.message import EmailMessage, MIMEPart
from email.policy import SMTP
from email.utils import format_datetime
from html import escape
from pathlib import Path
from string import Template

from replacements.demo.ballots import BallotLine
from replacements.demo.county import People, plain_letters
from replacements.replies.calendar_words import short_day
from replacements.roll.types import Voter

MAILS = Path(__file__).parent / "mails"
SERVER = "mx.saltmarrow.example"
_PEOPLE = Path(__file__).parent / "people"


@dataclass(frozen=True, slots=True)
class Arrived:
    """A mail as the office's server put it into the mailbox."""

    name: str  # the template's
    at: datetime
    raw: bytes


@dataclass(slots=True)
class _Sheet:
    """A template, read."""

    name: str
    values: dict[str, str] = field(default_factory=dict)
    headers: list[tuple[str, str]] = field(default_factory=list)
    words: str = ""


def letters(people: People, ballots: list[BallotLine], *, to: str, at: datetime) -> list[Arrived]:
    """All the demonstration's mail, oldest first, as having come in the days before `at`."""
    sheets = {path.stem: _read(path) for path in sorted(MAILS.glob("*.txt"))}
    live = {line.voter_id: line.ballot_number for line in ballots if line.state != "voided"}
    nicknames = tomllib.loads((_PEOPLE / "names.toml").read_text("utf-8"))["nicknames"]
    arrived = []
    for sheet in sheets.values():
        facts: dict[str, str] = {"office": to}
        for role, prefix in (("voter", ""), ("other", "other_")):
            if role in sheet.values:
                voter = people.voter(sheet.values[role])
                nick = nicknames.get(voter.first_name, [voter.first_name])[0]
                facts |= {f"{prefix}{k}": v for k, v in _facts(voter, live.get(voter.voter_id, ""), nick).items()}
        came = at - timedelta(days=float(sheet.values.get("days", "1")))
        came = came.replace(microsecond=0)
        arrived.append(Arrived(sheet.name, came, _mail(sheet, facts, to=to, came=came)))
    return sorted(arrived, key=lambda mail: (mail.at, mail.name))


def _read(path: Path) -> _Sheet:
    head, _, words = path.read_text(encoding="utf-8").partition("\n\n")
    sheet = _Sheet(path.stem, words=words)
    for line in head.splitlines():
        name, colon, value = line.partition(":")
        if not colon:
            raise ValueError(f"{path.name}: not a line of the form 'name: value': {line!r}")
        if name == "header":
            field_name, _, field_value = value.strip().partition(":")
            sheet.headers.append((field_name, field_value.strip()))
        else:
            sheet.values[name] = value.strip()
    return sheet


def _facts(voter: Voter, ballot: str, nick: str) -> dict[str, str]:
    """What a mail may say of a voter, in the forms in which people say it."""
    born = date.fromisoformat(voter.birth_date)
    apart = f"{plain_letters(voter.first_name)}.{plain_letters(voter.last_name)}@ownmail.example"
    return {
        "first": voter.first_name,
        "nick": nick,
        "middle": voter.middle_name,
        "initial": f"{voter.middle_name[:1]}." if voter.middle_name else "",
        "last": voter.last_name,
        "former": voter.former_last_name,
        "suffix": voter.suffix,
        "full": voter.full_name,
        "home": " ".join(part for part in (voter.street, voter.unit) if part),
        "street": voter.street,
        "city": voter.city,
        "state": voter.state,
        "zip": voter.zip,
        "mail_street": voter.mail_street,
        "mail_city": voter.mail_city,
        "voter_id": voter.voter_id,
        "ballot": ballot,
        "phone": voter.phone or "(802) 555-0188",
        "mail": voter.email or apart,
        "apart": apart,
        "born_iso": voter.birth_date,
        "born_us": f"{born.month}/{born.day}/{born.year}",
        "born_short": f"{born.month}-{born.day}-{born.year % 100:02d}",
        "born_long": f"{born:%B} {born.day}, {born.year}",
        "born_day_first": f"{born.day:02d}/{born.month:02d}/{born.year}",
        "born_es": f"{short_day(born, 'es')} de {born.year}",
        "born_ko": f"{born.year}년 {born.month}월 {born.day}일",
        "born_vi": f"{born.day}-{born.month}-{born.year}",
    }


def _mail(sheet: _Sheet, facts: dict[str, str], *, to: str, came: datetime) -> bytes:
    values = {name: Template(value).substitute(facts) for name, value in sheet.values.items()}
    address = values.get("from", facts.get("mail", "somebody@ownmail.example"))
    name = values.get("name", " ".join(x for x in (facts.get("first", ""), facts.get("last", "")) if x))
    domain = address.rpartition("@")[2]
    message = EmailMessage(policy=SMTP)
    message["Return-Path"] = "<>" if "report" in values else f"<{address}>"
    message["Authentication-Results"] = _found(values.get("auth", "pass"), domain)
    message["Received"] = f"from mail.{domain} by {SERVER} with ESMTPS; {format_datetime(came)}"
    local = address.rpartition("@")[0]
    message["From"] = Address(name, local, domain)
    message["To"] = to
    message["Subject"] = values.get("subject", "")
    message["Date"] = format_datetime(came - timedelta(seconds=9))
    message["Message-ID"] = _message_id(sheet.name)
    if "answers" in values:
        message["In-Reply-To"] = message["References"] = _message_id(values["answers"])
    for field_name, value in sheet.headers:
        message[field_name] = Template(value).substitute(facts)
    words = Template(sheet.words).substitute(facts)
    if "report" in values:
        _report(message, words, values["report"], facts.get("mail", "nobody@ownmail.example"))
    else:
        _body(message, words, values)
        if message.is_multipart():
            message.set_boundary(f"=_{hashlib.sha256(sheet.name.encode()).hexdigest()[:24]}")
    return message.as_bytes()


def _body(message: EmailMessage, words: str, values: dict[str, str]) -> None:
    message.set_content(words)
    if "hidden" in values:
        shown = "".join(f"<p>{escape(part)}</p>" for part in words.strip().split("\n\n"))
        hidden = f'<div style="display:none;font-size:0">{escape(values["hidden"])}</div>'
        message.add_alternative(f"<html><body>{shown}{hidden}</body></html>", subtype="html")
    for picture in filter(None, (name.strip() for name in values.get("attach", "").split(","))):
        message.add_attachment(_grey_picture(), maintype="image", subtype="png", filename=picture)


def _report(message: EmailMessage, words: str, action: str, recipient: str) -> None:
    """A delivery report (RFC 3464): words for people, and the same for machines."""
    text = MIMEPart(policy=SMTP)
    text.set_content(words)
    server, about = MIMEPart(policy=SMTP), MIMEPart(policy=SMTP)
    server["Reporting-MTA"] = f"dns; {SERVER}"
    about["Final-Recipient"] = f"rfc822; {recipient}"
    about["Action"] = action
    about["Status"] = "5.1.1" if action == "failed" else "4.4.1"
    status = MIMEPart(policy=SMTP)
    status["Content-Type"] = "message/delivery-status"
    status.set_payload([server, about])
    message["Content-Type"] = 'multipart/report; report-type="delivery-status"; boundary="=_the-report"'
    message["MIME-Version"] = "1.0"
    message.set_payload([text, status])


def _found(result: str, domain: str) -> str:
    if result == "none":
        return f"{SERVER}; none"
    if result == "fail":
        return f"{SERVER}; spf=fail smtp.mailfrom={domain}; dkim=none; dmarc=fail header.from={domain}"
    return f"{SERVER}; spf=pass smtp.mailfrom={domain}; dkim=pass header.d={domain}; dmarc=pass header.from={domain}"


def _message_id(name: str) -> str:
    return f"<{hashlib.sha256(name.encode()).hexdigest()[:20]}@ownmail.example>"


def _grey_picture() -> bytes:
    """A grey square as PNG: the demonstration shows that a picture came, never what a ballot looks like."""
    side = 48
    rows = (b"\x00" + b"\xb4" * side) * side

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
