"""How often each standing job runs, in process as by Celery's schedule."""

from datetime import timedelta

EVERY: dict[str, timedelta] = {
    "fetch_mail": timedelta(seconds=10),
    "send_replies": timedelta(seconds=10),
    "close_mailings": timedelta(minutes=1),
    "check_books": timedelta(hours=6),
    "tend_waiting": timedelta(hours=6),  # nightly, and once more where a night was missed
    "send_weekly_summary": timedelta(hours=1),
    "make_ready": timedelta(hours=1),  # what pages look for
    "back_up": timedelta(hours=1),  # each is done once a night
    "purge_past_retention": timedelta(hours=1),
}
