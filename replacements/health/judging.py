"""From what was measured to what is found: one function a part, each a few plain sentences. Pure.

A part is behind where something is late by more than the schedule explains, or waits for a person; broken where it does
not work at all. How late is too late stands here, and nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta

from replacements.health.types import Counted, Disk, Figures, Finding, Health, Part, State, Stored

SILENT = timedelta(minutes=15)  # the mailbox is looked at every minute at the least: one unheard of so long, stopped
READ_LATE = timedelta(minutes=15)  # a message takes milliseconds; what waits so long is not being read
SENT_LATE = timedelta(minutes=15)
TAKEN_UP_LATE = timedelta(minutes=15)  # a task that waits so long has no worker, or one that hangs
BOOKS_LATE = timedelta(hours=13)  # they are looked at every six hours: two looks were missed
BACKUP_LATE = timedelta(hours=36)  # one each night, made up for after 30 hours
CLOCK_OFF = timedelta(seconds=10)  # a cut-off is a matter of seconds
IN_THE_FUTURE = timedelta(minutes=2)
GIGABYTE = 10**9
LITTLE_SHARE, LITTLE_MOST = 0.05, 10 * GIGABYTE  # a twentieth of a disk is little, and ten gigabytes never are
NONE_LEFT = 10**8


def judge(figures: Figures) -> Health:
    """What is found, part by part. Where the database says nothing, only the machine is spoken of."""
    findings = [_database(figures), _schema(figures), _redis(figures), _queues(figures)]
    if figures.stored is not None:
        findings += [rule(figures.stored, figures) for rule in _OF_THE_WORK]
    findings.append(_disk(figures.disks))
    if figures.stored is not None:
        findings += [_clock(figures.stored, figures), _keys(figures.stored, figures), _jobs(figures.stored, figures)]
    return Health(figures.at, tuple(findings))


def silent(ok: bool, last: datetime, at: datetime) -> bool:
    """Whether a mailbox that was in order when it was last heard of has not been heard of for too long."""
    return ok and at - last > SILENT


def little(disk: Disk) -> int:
    """Below how many free bytes a disk is running full: a gigabyte, or a twentieth of it up to ten."""
    return max(GIGABYTE, int(min(LITTLE_SHARE * disk.size, LITTLE_MOST)))


def _database(figures: Figures) -> Finding:
    if figures.database_trouble:
        return Finding(
            Part.DATABASE,
            State.BROKEN,
            f"{figures.kind}: {figures.database_trouble} Mail stays on its server until it is there again.",
        )
    return Finding(Part.DATABASE, State.WORKING, f"{figures.kind} answers.")


def _schema(figures: Figures) -> Finding:
    if figures.database_trouble and figures.schema is None:
        return Finding(Part.SCHEMA, State.UNUSED, "It is not known while the database does not answer.")
    if figures.schema == figures.head:
        return Finding(Part.SCHEMA, State.WORKING, f"The database has the present schema, {figures.head}.")
    if not figures.schema_known:
        text = f"The database was made by a newer version of this program (schema {figures.schema})."
        return Finding(Part.SCHEMA, State.BROKEN, f"{text} Install that version.")
    there = figures.schema or "none"
    text = f"The database has the schema {there}, this program needs {figures.head}."
    return Finding(Part.SCHEMA, State.BROKEN, f"{text} It is brought up to date when the pages are started anew.")


def _redis(figures: Figures) -> Finding:
    if figures.redis is None:
        return Finding(Part.REDIS, State.UNUSED, "No Redis is set: the jobs run in the program of the pages.")
    if figures.redis:
        return Finding(
            Part.REDIS, State.BEHIND, f"{figures.redis} Nothing is lost: the work goes on when it is there again."
        )
    return Finding(Part.REDIS, State.WORKING, "Redis answers.")


def _queues(figures: Figures) -> Finding:
    if figures.redis is None:
        return Finding(Part.QUEUES, State.UNUSED, "No Redis is set, so no work is handed to workers.")
    if figures.redis:
        return Finding(Part.QUEUES, State.UNUSED, "It is not known while Redis does not answer.")
    said, late = [], []
    for name, count in figures.queues.items():
        if count.number:
            since = f", the oldest for {_wait(count, figures)}" if count.oldest is not None else ""
            said.append(f"Queue {name}: {_many(count.number, 'task waits', 'tasks wait')} for a worker{since}.")
        if _late(count, figures, TAKEN_UP_LATE) is State.BEHIND:
            late.append(name)
    if not said:
        return Finding(Part.QUEUES, State.WORKING, "No task waits for a worker.")
    oldest = min((one.oldest for one in figures.queues.values() if one.oldest is not None), default=None)
    if late:
        said.append(f"See whether a worker of {' and '.join(late)} runs. No work is lost: the database knows it.")
    return Finding(Part.QUEUES, State.BEHIND if late else State.WORKING, " ".join(said), oldest)


def _mailbox(stored: Stored, figures: Figures) -> Finding:
    if not stored.mailboxes:
        text = "No mailbox was read yet. If this stays so, no worker is running."
        return Finding(Part.MAILBOX, State.BEHIND if stored.rules_loaded else State.UNUSED, text)
    oldest = min(one.at for one in stored.mailboxes)
    wrong = [f"{one.name.capitalize()}: {one.text}" for one in stored.mailboxes if not one.ok]
    wrong += [
        f"{one.name.capitalize()} was not looked at for {_long(figures.at - one.at)}: the worker may have stopped. "
        "Mail is kept on its server."
        for one in stored.mailboxes
        if silent(one.ok, one.at, figures.at)
    ]
    if wrong:
        return Finding(Part.MAILBOX, State.BEHIND, " ".join(wrong), oldest)
    what = "The mailbox was" if len(stored.mailboxes) == 1 else f"All {len(stored.mailboxes)} mailboxes were"
    return Finding(Part.MAILBOX, State.WORKING, f"{what} read {_ago(oldest, figures.at)}.", oldest)


def _reading(stored: Stored, figures: Figures) -> Finding:
    count = stored.to_read
    if not count.number:
        return Finding(Part.READING, State.WORKING, "Every message that was kept has been read.")
    waits = _many(count.number, "message waits", "messages wait")
    text = f"{waits} to be read, the oldest for {_wait(count, figures)}."
    if not stored.rules_loaded:
        return Finding(Part.READING, State.UNUSED, f"{text} They are read once rules are loaded.", count.oldest)
    return Finding(Part.READING, _late(count, figures, READ_LATE), text, count.oldest)


def _set_aside(stored: Stored, _figures: Figures) -> Finding:
    every, open_ = stored.messages.get("failed", 0), stored.set_aside_open
    if open_:
        text = f"{_many(open_, 'message', 'messages')} could not be read and must be opened by a person."
        return Finding(Part.SET_ASIDE, State.BEHIND, text)
    was = f"; {every} so far were dealt with by people" if every else ""
    return Finding(Part.SET_ASIDE, State.WORKING, f"No message is set aside{was}.")


def _replies(stored: Stored, figures: Figures) -> Finding:
    said: list[str] = []
    state = State.WORKING
    if stored.sending is not None and not stored.sending.ok:
        said.append(stored.sending.text)
        state = State.BEHIND
    if failed := stored.replies.get("failed", 0):
        said.append(f"{_many(failed, 'reply', 'replies')} could not be sent and must be looked at.")
        state = State.BEHIND
    if stored.due.number:
        said.append(
            f"{_many(stored.due.number, 'reply is', 'replies are')} due, the oldest for {_wait(stored.due, figures)}."
        )
        state = State.BEHIND if _late(stored.due, figures, SENT_LATE) is State.BEHIND else state
    if stored.outbox is not None and not stored.outbox.ok:
        said.append(stored.outbox.text)
        state = State.BEHIND
    if held := stored.replies.get("held", 0):
        said.append(f"{_many(held, 'reply waits', 'replies wait')} for a mailing to go, as is right.")
    return Finding(Part.REPLIES, state, " ".join(said) or "No reply waits.", stored.due.oldest)


def _mailing(stored: Stored, figures: Figures) -> Finding:
    wrong = [f"The mailing of {_day(day)} should have closed and is open still." for day in stored.not_closed]
    wrong += [f"The mailing of {_day(day)} is closed and not signed off." for day in stored.unsigned]
    coming = [
        f"The mailing of {_day(one.goes_on)} closes in {_long(one.closes_at - figures.at)}: "
        f"{_many(one.packets, 'packet', 'packets')} in it, {_many(one.undecided, 'request', 'requests')} undecided."
        for one in stored.mailings
    ]
    if wrong:
        return Finding(Part.MAILING, State.BEHIND, " ".join([*wrong, *coming]))
    if not coming:
        return Finding(Part.MAILING, State.UNUSED, "No election is open, and no mailing is made.")
    return Finding(Part.MAILING, State.WORKING, " ".join(coming), min(one.closes_at for one in stored.mailings))


def _ledger(stored: Stored, figures: Figures) -> Finding:
    said = stored.books
    if said is None:
        text = "The ledger was not verified and the books were not reconciled yet."
        return Finding(Part.LEDGER, State.BEHIND if stored.rules_loaded else State.UNUSED, text)
    text = f"Verified and reconciled {_ago(said.at, figures.at)}. {said.text}"
    if not said.ok:
        return Finding(Part.LEDGER, State.BROKEN, text, said.at)
    late = figures.at - said.at > BOOKS_LATE
    return Finding(Part.LEDGER, State.BEHIND if late else State.WORKING, text, said.at)


def _backup(stored: Stored, figures: Figures) -> Finding:
    if not figures.backups_set:
        return Finding(Part.BACKUP, State.UNUSED, "No folder for backups is set: this service makes none by itself.")
    said = stored.backup
    if said is None:
        return Finding(Part.BACKUP, State.BEHIND, "No backup was made yet.")
    text = f"Last tried {_ago(said.at, figures.at)}. {said.text}"
    late = not said.ok or figures.at - said.at > BACKUP_LATE
    return Finding(Part.BACKUP, State.BEHIND if late else State.WORKING, text, said.at)


def _disk(disks: Sequence[Disk]) -> Finding:
    if not disks:
        return Finding(Part.DISK, State.UNUSED, "The data folder is not on this machine.")
    text = " ".join(f"{one.folder.capitalize()}: {one.free / GIGABYTE:.1f} GB free." for one in disks)
    if any(one.free < NONE_LEFT for one in disks):
        return Finding(Part.DISK, State.BROKEN, f"{text} Next to nothing can be written any more.")
    if any(one.free < little(one) for one in disks):
        return Finding(Part.DISK, State.BEHIND, f"{text} Make room before the disk is full.")
    return Finding(Part.DISK, State.WORKING, text)


def _clock(stored: Stored, figures: Figures) -> Finding:
    if stored.zone_trouble:
        return Finding(Part.CLOCK, State.BROKEN, stored.zone_trouble)
    if stored.newest_at is not None and stored.newest_at - figures.at > IN_THE_FUTURE:
        off = _long(stored.newest_at - figures.at)
        text = f"What was kept last is {off} ahead of this machine's clock: the clock is wrong, or was. Set it by NTP."
        return Finding(Part.CLOCK, State.BEHIND, text)
    if figures.apart is not None and figures.apart > CLOCK_OFF:
        text = f"The clocks of this machine and of the database differ by {_long(figures.apart)}. Set both by NTP."
        return Finding(Part.CLOCK, State.BEHIND, text)
    return Finding(Part.CLOCK, State.WORKING, "The clock and the office's time zone are in order.")


def _keys(stored: Stored, _figures: Figures) -> Finding:
    if stored.keys_trouble:
        return Finding(Part.KEYS, State.BROKEN, stored.keys_trouble)
    if not stored.sealed:
        return Finding(Part.KEYS, State.UNUSED, "Stored mail is not sealed.")
    return Finding(Part.KEYS, State.WORKING, "Stored mail is sealed, and its keys are here.")


def _jobs(stored: Stored, _figures: Figures) -> Finding:
    wrong = [one for one in stored.others if not one.ok]
    if wrong:
        said = " ".join(f"{one.name.replace('_', ' ').capitalize()}: {one.text}" for one in wrong)
        return Finding(Part.JOBS, State.BEHIND, said, min(one.at for one in wrong))
    return Finding(Part.JOBS, State.WORKING, "No other job is in trouble.")


_OF_THE_WORK: tuple[Callable[[Stored, Figures], Finding], ...] = (
    _mailbox,
    _reading,
    _set_aside,
    _replies,
    _mailing,
    _ledger,
    _backup,
)


def _late(count: Counted, figures: Figures, after: timedelta) -> State:
    return State.BEHIND if count.oldest is not None and figures.at - count.oldest > after else State.WORKING


def _wait(count: Counted, figures: Figures) -> str:
    return _long(figures.at - (count.oldest or figures.at))


def _many(number: int, one: str, more: str) -> str:
    return f"{number} {one if number == 1 else more}"


def _ago(moment: datetime, at: datetime) -> str:
    return f"{_long(at - moment)} ago"


def _long(length: timedelta) -> str:
    """A length of time as one would say it."""
    seconds = max(int(length.total_seconds()), 0)
    if seconds < 60:
        return _many(seconds, "second", "seconds")
    if seconds < 3600:
        return _many(seconds // 60, "minute", "minutes")
    if seconds < 48 * 3600:
        return _many(seconds // 3600, "hour", "hours")
    return _many(seconds // 86400, "day", "days")


def _day(day: date) -> str:
    return f"{day:%B} {day.day}"
