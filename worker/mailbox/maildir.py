"""A Maildir: new messages lie in `new/`; one that is kept moves to `cur/` with the flag S (seen).

A message in `cur/` without S is new, too: another program may have moved it before this service came by. The Maildir
belongs to this service; a person who reads there with a mail program would set S on messages that nobody has kept.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from pathlib import Path

from worker.mailbox.source import Found, MailboxTrouble, Seen

_VALIDITY = "maildir"  # names of files in a Maildir are never used again, so there is only one


class MaildirSource:
    """The Maildir in this folder, made where it is missing."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        try:
            for part in ("tmp", "new", "cur"):
                (folder / part).mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise MailboxTrouble(f"The mail folder {folder} cannot be made or opened: {error.strerror}.") from error

    @property
    def name(self) -> str:
        return f"maildir:{self._folder}"

    @property
    def told(self) -> str:
        return ""

    @property
    def at_hand(self) -> int:
        return 0

    def new_messages(self, seen: Seen) -> Iterator[Found]:
        for path in self._waiting():
            uid = path.name.partition(":")[0]
            if seen(_VALIDITY, uid):
                self._move(path)
                continue
            try:
                raw = path.read_bytes()
            except FileNotFoundError:
                continue  # moved by another reader in this moment; it is found again next time
            except OSError as error:
                raise MailboxTrouble(f"A message in {path.parent} cannot be read: {error.strerror}.") from error
            yield Found(uid, _VALIDITY, raw)

    def mark_done(self, *found: Found) -> None:
        for one in found:
            path = self._folder / "new" / one.uid
            there = path if path.exists() else self._in_cur(one.uid)
            if there is not None:
                self._move(there)

    def put_away(self) -> None:
        """Marking has moved it to `cur/` already."""

    def close(self) -> None:
        """Nothing is held open."""

    def _waiting(self) -> list[Path]:
        try:
            files = [path for path in (self._folder / "new").iterdir() if not path.name.startswith(".")]
            files += [path for path in (self._folder / "cur").iterdir() if "S" not in _flags(path)]
        except OSError as error:
            raise MailboxTrouble(f"The mail folder {self._folder} cannot be read: {error.strerror}.") from error
        return sorted((path for path in files if path.is_file()), key=_age)

    def _in_cur(self, uid: str) -> Path | None:
        return next((path for path in (self._folder / "cur").iterdir() if path.name.partition(":")[0] == uid), None)

    def _move(self, path: Path) -> None:
        flags = "".join(sorted({*_flags(path), "S"}))
        target = self._folder / "cur" / f"{path.name.partition(':')[0]}:2,{flags}"
        with contextlib.suppress(FileNotFoundError):
            try:
                path.rename(target)
            except FileNotFoundError:
                raise
            except OSError as error:
                raise MailboxTrouble(f"A message cannot be moved in {self._folder}: {error.strerror}.") from error


def _flags(path: Path) -> str:
    return path.name.partition(":2,")[2]


def _age(path: Path) -> tuple[float, str]:
    """Names begin with the second of delivery."""
    match = re.match(r"\d{1,15}(?:\.\d{1,9})?", path.name)
    return (float(match[0]) if match else 0.0, path.name)
