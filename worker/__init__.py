"""The background work: reading the mailbox, sending the outbox, the schedule; with Celery, or in process without it."""


def __getattr__(name: str) -> object:
    """`celery -A worker` looks for `worker.celery`; nobody else should pay for importing Celery."""
    if name == "celery":
        from celery.signals import heartbeat_sent

        from worker.alive import beat
        from worker.app import app

        heartbeat_sent.connect(beat)
        return app
    raise AttributeError(name)
