"""The nightly look at the books: chain, signed heads, every state, the counts; and the day's head, signed and kept.

A head a day lies in the data folder, under `heads/`, outside the database. The newest is what the ledger is held
against, and a new one is signed only where it still continues that one: so each stands for all before it.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy.orm import Session

from replacements.ballots import heads
from replacements.ballots.examining import Examined, examine
from replacements.ballots.heads import Head, HeadTrouble
from replacements.settings import Settings
from replacements.store.csv_files import FileTrouble
from replacements.store.database import Database
from replacements.store.private_files import write_private

MOST_NAMED = 5


def look(database: Database, settings: Settings, *, at: datetime) -> tuple[bool, str]:
    """Examine everything, and sign the day's head. Returns whether nothing at all was found, and how it is in words.

    The words name entries and ballots, never people.
    """
    folder = settings.data / "heads"
    has_key = settings.ledger_key.exists()
    try:
        newest = _newest(folder)
        key = heads.public_half(settings.ledger_key) if has_key else None
        with database.read() as session:
            found = examine(session, signed=[newest] if newest else [], key=key)
            if has_key and not found.trouble:
                _sign(session, settings, folder, at)
    except (HeadTrouble, FileTrouble, OSError) as trouble:
        return False, f"The signed head cannot be used: {trouble}"
    return not found.trouble, _told(found, newest, has_key=has_key)


def _newest(folder: Path) -> Head | None:
    paths = sorted(folder.glob("head-*.json")) if folder.is_dir() else []
    return heads.read_head(paths[-1].read_text(encoding="utf-8"), name=paths[-1].name) if paths else None


def _sign(session: Session, settings: Settings, folder: Path, at: datetime) -> None:
    """Once a day, by UTC: what was examined is what is signed, since the session sees one state throughout."""
    path = folder / f"head-{at.astimezone(UTC).date().isoformat()}.json"
    if not path.exists():
        write_private(path, heads.sign(session, heads.read_key(settings.ledger_key), at=at).as_json())


def _told(found: Examined, newest: Head | None, *, has_key: bool) -> str:
    if not found.trouble:
        since = f", and continues the head signed on {newest.at[:10]}" if newest else ""
        key = "" if has_key else " No key signs its head yet: replacements ledger key."
        return f"The books balance. The ledger holds: {found.verdict.entries} entries{since}.{key}"
    named = " ".join(one.text for one in found.trouble[:MOST_NAMED])
    more = len(found.trouble) - MOST_NAMED
    return f"{named}{f' And {more} more.' if more > 0 else ''} Stop deciding, and see: replacements ledger verify."
