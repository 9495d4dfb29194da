"""Figures for monitoring, in Prometheus' text format. Every one comes from the database or the machine at the moment it
is asked for, so that it does not matter which process answers. Numbers alone: no name, no address, no words of anybody.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from prometheus_client import CollectorRegistry
from prometheus_client.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.metrics_core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from replacements.health.judging import judge
from replacements.health.types import Figures, Said, State, Stored

MEDIA_TYPE = CONTENT_TYPE_LATEST
_PREFIX = "replacements_"
MESSAGE_STATES = ("stored", "read", "failed", "filed")
REPLY_STATES = ("held", "queued", "sending", "sent", "failed", "cancelled")
REQUEST_STATES = ("waiting", "second", "asked", "done", "declined", "filed")


def exposition(figures: Figures) -> bytes:
    """The figures as they are asked for by a monitoring server."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Families(figures))
    return generate_latest(registry)


class _Families(Collector):
    def __init__(self, figures: Figures) -> None:
        self._figures = figures

    def collect(self) -> Iterator[Metric]:
        figures = self._figures
        health = judge(figures)
        order = _gauge(
            "part_in_order", "1 where this part works or is not in use, 0 where it is late or broken.", "part"
        )
        broken = _gauge("part_broken", "1 where this part does not work at all.", "part")
        for one in health.findings:
            order.add_metric([one.part.value], float(one.in_order))
            broken.add_metric([one.part.value], float(one.state is State.BROKEN))
        yield order
        yield broken
        yield from _machine(figures)
        if figures.stored is not None:
            yield from _stored(figures.stored)


def _machine(figures: Figures) -> Iterator[Metric]:
    yield _one("database_up", "1 where the database answers.", float(not figures.database_trouble))
    yield _one("schema_current", "1 where its schema is this program's.", float(figures.schema == figures.head))
    if figures.redis is not None:
        yield _one("redis_up", "1 where Redis answers; absent where none is used.", float(not figures.redis))
    waiting = _gauge("queue_tasks", "Tasks in a queue that no worker has taken up yet.", "queue")
    oldest = _gauge("queue_oldest_timestamp_seconds", "Since when the oldest of them waits; absent for none.", "queue")
    for name, count in figures.queues.items():
        waiting.add_metric([name], count.number)
        if count.oldest is not None:
            oldest.add_metric([name], count.oldest.timestamp())
    yield waiting
    yield oldest
    free = _gauge("disk_free_bytes", "Bytes free on the disk of a folder.", "folder")
    size = _gauge("disk_size_bytes", "Bytes that the disk of a folder holds in all.", "folder")
    for disk in figures.disks:
        free.add_metric([disk.folder], disk.free)
        size.add_metric([disk.folder], disk.size)
    yield free
    yield size
    if figures.apart is not None:
        seconds = figures.apart.total_seconds()
        yield _one("clock_apart_seconds", "How far the database's clock is from this machine's.", seconds)


def _stored(stored: Stored) -> Iterator[Metric]:
    mailboxes = _gauge("mailbox_last_read_timestamp_seconds", "When a mailbox was last heard of.", "mailbox")
    mailboxes_ok = _gauge("mailbox_up", "1 where a mailbox could be read when it was last tried.", "mailbox")
    for one in stored.mailboxes:
        mailboxes.add_metric([one.name], one.at.timestamp())
        mailboxes_ok.add_metric([one.name], float(one.ok))
    yield mailboxes
    yield mailboxes_ok
    yield _states("messages", "Messages that are kept, by what became of them.", stored.messages, MESSAGE_STATES)
    yield _one("messages_arrived_last_day", "Messages that came within 24 hours.", stored.arrived_last_day)
    yield _since("messages_oldest_to_read_timestamp_seconds", "message that waits to be read", stored.to_read.oldest)
    yield _one("messages_set_aside", "Unreadable messages that wait for a person.", stored.set_aside_open)
    yield _states("requests", "Requests by state.", stored.requests, REQUEST_STATES)
    yield _since("requests_oldest_timestamp_seconds", "request that waits for the staff", stored.oldest_request)
    yield _states("replies", "Replies by state.", stored.replies, REPLY_STATES)
    yield _one("replies_due", "Replies that could go now.", stored.due.number)
    yield _since("replies_oldest_due_timestamp_seconds", "reply that could go now", stored.due.oldest)
    paused = stored.sending is not None and not stored.sending.ok
    yield _one("sending_paused", "1 while the staff has stopped all sending.", float(paused))
    closes = _gauge("mailing_closes_timestamp_seconds", "When the mailing that is being filled closes.", "election")
    packets = _gauge("mailing_packets", "Packets in the mailing that is being filled.", "election")
    undecided = _gauge("mailing_undecided_requests", "Requests that may still join the mailing.", "election")
    for mailing in stored.mailings:
        closes.add_metric([mailing.election_id], mailing.closes_at.timestamp())
        packets.add_metric([mailing.election_id], mailing.packets)
        undecided.add_metric([mailing.election_id], mailing.undecided)
    yield closes
    yield packets
    yield undecided
    yield _one("mailings_not_closed", "Mailings that are open after their cut-off.", len(stored.not_closed))
    yield _one("mailings_unsigned", "Closed mailings of days gone by without two signatures.", len(stored.unsigned))
    yield CounterMetricFamily(f"{_PREFIX}ledger_entries", "Entries of the ledger.", value=stored.ledger_entries)
    yield from _said("ledger_examined", "the ledger was verified and reconciled", "nothing was wrong", stored.books)
    yield from _said("backup_tried", "a backup was last tried", "it was written and read back", stored.backup)


def _said(name: str, what: str, good: str, said: Said | None) -> Iterator[Metric]:
    """Two figures of a job that reports: when, and how. Absent before its first report."""
    if said is not None:
        yield _one(f"{name}_timestamp_seconds", f"When {what}.", said.at.timestamp())
        yield _one(f"{name}_ok", f"1 where {good}.", float(said.ok))


def _states(name: str, text: str, counts: dict[str, int], states: tuple[str, ...]) -> Metric:
    """A figure for every state, those of which there is none too: one that is absent raises no alert."""
    found = _gauge(name, text, "state")
    for state in (*states, *sorted(set(counts) - set(states))):
        found.add_metric([state], counts.get(state, 0))
    return found


def _since(name: str, what: str, moment: datetime | None) -> Metric:
    found = _gauge(name, f"Since when the oldest {what} waits; absent where none does.")
    if moment is not None:
        found.add_metric([], moment.timestamp())
    return found


def _one(name: str, text: str, value: float) -> Metric:
    return GaugeMetricFamily(f"{_PREFIX}{name}", text, value=value)


def _gauge(name: str, text: str, *labels: str) -> GaugeMetricFamily:
    return GaugeMetricFamily(f"{_PREFIX}{name}", text, labels=labels)
