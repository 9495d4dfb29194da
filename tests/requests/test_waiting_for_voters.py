"""Requests that wait for a voter: one reminder, then closed by the office's own rule; never over a voter's answer."""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta

import pytest
from sqlalchemy import select

from replacements.ballots import ledger
from replacements.requests import deciding, office, waiting
from replacements.requests.waiting import Overview, Tended
from replacements.rules.office import parse_rules
from replacements.store.database import Database
from replacements.store.tables import LedgerEntry, Reply, Request
from tests.requests.conftest import MONDAY, RULES, OfficeAtWork, set_up
from tests.rules.test_office_rules import mistakes_of

ON = (
    RULES
    + """
[waiting]
statement = { remind_after_days = 4, lapse_after_days = 10 }
details = { remind_after_days = 3, lapse_after_days = 8 }
"""
)
NEVER_CAME = (
    "My ballot never came in the mail. Please send me one.\n\n"
    "Temi Oyelowa, 220 Ferry Lane Apt 4, Saltgrass, born July 19, 1990\n"
)
TEMI = "Temi Oyelowa <temi@post.example>"


@pytest.fixture
def reminding(database: Database) -> OfficeAtWork:
    """An office that reminds and closes, on both databases."""
    return set_up(database, rules=ON)


def sent(at_work: OfficeAtWork, at: datetime) -> None:
    """Everything in the outbox goes out."""
    with at_work.database.write() as session:
        for reply in session.scalars(select(Reply).where(Reply.state == "queued")):
            reply.state, reply.sent_at, reply.attempts = "sent", at, 1


def asked(at_work: OfficeAtWork, *, at: datetime = MONDAY, text: str = NEVER_CAME, sender: str = TEMI) -> Request:
    """A request whose question went out."""
    (request,) = at_work.receive(text, sender=sender, at=at)
    done = deciding.approve(at_work.database, request.id, version=request.version, by="clara", roles=("clerk",), at=at)
    assert done.state == "asked"
    sent(at_work, at)
    return at_work.request(request.id)


def tend(at_work: OfficeAtWork, days: float, start: datetime = MONDAY) -> Tended:
    done = waiting.tend(at_work.database, now=start + timedelta(days=days))
    sent(at_work, start + timedelta(days=days))
    return done


def replies(at_work: OfficeAtWork, request: Request) -> list[Reply]:
    with at_work.database.read() as session:
        return list(session.scalars(select(Reply).where(Reply.request_id == request.id).order_by(Reply.id)))


def events(at_work: OfficeAtWork, name: str) -> list[dict[str, object]]:
    with at_work.database.read() as session:
        assert ledger.verify(session).broken is None
        return [json.loads(e.details) for e in session.scalars(select(LedgerEntry).where(LedgerEntry.event == name))]


def test_a_statement_is_reminded_of_once_and_then_the_request_is_closed(reminding: OfficeAtWork) -> None:
    request = asked(reminding)
    assert request.proposal == "statement_first"
    assert tend(reminding, 3) == Tended(0, 0)
    assert tend(reminding, 4) == Tended(1, 0)
    assert tend(reminding, 4.2) == tend(reminding, 9) == Tended(0, 0)
    assert tend(reminding, 10) == Tended(0, 1)
    assert tend(reminding, 11) == Tended(0, 0)
    closed = reminding.request(request.id)
    assert (closed.state, closed.decision, closed.decided_by) == ("declined", "lapsed", "rules: waiting")
    assert closed.decision_note == (
        "Asked for the statement on October 5, reminded on October 9, and not answered: closed by rule."
    )
    assert [r.template for r in replies(reminding, request)] == ["statement_first", "remind_statement", "lapsed"]
    assert "October 15" in replies(reminding, request)[1].text
    assert reminding.ballots("61000005") == {"5100005": "issued"}
    assert events(reminding, "request_reminded") == [{"request": request.id, "waited_for": "statement"}]
    assert events(reminding, "request_lapsed") == [{"request": request.id, "waited_for": "statement"}]


def test_details_have_days_of_their_own(reminding: OfficeAtWork) -> None:
    text = "my ballot got wet and tore, please send another. Oren Tansley, 7 Cattail Ln, Saltgrass"
    request = asked(reminding, text=text, sender="oren@elsewhere.example")
    assert request.decision == "ask_identity"
    assert [tend(reminding, day) for day in (2, 3, 7, 8)] == [Tended(), Tended(1, 0), Tended(), Tended(0, 1)]
    assert [r.template for r in replies(reminding, request)] == ["ask_identity", "remind_details", "lapsed"]
    assert "date of birth" in replies(reminding, request)[1].text


def test_who_has_written_again_is_neither_reminded_nor_closed(reminding: OfficeAtWork) -> None:
    request = asked(reminding)
    answer = replies(reminding, request)[0].message_id
    (more,) = reminding.receive("Here is my note.", sender=TEMI, at=MONDAY + timedelta(days=1), answers=answer)
    assert more.continues == request.id
    assert [tend(reminding, day) for day in (4, 10, 20)] == [Tended()] * 3
    assert reminding.request(request.id).state == "asked"


def test_a_letter_outside_the_thread_that_nobody_has_read_yet_holds_the_lapse_up(reminding: OfficeAtWork) -> None:
    request = asked(reminding)
    tend(reminding, 4)
    (other,) = reminding.receive("I put the note in the mail.", sender=TEMI, at=MONDAY + timedelta(days=6))
    assert other.continues is None
    assert tend(reminding, 12) == Tended()
    deciding.decline(
        reminding.database, other.id, version=other.version, by="clara", at=MONDAY + timedelta(days=12), note="Seen."
    )
    assert tend(reminding, 13) == Tended(0, 1)
    assert reminding.request(request.id).decision == "lapsed"


def test_an_answer_between_reminder_and_lapse_keeps_the_request_open(reminding: OfficeAtWork) -> None:
    request = asked(reminding)
    tend(reminding, 4)
    reminder = replies(reminding, request)[1].message_id
    reminding.receive("I will bring the note tomorrow.", sender=TEMI, at=MONDAY + timedelta(days=5), answers=reminder)
    assert tend(reminding, 12) == Tended()


def test_a_question_that_has_not_gone_out_is_not_held_against_the_voter(reminding: OfficeAtWork) -> None:
    request = asked(reminding)
    with reminding.database.write() as session:
        for reply in session.scalars(select(Reply)):
            reply.state, reply.sent_at = "failed", None
    assert [tend(reminding, day) for day in (4, 10)] == [Tended()] * 2
    assert reminding.request(request.id).state == "asked"


def test_a_reminder_that_waits_in_the_outbox_gives_the_voter_their_days(reminding: OfficeAtWork) -> None:
    request = asked(reminding)
    assert waiting.tend(reminding.database, now=MONDAY + timedelta(days=4)) == Tended(1, 0)
    assert waiting.tend(reminding.database, now=MONDAY + timedelta(days=10)) == Tended()  # it has not gone out
    sent(reminding, MONDAY + timedelta(days=10))
    assert [tend(reminding, day) for day in (15, 16)] == [Tended(), Tended(0, 1)]  # six days after it went
    assert reminding.request(request.id).decision == "lapsed"


def test_a_reminder_that_was_taken_back_undelivered_closes_nothing(reminding: OfficeAtWork) -> None:
    asked(reminding)
    tend(reminding, 4)
    with reminding.database.write() as session:
        reminder = session.scalars(select(Reply).where(Reply.template == "remind_statement")).one()
        reminder.returned_at, reminder.returned_because = MONDAY + timedelta(days=5), "there is no such mailbox"
    assert tend(reminding, 12) == Tended()


def test_after_the_last_moment_for_post_nobody_is_reminded_and_the_reply_says_to_come_in(
    reminding: OfficeAtWork,
) -> None:
    start = MONDAY + timedelta(days=19)  # Saturday the 24th; the last moment is Tuesday the 27th at 5 pm
    request = asked(reminding, at=start)
    assert tend(reminding, 4, start) == Tended()
    assert tend(reminding, 10, start) == Tended(0, 1)  # November 3
    last = replies(reminding, request)[-1]
    assert last.template == "lapsed"
    assert "too late to ask for a ballot by mail" in last.text


def test_after_election_day_a_request_is_closed_without_a_word(reminding: OfficeAtWork) -> None:
    start = MONDAY + timedelta(days=20)
    request = asked(reminding, at=start)
    assert tend(reminding, 10, start) == Tended(0, 1)  # November 4
    assert [r.template for r in replies(reminding, request)] == ["statement_first"]


def test_without_such_rules_nobody_is_reminded(on_sqlite: OfficeAtWork) -> None:
    asked(on_sqlite)
    assert [tend(on_sqlite, day) for day in (4, 30)] == [Tended()] * 2


def test_rules_that_nobody_adopted_close_nothing(sqlite_database: Database) -> None:
    at_work = set_up(sqlite_database, rules=ON, adopted=False)
    asked(at_work)
    assert [tend(at_work, day) for day in (4, 30)] == [Tended()] * 2


def test_a_day_is_the_offices_day(reminding: OfficeAtWork) -> None:
    """Asked on Monday at 11:30 in the evening, which is Tuesday in universal time."""
    late = MONDAY.replace(hour=23, minute=30)
    asked(reminding, at=late)
    before = MONDAY.replace(hour=23, minute=59) + timedelta(days=3)
    assert waiting.tend(reminding.database, now=before) == Tended()
    assert waiting.tend(reminding.database, now=before + timedelta(minutes=2)) == Tended(1, 0)


@pytest.mark.parametrize("language", ["es"])
def test_the_reminder_goes_in_the_language_of_the_letter(reminding: OfficeAtWork, language: str) -> None:
    text = (
        "Hola, mi boleta nunca llegó por correo. Por favor envíenme otra.\n\n"
        "Temi Oyelowa, 220 Ferry Lane Apt 4, Saltgrass, nacida el 19 de julio de 1990\n"
    )
    request = asked(reminding, text=text)
    tend(reminding, 4)
    assert [r.language for r in replies(reminding, request)] == [language, language]


def test_the_supervisor_sees_what_waits(reminding: OfficeAtWork) -> None:
    asked(reminding)

    def seen(days: float) -> Overview:
        with reminding.database.read() as session:
            force = office.in_force(session)
            assert force is not None
            return waiting.overview(session, force, now=MONDAY + timedelta(days=days))

    assert seen(0) == Overview(1, 0, 0, 0, by_rule=True)
    tend(reminding, 4)
    assert seen(5) == Overview(1, 1, 0, 0, by_rule=True)
    assert seen(8) == Overview(1, 1, 1, 0, by_rule=True)
    tend(reminding, 10)
    answered = asked(reminding, at=MONDAY + timedelta(days=10, hours=1))
    reminding.receive("It is in the mail.", sender=TEMI, answers=replies(reminding, answered)[0].message_id)
    assert seen(11) == Overview(0, 0, 0, 1, by_rule=True)
    assert seen(30) == Overview(0, 0, 0, 0, by_rule=True)


def test_where_a_request_stands_is_told_by_days(reminding: OfficeAtWork) -> None:
    request = asked(reminding)
    found = waiting.standing(request, parse_rules(ON), replies(reminding, request), answered=False)
    assert found is not None
    assert (found.asked_on, found.remind_on, found.lapses_on) == (
        date(2026, 10, 5),
        date(2026, 10, 9),
        date(2026, 10, 15),
    )


def test_a_withdrawn_request_says_so_in_the_ledger(at_work: OfficeAtWork) -> None:
    first = at_work.spoiled_by_ada()
    text = (
        "I found my ballot after all, please ignore my request.\n\n"
        "Ada Quillfeather, 14 Otter Bank Rd, Eelpoint, born March 7, 1958\n"
    )
    (second,) = at_work.receive(text, at=MONDAY + timedelta(hours=1))
    assert second.proposal == "stop_reissue"
    deciding.approve(
        at_work.database,
        second.id,
        version=second.version,
        by="clara",
        roles=("clerk",),
        at=MONDAY + timedelta(hours=2),
    )
    assert at_work.request(first.id).decision == "withdrawn"
    assert events(at_work, "request_withdrawn") == [{"request": first.id, "withdrawn_in": second.id}]


def test_a_lapse_before_the_reminder_is_a_mistake_of_the_rules() -> None:
    (mistake,) = mistakes_of(ON.replace("lapse_after_days = 10", "lapse_after_days = 4"))
    assert mistake.entry == "waiting.statement.lapse_after_days"
    assert "reminder (4)" in mistake.expected


def test_the_job_says_what_it_did(reminding: OfficeAtWork) -> None:
    from replacements.settings import Settings
    from replacements.store.tables import Condition
    from worker.jobs import Work, tend_waiting

    asked(reminding)
    work = Work(reminding.database, Settings.from_environment({}), lambda: MONDAY + timedelta(days=4))
    assert tend_waiting(work) == Tended(1, 0)
    with reminding.database.read() as session:
        assert session.get_one(Condition, "waiting requests").text == "1 reminders written, 0 requests closed by rule."


def test_two_runs_at_once_write_one_reminder(reminding: OfficeAtWork) -> None:
    request = asked(reminding)
    for _ in range(3):
        waiting.tend(reminding.database, now=MONDAY + timedelta(days=4))
    assert [r.template for r in replies(reminding, request)] == ["statement_first", "remind_statement"]
