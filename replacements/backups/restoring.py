"""Restore a backup: check every byte, refuse to write over anything, and prove what came of it.

What happened after the backup is lost from the restored office, but it happened: replies went, packets were mailed. So
sending is paused until a person lets it go on, every reply that waits is held against the folder of sent mail before it
goes, and heads that were signed later are set aside and named, with how many entries of the ledger are missing.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import delete, func, select, update
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from replacements.backups.taking import FILES, HEADS, books, maildirs, take, workplace
from replacements.ballots import ledger
from replacements.ballots.examining import examine
from replacements.ballots.heads import HeadTrouble, read_head
from replacements.replies import pausing
from replacements.replies.transport import UNCERTAIN
from replacements.settings import Settings
from replacements.store import archive, sealed_mail, snapshot
from replacements.store.archive import Archive
from replacements.store.csv_files import FileTrouble
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.sealing import SealTrouble
from replacements.store.tables import Election, Reply, SignIn

EVENT = "restored"


@dataclass(slots=True)
class Restored:
    """What came of it, in sentences. `wrong`: what a person has to look at before anybody works; often empty."""

    said: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


def restore(database: Database, settings: Settings, path: Path, *, at: datetime, overwrite: bool = False) -> Restored:
    """Put the backup `path` into `database` and the data folder. `overwrite`: even where something lies there, of which
    a backup is written beside `path` first.

    Raises FileTrouble, with nothing changed, for a backup that is damaged or does not fit, and where something would be
    written over.
    """
    if not path.is_file():
        raise FileTrouble(f"{path}: there is no such file.")
    done = Restored()
    with workplace(path.parent) as folder:
        backup = archive.read(path, folder)
        known = backup.manifest["database"]
        _refuse_another_kind(database, known["kind"], path)
        there = snapshot.holds(database)
        if there and not overwrite:
            raise FileTrouble(
                f"The database is not empty: there is something in {', '.join(there[:5])}"
                f"{' and others' if len(there) > 5 else ''}. Nothing was restored. Name an empty database in "
                "REPLACEMENTS_DATABASE, or say --overwrite: then a backup of what is there is written first."
            )
        if there:
            done.said.append(_kept(database, settings, path.parent, at))
        snapshot.put_back(database, folder, known)
        migrate(database)
        done.said.append(
            f"Restored: the backup of {backup.manifest['made_at']}, {len(backup.manifest['parts'])} parts."
        )
        _prove(database, backup, done)
        _put_files_back(backup, settings, done)
        _set_heads_aside(settings, backup.manifest["ledger"]["entries"], at, done)
        with database.write() as session:
            _be_careful(session, backup, path, at, done)
    try:
        sealed_mail.check(database)
    except SealTrouble as trouble:
        done.wrong.append(str(trouble))
    if needed := backup.manifest["secrets"]:
        done.said.append(f"No backup holds secrets. This office used: {', '.join(needed)}.")
    return done


def _refuse_another_kind(database: Database, kind: str, path: Path) -> None:
    if (kind == "sqlite") != database.is_sqlite:
        raise FileTrouble(
            f"{path}: this backup is of a {'SQLite' if kind == 'sqlite' else 'PostgreSQL'} database, and "
            "REPLACEMENTS_DATABASE names one of the other kind. Nothing was restored."
        )


def _kept(database: Database, settings: Settings, folder: Path, at: datetime) -> str:
    target = folder / f"before-restoring-{at.astimezone(UTC):%Y-%m-%dT%H%M%SZ}.tar.gz"
    try:
        migrate(database)
        return f"What was there before: {take(database, settings, target, at=at).path}"
    except DBAPIError as error:
        raise FileTrouble(
            f"What is there cannot be read, so no backup of it can be taken ({type(error).__name__}). Nothing was "
            "restored. Put it away yourself, and restore into an empty database."
        ) from error


def _prove(database: Database, backup: Archive, done: Restored) -> None:
    """Is what now lies in the database what was backed up, and do its books balance?"""
    then = backup.manifest["ledger"]
    with database.read() as session:
        found = examine(session)
        counts = books(session)
    verdict = found.verdict
    if (verdict.entries, verdict.head) != (then["entries"], then["head"]):
        done.wrong.append(
            f"The ledger is not that of the backup: {verdict.entries} entries, head {verdict.head}; the manifest says "
            f"{then['entries']}, head {then['head']}."
        )
    else:
        done.said.append(f"The ledger verifies: {verdict.entries} entries, head {verdict.head}, as in the manifest.")
    done.wrong += [one.text for one in found.trouble]
    if counts != backup.manifest["books"]:
        done.wrong.append("The counts of ballots are not those of the backup.")
    elif not found.trouble:
        done.said.append(f"The books of {len(counts)} elections balance, with the same counts as in the backup.")


def _put_files_back(backup: Archive, settings: Settings, done: Restored) -> None:
    """Beside what is there, never over it."""
    files = backup.folder / FILES
    places = {HEADS: settings.data / HEADS, **maildirs(settings)}
    for name, folder in places.items():
        for source in sorted((files / name).rglob("*")):
            if source.is_file():
                _put(source, folder / source.relative_to(files / name), done)
    for folder in maildirs(settings).values():
        if folder.is_dir():  # a Maildir has all three, or programs refuse it
            for place in ("new", "cur", "tmp"):
                (folder / place).mkdir(exist_ok=True)
    for name, target in (("weights", settings.weights), ("roll-weights.toml", settings.roll_weights)):
        if target is not None and (files / name).exists():
            _put(files / name, target, done)


def _put(source: Path, target: Path, done: Restored) -> None:
    if target.exists():
        if archive.digest(source) != archive.digest(target):
            done.said.append(f"Left as it is, though the backup has another: {target}")
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(source, target)
    target.chmod(0o600)


def _set_heads_aside(settings: Settings, entries: int, at: datetime, done: Restored) -> None:
    """Heads that were signed after the backup prove entries that are no longer there."""
    aside = settings.data / HEADS / f"before-restoring-{at.astimezone(UTC):%Y-%m-%dT%H%M%SZ}"
    most = 0
    for path in sorted((settings.data / HEADS).glob("head-*.json")):
        try:
            head = read_head(path.read_text(encoding="utf-8"), name=path.name)
        except (HeadTrouble, OSError, UnicodeDecodeError):
            continue  # the nightly look tells
        if head.entries > entries:
            most = max(most, head.entries)
            aside.mkdir(exist_ok=True)
            path.replace(aside / path.name)
    if most:
        done.wrong.append(
            f"The ledger had at least {most} entries when a head was signed after this backup: {most - entries} or "
            f"more are lost. Those heads are kept in {aside}. Hold hand-overs and mailings since then against paper."
        )


def _be_careful(session: Session, backup: Archive, path: Path, at: datetime, done: Restored) -> None:
    """What may have happened since the backup must not happen twice, and goes on record."""
    made_at = backup.manifest["made_at"]
    session.execute(delete(SignIn))
    waiting = update(Reply).where(Reply.state.in_(("held", "queued", "sending")))
    session.execute(waiting.values(error=f"{UNCERTAIN}the office was restored from a backup of {made_at}."))
    replies = session.scalar(select(func.count()).where(Reply.state.in_(("held", "queued", "sending")))) or 0
    pausing.pause(session, by="the restoring of a backup", why=f"replies may have gone after {made_at}", at=at)
    election = session.scalars(select(Election.id).order_by(Election.held_on.desc()).limit(1)).first()
    if election is not None:
        details = {"made_at": made_at, "sha256": archive.digest(path), "entries": backup.manifest["ledger"]["entries"]}
        ledger.append(session, event=EVENT, election_id=election, by="command line", at=at, details=details)
    done.said.append(
        f"Sending is paused, and everybody signs in anew. {replies} replies wait; each that may have gone after the "
        "backup is looked for in the folder of sent mail first. Let them go on the page Health."
    )
