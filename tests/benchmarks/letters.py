"""Letters of invented voters, without end and each another: what somebody wrote, signed by somebody of the roll.

The texts are those that the reading is taught with, in four languages; name, address, birth date and voter id are added
as people sign: not always all of them. Some letters come as HTML too, as most mail programs send them.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from email.message import EmailMessage
from email.utils import format_datetime
from functools import cache
from html import escape
from pathlib import Path

from replacements.roll.types import Voter

_MESSAGES = Path(__file__).parent.parent / "reading" / "messages"


@cache
def texts() -> tuple[tuple[str, str], ...]:
    """(subject, text) of every message that was written down, in the order of the files."""
    found = []
    for path in sorted(_MESSAGES.glob("written/*.jsonl")):
        for line in path.read_text(encoding="utf-8").splitlines():
            message = json.loads(line)
            found.append((str(message.get("subject") or "my ballot").replace("\n", " "), str(message["text"])))
    return tuple(found)


def letters(voters: Sequence[Voter], *, seed: int = 5, sender: str = "") -> Iterator[bytes]:
    """A letter of one voter after the other, over and over, no two alike. `sender`: all come from this address."""
    chance, number = random.Random(seed), 0
    while True:
        for voter in voters:
            number += 1
            subject, written = chance.choice(texts())
            yield letter(voter, subject, written, chance, number, sender)


def letter(voter: Voter, subject: str, written: str, chance: random.Random, number: int, sender: str = "") -> bytes:
    signed = [f"{voter.first_name} {voter.last_name}"]
    if chance.random() < 0.7:
        signed.append(", ".join(part for part in (voter.street, voter.unit, voter.city) if part))
    if chance.random() < 0.5:
        signed.append(f"born {voter.birth_date}")
    if chance.random() < 0.15:
        signed.append(f"voter id {voter.voter_id}")
    text = written + "\n\n" + "\n".join(signed) + "\n"
    message = EmailMessage()
    message["Authentication-Results"] = "mx.brackwater.example; spf=pass; dkim=pass; dmarc=pass"
    message["From"] = sender or voter.email or f"voter{voter.voter_id}@post.example"
    message["To"] = "votebymail@brackwater.example"
    message["Subject"] = subject
    message["Date"] = format_datetime(datetime.now(UTC))
    message["Message-ID"] = f"<letter-{number}-{chance.getrandbits(48):x}@post.example>"
    message.set_content(text)
    if chance.random() < 0.4:
        lines = "".join(f"<p>{escape(line)}</p>" for line in text.splitlines() if line)
        message.add_alternative(f"<html><body>{lines}</body></html>", subtype="html")
    return message.as_bytes()
