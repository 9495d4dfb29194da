"""A signed head: how long the ledger was at a moment and the hash of its last entry, signed with the office's key.

Printed or kept outside the database, it shows later whether the ledger still continues what it was then: nothing before
the head can be changed, removed or put in between without it. `rungs` are hashes on the way, by which a chain that
somebody calculated anew is told to a stretch of entries, or to the entry where a head has a rung for each.

The signature is Ed25519 (RFC 8032) over the canonical JSON of the head without its signature. The key is a file that
only its owner can read: whoever can change the database and has the key as well can sign anything, so keep printed
heads elsewhere.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from nacl.exceptions import BadSignatureError
from nacl.signing import SigningKey, VerifyKey
from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots.ledger import BEFORE_THE_FIRST, Verdict, canonical, moment, verify
from replacements.store.private_files import write_private
from replacements.store.tables import LedgerEntry

FORM = "ledger head 1"
RUNG_EVERY = 100


class HeadTrouble(Exception):
    """A key or a head that cannot be used, in plain words."""


@dataclass(frozen=True, slots=True)
class Head:
    """`entries`: how many there are; `hash`: of the last; `at`: when it was signed, in UTC; `key`: who can check it.

    `rungs`: (number, hash) of entries on the way, in their order.
    """

    entries: int
    hash: str
    at: str
    key: str
    signature: str
    rungs: tuple[tuple[int, str], ...] = ()

    def signed_text(self) -> str:
        """What the signature is over."""
        return canonical({"form": FORM, **{name: value for name, value in asdict(self).items() if name != "signature"}})

    def as_json(self) -> str:
        """The head as a file."""
        return json.dumps({"form": FORM, **asdict(self)}, indent=1, ensure_ascii=False) + "\n"


def make_key(path: Path) -> str:
    """Make the office's key in a file that only its owner can read. Returns the public half, in hexadecimal.

    Never in place of one that is there: heads that it signed could no longer be checked.
    """
    if path.exists():
        raise HeadTrouble(f"{path}: there is a key already. Keep it: the heads that it signed are checked by it.")
    key = SigningKey.generate()
    write_private(path, bytes(key).hex() + "\n")
    return bytes(key.verify_key).hex()


def read_key(path: Path) -> SigningKey:
    """The office's key. Raises HeadTrouble where there is none, or where others could read it."""
    try:
        if path.stat().st_mode & 0o077:
            raise HeadTrouble(
                f"{path}: others can read this key. Take their rights away (chmod 600), or make a new one."
            )
        return SigningKey(bytes.fromhex(path.read_text(encoding="ascii").strip()))
    except FileNotFoundError as missing:
        raise HeadTrouble(f"{path}: there is no key yet. Make one: replacements ledger key") from missing
    except OSError as trouble:
        raise HeadTrouble(f"{path}: the key cannot be read: {trouble.strerror}.") from trouble
    except (ValueError, TypeError) as wrong:  # also nacl's own, which are ValueErrors and TypeErrors
        raise HeadTrouble(f"{path}: this is no key. Expected 64 hexadecimal digits.") from wrong


def public_half(path: Path) -> str:
    """The half of the office's key that may be shown to everybody, in hexadecimal."""
    return bytes(read_key(path).verify_key).hex()


def sign(session: Session, key: SigningKey, *, at: datetime, every: int = RUNG_EVERY) -> Head:
    """Sign the ledger as it is, with a rung every so many entries (1: each entry can be told later).

    It says what is there, not that it is in order: verify the ledger before.
    """
    if every < 1:
        raise ValueError("rungs stand an entry apart or more")
    last = session.execute(select(LedgerEntry.seq, LedgerEntry.hash).order_by(LedgerEntry.seq.desc()).limit(1)).first()
    entries, digest = (last.seq, last.hash) if last else (0, BEFORE_THE_FIRST)
    rows = session.execute(
        select(LedgerEntry.seq, LedgerEntry.hash)
        .where(LedgerEntry.seq % every == 0, LedgerEntry.seq < entries)
        .order_by(LedgerEntry.seq)
    )
    rungs = tuple((seq, its_hash) for seq, its_hash in rows)
    head = Head(entries, digest, moment(at), bytes(key.verify_key).hex(), "", rungs)
    signature = key.sign(head.signed_text().encode()).signature
    return Head(**{**{name: getattr(head, name) for name in Head.__slots__}, "signature": signature.hex()})


def read_head(text: str, *, name: str) -> Head:
    """A head from a file's text. Raises HeadTrouble for what is no head, or is not as it was signed."""
    try:
        data: dict[str, Any] = json.loads(text)
        if data.pop("form") != FORM:
            raise ValueError("form")
        rungs = tuple((int(seq), str(digest)) for seq, digest in data.pop("rungs"))
        head = Head(**data, rungs=rungs)
        if not isinstance(head.entries, int) or head.entries < 0 or len(head.hash) != 64:
            raise ValueError("entries")
        VerifyKey(bytes.fromhex(head.key)).verify(head.signed_text().encode(), bytes.fromhex(head.signature))
    except BadSignatureError as changed:
        raise HeadTrouble(f"{name}: its signature does not fit: this file is not as it was signed.") from changed
    except (ValueError, TypeError, KeyError, AttributeError) as wrong:
        raise HeadTrouble(f"{name}: this is no signed head of a ledger.") from wrong
    return head


def compare(session: Session, head: Head, *, key: str | None) -> Verdict:
    """Whether the ledger of now still continues the head signed then; where not, `broken` names the entry.

    `key`: the public half of the office's key. Raises HeadTrouble where another key signed: such a head proves nothing.
    None: any key will do, and the caller says by which it was signed.
    """
    if key is not None and head.key != key:
        raise HeadTrouble(
            f"This head was signed with another key ({fingerprint(head.key)}) than the office's ({fingerprint(key)})."
        )
    return verify(session, anchor=(head.entries, head.hash), rungs=head.rungs)


def typed(entries: int, digest: str) -> tuple[int, str]:
    """A head as typed from paper, without its blanks. Raises HeadTrouble for what cannot be one."""
    bare = "".join(digest.split()).lower()
    if entries < 0 or len(bare) != 64 or set(bare) - set("0123456789abcdef"):
        raise HeadTrouble("A head is a number of entries, and a hash of 64 digits (0 to 9, a to f).")
    return entries, bare


def in_groups(digest: str) -> str:
    """A hash in groups of eight, to be read from paper."""
    return " ".join(digest[start : start + 8] for start in range(0, len(digest), 8))


def fingerprint(key: str) -> str:
    """The first 16 digits of a public key's SHA-256, in groups of four: enough to tell an office's keys apart."""
    digest = sha256(bytes.fromhex(key)).hexdigest()[:16]
    return " ".join(digest[start : start + 4] for start in range(0, 16, 4))
