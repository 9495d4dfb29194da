"""The background work: reading the mailbox, sending the outbox, the schedule; with Celery, or in process without it."""


def __getattr__(name: str) -> object:
    """`celery -A worker` looks for `worker.celery`; nobody else should pay for importing Celery."""
    if name == "celery":
        from worker.app import app

        return app
    raise AttributeError(name)
