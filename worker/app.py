"""The Celery application: `celery -A worker worker`, with `-B` for the schedule. Redis only wakes people up."""

from __future__ import annotations

from celery import Celery
from kombu.entity import Queue

from replacements.settings import Settings
from worker.schedule import EVERY

QUEUES = {"fetch_mail": "intake", "read_message": "reading", "send_replies": "replies"}
LONGEST_TASK_SECONDS = 600

app = Celery("replacements", broker=Settings.from_environment().redis or "redis://127.0.0.1:6379/0")
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
    worker_hijack_root_logger=False,
    beat_schedule={name: {"task": name, "schedule": every.total_seconds()} for name, every in EVERY.items()},
    timezone="UTC",
)
