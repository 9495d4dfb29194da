"""The Celery application: `celery -A worker worker`, with `-B` for the schedule. Redis only wakes people up."""

from __future__ import annotations

import time
from typing import Any

import holidays.countries  # noqa: F401 - loaded with the first rules otherwise, by each process for itself
import structlog
from celery import Celery
from celery.signals import before_task_publish, worker_init
from kombu.entity import Queue

from replacements.health.types import HANDED_OUT
from replacements.reading import learned
from replacements.reading.reader import warm
from replacements.roll import parameters
from replacements.settings import Settings
from replacements.store.sealing import SealTrouble, read_keys
from worker.schedule import EVERY
from worker.settling import settle

QUEUES = {"fetch_mail": "intake", "read_message": "reading", "read_waiting": "reading", "send_replies": "replies"}
LONGEST_TASK_SECONDS = 600

_settings = Settings.from_environment()
try:  # before Celery makes its processes, which then share them
    learned.use(_settings.weights_in_use())
    parameters.use(_settings.roll_weights_in_use())
    warm()
    read_keys(_settings.mail_keys)
except (learned.WeightsRefused, parameters.WeightsTrouble, SealTrouble) as refused:  # worse than none: other weights
    raise SystemExit(f"The worker does not start. {refused}") from refused
if _settings.weights is not None and _settings.weights_in_use() is None:
    structlog.get_logger().warning("weights not there yet: reading by the package's own", file=str(_settings.weights))
# A process that has grown so large is replaced once its task is done. One that only reads mail stays far below.
LARGEST_PROCESS_KB = 290_000

app = Celery("replacements", broker=_settings.redis or "redis://127.0.0.1:6379/0")
app.conf.update(
    imports=("worker.tasks",),
    task_default_queue="nightly",
    task_routes={name: {"queue": queue} for name, queue in QUEUES.items()},
    task_queues=[Queue(name) for name in (*QUEUES.values(), "nightly")],
    task_acks_late=True,  # a task that dies with its worker is handed out again; every task may run twice
    task_reject_on_worker_lost=True,
    task_time_limit=LONGEST_TASK_SECONDS,
    broker_transport_options={"visibility_timeout": LONGEST_TASK_SECONDS * 2},
    broker_connection_retry_on_startup=True,
    worker_prefetch_multiplier=1,
    worker_max_memory_per_child=LARGEST_PROCESS_KB,
    worker_hijack_root_logger=False,
    beat_schedule={
        # One that no worker took up before the next is due is not wanted any more: they would only pile up.
        name: {"task": name, "schedule": every.total_seconds(), "options": {"expires": every.total_seconds()}}
        for name, every in EVERY.items()
    },
    beat_scheduler="worker.steady_schedule:SteadyScheduler",
    timezone="UTC",
)


@before_task_publish.connect
def say_when(headers: dict[str, Any] | None = None, **_: Any) -> None:
    """A task carries when it was handed out, so that how long the oldest waits can be seen in its queue."""
    if headers is not None:
        headers[HANDED_OUT] = time.time()


@worker_init.connect
def started(**_: Any) -> None:
    """When the tasks are imported and no process is made yet."""
    settle()
