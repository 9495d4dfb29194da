"""Take a roll file into the database: only what differs is touched, and what was refused is told line by line.

A voter who is missing from a newer file is kept and marked inactive (their ballots and requests stay on record), and is
listed. A voter whose line was refused is left as they were.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import delete, func, insert, select, update
from sqlalchemy.orm import Session

from replacements.roll import keys as roll_keys
from replacements.roll.memory import counted_names
from replacements.roll.roll_file import RollFile, read_roll, roll_lines
from replacements.roll.stored import COLUMNS, FIELDS
from replacements.roll.types import Voter
from replacements.store.csv_files import FileTrouble, Refused
from replacements.store.tables import NameCount, VoterKey, VoterRow

__all__ = ["RollFile", "RollReport", "import_roll", "read_roll"]

BATCH = 500
MOST_MISSING = 0.5  # a file that lacks more of the roll than this is half a file, not a newer one


@dataclass(frozen=True, slots=True)
class RollReport:
    """What an import did. `left_out`: ids of voters who are no longer in the file and were marked inactive by it.

    `taken` is False where `strict` refused the whole file; nothing was changed then.
    """

    added: int = 0
    changed: int = 0
    unchanged: int = 0
    left_out: tuple[str, ...] = ()
    refused: tuple[Refused, ...] = ()
    taken: bool = True

    @property
    def touched(self) -> int:
        """How many voters were written."""
        return self.added + self.changed + len(self.left_out)


@dataclass(slots=True)
class _Work:
    session: Session
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    added: int = 0
    changed: int = 0
    unchanged: int = 0
    all_keys_anew: bool = False


def import_roll(
    session: Session,
    path: Path,
    *,
    columns: Mapping[str, str] | None = None,
    strict: bool = False,
    progress: Callable[[int], None] | None = None,
) -> RollReport:
    """Bring the stored roll to the state of the file, inside the caller's transaction.

    `columns` maps our names to the office's headings. `strict`: one bad line refuses the whole file. `progress` is
    called with the number of lines done. Raises FileTrouble for a file that cannot be used at all, has no good line,
    or that lacks more than half of the voters on record.
    """
    if strict:
        bad = tuple(line.refused for line in roll_lines(path, columns) if line.refused)
        if bad:
            return RollReport(refused=bad, taken=False)
    work = _Work(session, all_keys_anew=_keys_are_old(session))
    on_record = session.scalar(select(func.count()).select_from(VoterRow)) or 0
    refused: list[Refused] = []
    seen: set[str] = set()
    done = good = 0
    lines = roll_lines(path, columns)
    while batch := list(islice(lines, BATCH)):
        refused += [line.refused for line in batch if line.refused]
        seen.update(line.voter_id for line in batch)
        voters = [line.voter for line in batch if line.voter]
        good += len(voters)
        _take(work, voters)
        done += len(batch)
        if progress:
            progress(done)
    if not good:
        raise FileTrouble(f"{path}: no line could be taken ({len(refused)} refused). Nothing was changed.")
    left_out = _mark_left_out(work, path, seen, on_record)
    _keep_counts(work)
    return RollReport(work.added, work.changed, work.unchanged, left_out, tuple(refused))


def _take(work: _Work, voters: Sequence[Voter]) -> None:
    """Insert or update one batch, with keys and name counts."""
    ids = [voter.voter_id for voter in voters]
    query = select(*COLUMNS).where(VoterRow.voter_id.in_(ids))
    stored = {row[0]: Voter(*row) for row in work.session.execute(query)}
    new = [voter for voter in voters if voter.voter_id not in stored]
    changed = [voter for voter in voters if voter.voter_id in stored and stored[voter.voter_id] != voter]
    work.added += len(new)
    work.changed += len(changed)
    work.unchanged += len(voters) - len(new) - len(changed)
    if new:
        work.session.execute(insert(VoterRow), [_values(voter) for voter in new])
    for voter in changed:
        work.session.execute(update(VoterRow).where(VoterRow.voter_id == voter.voter_id).values(_values(voter)))
        _count(work, stored[voter.voter_id], -1)
    for voter in (*new, *changed):
        _count(work, voter, +1)
    rekey = [*new, *(v for v in changed if _other_keys(stored[v.voter_id], v))]
    if work.all_keys_anew:
        rekey = list(voters)
    _make_keys(work, rekey, fresh=not work.all_keys_anew and len(rekey) == len(new))


def _other_keys(old: Voter, new: Voter) -> bool:
    return roll_keys.voter_keys(old) != roll_keys.voter_keys(new)


def _make_keys(work: _Work, voters: Sequence[Voter], *, fresh: bool) -> None:
    if not voters:
        return
    if not fresh:
        work.session.execute(delete(VoterKey).where(VoterKey.voter_id.in_([v.voter_id for v in voters])))
    rows = [{"key": key, "voter_id": v.voter_id} for v in voters for key in sorted(roll_keys.voter_keys(v))]
    work.session.execute(insert(VoterKey), rows)


def _mark_left_out(work: _Work, path: Path, seen: set[str], on_record: int) -> tuple[str, ...]:
    """Mark voters inactive whom the file no longer has. Their keys stay: they can still be found."""
    stored = work.session.execute(select(VoterRow.voter_id, VoterRow.status)).all()
    absent = [(voter_id, status) for voter_id, status in stored if voter_id not in seen]
    active = sorted(voter_id for voter_id, status in absent if status == "active")
    if on_record and len(active) > MOST_MISSING * on_record:
        raise FileTrouble(
            f"{path}: {len(active)} of {on_record} voters on record are not in this file. That looks like a part of a "
            "roll, not a newer one. Nothing was changed. Hand in the whole file."
        )
    for some in _batches(active):
        work.session.execute(update(VoterRow).where(VoterRow.voter_id.in_(some)).values(status="inactive"))
    if work.all_keys_anew:
        for some in _batches([voter_id for voter_id, _ in absent]):
            rows = work.session.execute(select(*COLUMNS).where(VoterRow.voter_id.in_(some))).all()
            _make_keys(work, [Voter(*row) for row in rows], fresh=False)
    return tuple(active)


def _batches(ids: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(ids), BATCH):
        yield ids[start : start + BATCH]


def _count(work: _Work, voter: Voter, by: int) -> None:
    lasts, firsts = counted_names(voter)
    for part, names in (("last", lasts), ("first", firsts)):
        for name in names:
            work.counts[(part, name)] += by


def _keep_counts(work: _Work) -> None:
    """Add the differences to `name_counts`. `all` counts the voters, `keys` names the version of the keys."""
    work.counts[("all", "")] += work.added
    differing = {key: by for key, by in work.counts.items() if by}
    names = sorted(differing)
    for start in range(0, len(names), BATCH):
        some = names[start : start + BATCH]
        query = select(NameCount.part, NameCount.name, NameCount.voters).where(NameCount.name.in_([n for _, n in some]))
        stored = {(part, name): voters for part, name, voters in work.session.execute(query)}
        new = [(p, n) for p, n in some if (p, n) not in stored]
        if new:
            rows = [{"part": p, "name": n, "voters": differing[(p, n)]} for p, n in new]
            work.session.execute(insert(NameCount), rows)
        for part, name in some:
            if (part, name) in stored:
                _set_count(work.session, part, name, stored[(part, name)] + differing[(part, name)])
    if work.all_keys_anew:
        work.session.execute(delete(NameCount).where(NameCount.part == "keys"))
        work.session.execute(insert(NameCount), [{"part": "keys", "name": roll_keys.VERSION, "voters": 0}])


def _set_count(session: Session, part: str, name: str, voters: int) -> None:
    where = (NameCount.part == part, NameCount.name == name)
    if voters > 0:
        session.execute(update(NameCount).where(*where).values(voters=voters))
    else:
        session.execute(delete(NameCount).where(*where))


def _keys_are_old(session: Session) -> bool:
    """Whether the stored keys were made by another version of `keys`, or there are none yet."""
    kept = session.scalar(select(NameCount.name).where(NameCount.part == "keys"))
    return kept != roll_keys.VERSION


def _values(voter: Voter) -> dict[str, Any]:
    return {name: getattr(voter, name) for name in FIELDS}
