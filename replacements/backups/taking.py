"""Take a backup while people and jobs go on: the database as it was at one moment, and the files beside it.

Files are copied before the database. A letter that lies unread in a Maildir copied first, and is stored in the database
copied second, is there twice and known by its fingerprint; the other way round it could be in neither.

Secrets (the passwords, the keys of the ledger, of stored mail and of cookies) are in no backup: whoever finds one has
no key. The manifest says which are needed.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from sqlalchemy import make_url, select
from sqlalchemy.orm import Session

from replacements.ballots.examining import examine
from replacements.ballots.ledger import verify
from replacements.ballots.reconciling import reconcile
from replacements.settings import Settings
from replacements.store import archive, sealed_mail, snapshot
from replacements.store.csv_files import FileTrouble
from replacements.store.database import Database
from replacements.store.tables import Election

FILES = "files"
HEADS = "heads"
_SECRETS = ("database", "mailbox_password", "outbox_password", "oidc_secret", "metrics_token")
_KEY_FILES = ("secret_file", "ledger_key", "mail_keys")
_WORKPLACE, _A_DAY = ".backup-", 24 * 3600
_NAME = "replacements-{at:%Y-%m-%dT%H%M%SZ}.tar.gz"


@dataclass(frozen=True, slots=True)
class Taken:
    """A backup that was written and read back. `trouble`: what is wrong with the books in it, if anything."""

    path: Path
    manifest: dict[str, Any]
    trouble: tuple[str, ...]

    @property
    def in_words(self) -> str:
        ledger = self.manifest["ledger"]
        size = sum(part["bytes"] for part in self.manifest["parts"])
        return (
            f"Written and read back: {self.path} ({len(self.manifest['parts'])} parts, {size / 1e6:.1f} MB before "
            f"packing). Its ledger holds {ledger['entries']} entries, head {ledger['head']}."
        )


def take(database: Database, settings: Settings, target: Path, *, at: datetime) -> Taken:
    """Write a backup to `target`, a file that is not there yet or a folder. Raises FileTrouble where that cannot be."""
    path = target / _NAME.format(at=at.astimezone(UTC)) if target.is_dir() else target
    if path.exists():
        raise FileTrouble(f"{path}: there is such a file already. Nothing was written.")
    if not path.parent.is_dir():
        raise FileTrouble(f"{path.parent}: there is no such folder. Nothing was written.")
    with workplace(path.parent) as folder:
        _copy_files(settings, folder / FILES)
        with snapshot.taken(database, folder) as (session, known):
            trouble = tuple(finding.text for finding in examine(session).trouble)
            manifest = {
                "made_at": at.astimezone(UTC).isoformat(timespec="seconds"),
                "program": _version(),
                "database": known,
                "ledger": _ledger(session),
                "books": books(session),
                "mail_keys": sorted(set(sealed_mail.by_key(session)) - {""}),
                "settings": _plain(settings),
                "secrets": _needed(settings),
            }
        written = archive.write(path, folder, manifest)
    with workplace(path.parent) as folder:
        archive.read(path, folder)
    return Taken(path, written, trouble)


def forget_old(folder: Path, *, keep: int) -> list[Path]:
    """Remove all but the newest `keep` backups that `take` has named in this folder. Returns those removed."""
    found = sorted(folder.glob("replacements-*Z.tar.gz"))
    old = found[:-keep] if keep else found
    for path in old:
        path.unlink(missing_ok=True)
    for left in folder.glob(f"{_WORKPLACE}*"):  # of one whose process was ended
        if left.is_dir() and time.time() - left.stat().st_mtime > _A_DAY:
            shutil.rmtree(left, ignore_errors=True)
    return old


def books(session: Session) -> dict[str, dict[str, int]]:
    """The counts of every election, by which a restored database is held against the one that was backed up."""
    elections = session.scalars(select(Election.id).order_by(Election.id)).all()
    return {election: asdict(reconcile(session, election).total) for election in elections}


@contextmanager
def workplace(beside: Path) -> Iterator[Path]:
    """A folder for its owner alone, on the disk where the backup lies, removed in any case."""
    try:
        folder = Path(tempfile.mkdtemp(prefix=_WORKPLACE, dir=beside))
    except OSError as error:
        raise FileTrouble(f"{beside}: nothing can be written there: {error.strerror}.") from error
    try:
        yield folder
    except OSError as error:
        if isinstance(error, FileNotFoundError):
            raise
        raise FileTrouble(f"{beside}: the work on the backup broke off: {error.strerror}.") from error
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def maildirs(settings: Settings) -> dict[str, Path]:
    """The mailbox and the folder of sent mail, where they are Maildirs on this machine."""
    named = {"mailbox": settings.mailbox, "outbox": settings.outbox}
    return {
        name: Path(address.removeprefix("maildir:"))
        for name, address in named.items()
        if address.startswith("maildir:") and " " not in address
    }


def _copy_files(settings: Settings, target: Path) -> None:
    target.mkdir()
    for path in sorted((settings.data / HEADS).glob("*.json")):
        _copy(path, target / HEADS / path.name)
    for name, file in (("weights", settings.weights_in_use()), ("roll-weights.toml", settings.roll_weights_in_use())):
        if file is not None:
            _copy(file, target / name)
    for name, folder in maildirs(settings).items():
        for place in ("new", "cur"):  # what is read while it is copied moves from the first to the second
            for path in sorted((folder / place).glob("*")):
                _copy(path, target / name / place / path.name)


def _copy(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        shutil.copyfile(source, target)
    except FileNotFoundError:  # moved in this moment, to where is looked next
        target.unlink(missing_ok=True)


def _ledger(session: Session) -> dict[str, Any]:
    verdict = verify(session)
    return {"entries": verdict.entries, "head": verdict.head, "holds": verdict.broken is None}


def _plain(settings: Settings) -> dict[str, str]:
    """The settings as they are, without secrets: to be read by whoever sets up another machine."""
    return {
        field.name: _without_password(str(getattr(settings, field.name) or ""))
        for field in fields(settings)
        if field.name not in _SECRETS
    }


def _without_password(text: str) -> str:
    if "://" not in text or " " in text:
        return text
    try:
        return make_url(text).render_as_string(hide_password=True)
    except ValueError:
        return ""


def _needed(settings: Settings) -> list[str]:
    """Names of the secrets that this office uses, which a restored one needs from elsewhere."""
    used = [name for name in _SECRETS if name != "database" and getattr(settings, name)]
    return used + [name for name in _KEY_FILES if (file := getattr(settings, name)) is not None and file.exists()]


def _version() -> str:
    try:
        return version("replacements")
    except PackageNotFoundError:
        return "unknown"
