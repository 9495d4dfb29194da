"""An office where all is well, as it is measured; a test changes the one figure that it is about."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from replacements.health.judging import judge
from replacements.health.types import QUEUES, Counted, Disk, Figures, Finding, NextMailing, Part, Said, Stored

NOW = datetime(2026, 10, 14, 14, 30, tzinfo=UTC)
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
GIGABYTE = 10**9

WORK = Stored(
    rules_loaded=True,
    mailboxes=(Said("mailbox", True, "The mailbox was read.", NOW - MINUTE),),
    outbox=Said("outbox", True, "Nothing waits.", NOW - MINUTE),
    sending=None,
    books=Said("reconciliation", True, "The books balance.", NOW - 2 * HOUR),
    backup=Said("backup", True, "It was written and read back.", NOW - 12 * HOUR),
    others=(),
    messages={"read": 40},
    arrived_last_day=12,
    to_read=Counted(),
    set_aside_open=0,
    requests={"waiting": 3, "done": 30},
    oldest_request=NOW - 3 * HOUR,
    replies={"sent": 25},
    due=Counted(),
    mailings=(NextMailing("2026-11-03-general", date(2026, 10, 14), NOW + 3 * HOUR, 7, 2),),
    not_closed=(),
    unsigned=(),
    ledger_entries=180,
    newest_at=NOW - MINUTE,
    zone_trouble="",
    keys_trouble="",
    sealed=True,
)
ALL_WELL = Figures(
    at=NOW,
    kind="PostgreSQL",
    database_trouble="",
    schema="0013",
    head="0013",
    schema_known=True,
    redis="",
    disks=(Disk("data", 60 * GIGABYTE, 100 * GIGABYTE),),
    backups_set=True,
    apart=timedelta(),
    stored=WORK,
    queues=dict.fromkeys(QUEUES, Counted()),
)


def where_work(**changed: Any) -> Figures:
    """All is well, but for this in what the database says."""
    return replace(ALL_WELL, stored=replace(WORK, **changed))


def where(**changed: Any) -> Figures:
    """All is well, but for this."""
    return replace(ALL_WELL, **changed)


def found(figures: Figures, part: Part) -> Finding:
    """What is found about one part."""
    return next(one for one in judge(figures).findings if one.part is part)
