"""A task ends before the queue hands it out again; what waits too long for a worker is not piled up."""

from __future__ import annotations

from datetime import timedelta

from replacements.replies import outbox, transport
from worker import watching
from worker.app import app
from worker.mailbox import connection, taking_in

# Steps of one exchange at which a slow server may use up the whole time limit: to connect, TLS, greet, sign in twice;
# then sender, recipient, the word DATA and the answer to the message (RFC 5321, section 4.5.3.2, lists them).
STEPS_TO_OPEN, STEPS_OF_A_MESSAGE = 5, 4


def test_redis_hands_a_task_out_again_only_after_the_first_copy_was_stopped() -> None:
    """Redis knows no acknowledgement: what is not acknowledged in the visibility timeout goes to another worker
    (Celery's documentation, "Using Redis", caveats)."""
    assert app.conf.task_acks_late
    assert app.conf.task_time_limit < app.conf.broker_transport_options["visibility_timeout"]


def test_a_round_of_sending_ends_within_the_time_of_a_task_and_each_reply_within_its_claim() -> None:
    one = STEPS_TO_OPEN * transport.SECONDS_TO_WAIT + STEPS_OF_A_MESSAGE * transport.SECONDS_FOR_THE_MESSAGE
    assert one < outbox.CLAIM.total_seconds()
    assert outbox.ROUND_SECONDS + one <= app.conf.task_time_limit


def test_a_look_into_the_mailbox_ends_within_the_time_of_a_task() -> None:
    assert app.conf.task_time_limit > taking_in.LONGEST_SECONDS + 5 * connection.SECONDS


def test_a_watcher_is_taken_for_dead_only_after_its_longest_look_and_its_longest_wait() -> None:
    longest = timedelta(seconds=taking_in.LONGEST_SECONDS + max(watching.RENEW_SECONDS, 1.25 * watching.LONGEST_WAIT))
    assert longest < watching.SILENT


def test_idle_is_renewed_within_nine_minutes() -> None:
    """RFC 2177, section 3, has it renewed within 29; routers forget a silent connection sooner (common practice)."""
    assert watching.RENEW_SECONDS <= 9 * 60


def test_a_standing_job_that_no_worker_took_up_is_dropped_before_it_is_due_again() -> None:
    for entry in app.conf.beat_schedule.values():
        assert entry["options"]["expires"] <= entry["schedule"]
