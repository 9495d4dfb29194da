"""Stored mail sealed (encrypted) with a key that is not in the database: who copies only the database reads no letter.

What is sealed is the raw mail, attachments and all: XSalsa20 with Poly1305, by PyNaCl's SecretBox, a fresh nonce each.
A file holds the keys, one a line, its name and 32 bytes in Base64; the last line's key seals, the others still open.

What is *not* sealed, because it is searched, joined and shown in lists: senders and subjects, what was understood of a
message (which quotes the words that decided), replies that were written, and the roll itself. Against who takes the
whole disk, encrypt the disk. Who can read the key file and the database reads everything; so keep them apart in
backups: a backup holds sealed mail as it lies in the database, and never the keys.

A name tells keys apart, and is the first 16 hexadecimal digits of the SHA-256 of the key. The keys belong to a database
(`give`), not to the process.
"""

from __future__ import annotations

import base64
import binascii
import os
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from weakref import WeakKeyDictionary

from nacl.exceptions import CryptoError
from nacl.secret import SecretBox
from nacl.utils import random
from sqlalchemy import LargeBinary, TypeDecorator
from sqlalchemy.engine import Dialect

from replacements.store.csv_files import FileTrouble

_SEALED, _AS_IT_CAME = b"\0sealed:", b"\0as it came:"  # no mail begins with a zero byte, unless somebody means harm
_NAME = 16  # letters of a key's name
HEAD = len(_SEALED) + _NAME  # bytes that tell whether and by which key something is sealed


class SealTrouble(FileTrouble):
    """Sealed mail cannot be opened, or the keys cannot be used; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Keys:
    """The keys by name, oldest first; the last one seals."""

    boxes: Mapping[str, SecretBox]

    @property
    def newest(self) -> str:
        """The name of the key that seals."""
        return list(self.boxes)[-1]


NO_KEYS = Keys({})
_given: WeakKeyDictionary[Dialect, Keys] = WeakKeyDictionary()


def give(dialect: Dialect, keys: Keys) -> None:
    """From now on this database's stored mail is sealed and opened with these keys."""
    _given[dialect] = keys


def keys_of(dialect: Dialect) -> Keys:
    return _given.get(dialect, NO_KEYS)


def read_keys(path: Path | None) -> Keys:
    """The keys in a file; none where no file is set. Raises SealTrouble."""
    if path is None:
        return NO_KEYS
    try:
        lines = path.read_text(encoding="ascii").split("\n")
    except FileNotFoundError as error:
        raise SealTrouble(
            f"REPLACEMENTS_MAIL_KEYS names {path}, which is not there. Put the key file back, or make the first key: "
            "replacements keys make"
        ) from error
    except (OSError, UnicodeDecodeError) as error:
        raise SealTrouble(f"{path}: the key file cannot be read ({type(error).__name__}).") from error
    boxes = {}
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            name, text = line.split()
            key = base64.b64decode(text, validate=True)
            if len(key) != SecretBox.KEY_SIZE or name != _name(key):
                raise ValueError
        except (ValueError, binascii.Error):
            raise SealTrouble(f"{path}, line {number}: no key. Expected a name and a key in Base64.") from None
        boxes[name] = SecretBox(key)
    if not boxes:
        raise SealTrouble(f"{path}: there is no key in this file. Make one: replacements keys make")
    return Keys(boxes)


def make_key(path: Path) -> str:
    """Add a key, which seals from now on, to a file that only its owner can read. Returns its name."""
    key = random(SecretBox.KEY_SIZE)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "ab") as file:
            file.write(f"{_name(key)} {base64.b64encode(key).decode()}\n".encode())
            file.flush()
            os.fsync(file.fileno())  # before anything is sealed with it
    except OSError as error:
        raise SealTrouble(f"{path}: cannot be written: {error.strerror}.") from error
    return _name(key)


def sealed_by(stored: bytes) -> str:
    """The name of the key that this was sealed with, from its first HEAD bytes; empty for what is not sealed."""
    return stored[len(_SEALED) : HEAD].decode("ascii", "replace") if stored.startswith(_SEALED) else ""


def head_of(name: str) -> bytes:
    """With what everything begins that this key sealed."""
    return _SEALED + name.encode()


def seal(raw: bytes, keys: Keys) -> bytes:
    """What is stored of `raw`; without keys, `raw` itself."""
    if keys.boxes:
        return head_of(keys.newest) + bytes(keys.boxes[keys.newest].encrypt(raw))
    return _AS_IT_CAME + raw if raw.startswith((_SEALED, _AS_IT_CAME)) else raw


def unseal(stored: bytes, keys: Keys) -> bytes:
    """What was sealed; what never was, as it is. Raises SealTrouble."""
    name = sealed_by(stored)
    if not name:
        return stored.removeprefix(_AS_IT_CAME)
    if name not in keys.boxes:
        raise SealTrouble(
            f"Stored mail is sealed with the key {name}, which is not among the keys of this installation. Nothing is "
            "lost: set REPLACEMENTS_MAIL_KEYS to the file that holds it, and start again."
        )
    try:
        return bytes(keys.boxes[name].decrypt(stored[HEAD:]))
    except (CryptoError, ValueError) as error:
        raise SealTrouble("Stored mail is not as it was sealed: it was changed, or is damaged.") from error


class Sealed(TypeDecorator[bytes]):
    """A column of bytes that is sealed with the keys of its database."""

    impl = LargeBinary
    cache_ok = True

    def process_bind_param(self, value: bytes | None, dialect: Dialect) -> bytes | None:
        return None if value is None else seal(value, keys_of(dialect))

    def process_result_value(self, value: bytes | None, dialect: Dialect) -> bytes | None:
        return None if value is None else unseal(value, keys_of(dialect))


def _name(key: bytes) -> str:
    return sha256(key).hexdigest()[:_NAME]
