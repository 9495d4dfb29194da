"""The background work: reading the mailbox, sending the outbox, the schedule; with Celery, or in process without it."""
