"""What is done at night: a backup, and the end of the retention period. Each is looked at every hour and done once; a
night that was missed is made up for, as far as nobody is kept waiting by it."""

from __future__ import annotations

from datetime import UTC, timedelta

from replacements.backups import taking
from replacements.requests import office, purging
from replacements.rules.calendar import local
from replacements.store.csv_files import FileTrouble
from replacements.store.rewriting import rewrite
from replacements.store.tables import Condition
from worker.jobs import Work, note

NIGHT = range(1, 5)  # hours at the office
BACKUP, RETENTION = "backup", "retention"
SAME_NIGHT = timedelta(hours=5)
MISSED = timedelta(hours=30)  # after which a backup is not put off until the night


def back_up(work: Work) -> bool:
    """Write the night's backup into the folder that is set, and remove the oldest. Returns whether one was written."""
    folder = work.settings.backups
    if folder is None or not _is_due(work):
        return False
    try:
        folder.mkdir(parents=True, exist_ok=True)
        done = taking.take(work.database, work.settings, folder, at=work.now())
        taking.forget_old(folder, keep=work.settings.backups_kept)
    except (FileTrouble, OSError) as trouble:
        told = str(trouble) if isinstance(trouble, FileTrouble) else f"{folder}: {trouble.strerror}."
        note(work, BACKUP, ok=False, text=f"No backup could be taken. {told}")
        return False
    wrong = f" But its books do not hold: {done.trouble[0]}" if done.trouble else ""
    note(work, BACKUP, ok=not done.trouble, text=f"{done.path.name} was written and read back.{wrong}")
    return True


def purge_past_retention(work: Work) -> int:
    """Remove what the rules let go, and write the files anew. Returns how many messages were removed."""
    if not _is_night(work):
        return 0
    done = purging.purge(work.database, at=work.now(), by="rules: retention")
    messages = done.counts["messages"]
    with work.database.read() as session:
        before = session.get(Condition, RETENTION)
    if not messages and (before is None or before.ok):
        note(work, RETENTION, ok=True, text="Nothing is past its retention period.")
        return 0
    removed = f"{done.in_words} were removed, their retention period having ended."
    note(work, RETENTION, ok=False, text=f"{removed} Their files are being written anew.")  # until that is done
    rewritten = rewrite(work.database, purging.TABLES)
    left = f" Something is left: {done.left}." if done.left else ""
    note(work, RETENTION, ok=rewritten.done and not done.left, text=f"{removed} {rewritten.text}{left}")
    return messages


def _is_night(work: Work) -> bool:
    with work.database.read() as session:
        force = office.in_force(session, at=work.now())
    at = local(force.rules, work.now()) if force is not None else work.now().astimezone(UTC)
    return at.hour in NIGHT


def _is_due(work: Work) -> bool:
    with work.database.read() as session:
        last = session.get(Condition, BACKUP)
    if last is None or not last.ok:  # a disk that was full is tried again each hour
        return True
    since = work.now() - last.at
    return since > MISSED or (since > SAME_NIGHT and _is_night(work))
