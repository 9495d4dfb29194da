"""The weekly summary by mail: once a week, to every supervisor with an address, through the same outbox as replies; in
words, with the printed summary attached."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from functools import partial

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.mail.composing import Attached, reply_message_id
from replacements.people.permissions import Role
from replacements.replies import outbox
from replacements.replies.html_part import html_page
from replacements.replies.texts import Rendered
from replacements.requests import office
from replacements.requests.office import InForce
from replacements.rules.calendar import is_mailing_day, local
from replacements.store.database import Database
from replacements.store.tables import Account, Election, Reply
from replacements.summary.ledger_days import roll_forward
from replacements.summary.pdf import week_pdf
from replacements.summary.text import mail_text
from replacements.summary.week import week

SENT_FROM = time(6)  # Monday morning, office time


def last_whole_week(today: date) -> date:
    """The Monday of the last week that is over."""
    return today - timedelta(days=today.weekday() + 7)


def queue_summary(database: Database, *, now: datetime) -> int:
    """Queue last week's summary for every supervisor who has not got it, one for each election that is open. Returns
    how many were queued.

    Safe to run as often as one likes: a supervisor's summary of an election's week has one Message-ID for ever. It is
    counted and printed before anything is locked, and only where somebody has not got it.
    """
    with database.read() as session:
        elections = office.offered(session, at=now)
        over = session.scalars(select(Election.id).where(Election.id.not_in([one.election_id for one in elections])))
        earlier = over.all() if elections else []
    for election_id in earlier:  # the week is compared with them
        roll_forward(database, election_id, elections[0].rules.office.time_zone)
    return sum(_queue(database, force, now=now) for force in elections)


def _queue(database: Database, force: InForce, *, now: datetime) -> int:
    zone = force.rules.office.time_zone
    roll_forward(database, force.election_id, zone)  # the pages, too, find the ledger added up
    here = local(force.rules, now)
    if here.weekday() == 0 and here.time() < SENT_FROM:
        return 0
    monday = last_whole_week(here.date())
    with database.read() as session:
        supervisors = _without_it(session, force, monday)
        if not supervisors:
            return 0
        found = week(
            session, force.election_id, monday, zone, now=now, is_business_day=partial(is_mailing_day, force.rules)
        )
    ours = force.rules.office.name
    subject, text = mail_text(found, f"{ours}, {force.name}" if force.several else ours)
    subject = f"{subject}: {force.name}" if force.several else subject
    rendered = Rendered("weekly_summary", "en", subject, text, html_page(text, subject=subject, language="en"))
    printed = week_pdf(found, ours, overriding=True)  # it goes to supervisors alone
    file = Attached(f"week-{monday.isoformat()}.pdf", "application/pdf", printed)
    with database.write() as session:
        newest = session.scalar(select(func.max(Reply.id))) or 0
        replies = [
            outbox.queue(
                session,
                election_id=force.election_id,
                request_id=None,
                rendered=rendered,
                to=account.email,
                in_reply_to="",
                references="",
                domain=_domain(force),
                seed=_seed(monday, account),
                at=now,
                attached=(file,),
            )
            for account in supervisors
        ]
        return sum(reply > newest for reply in replies)


def _without_it(session: Session, force: InForce, monday: date) -> list[Account]:
    """The supervisors with an address who have not got this week's summary."""
    supervisors = [
        account
        for account in session.scalars(select(Account).where(Account.active).order_by(Account.id))
        if Role.SUPERVISOR.value in account.roles and account.email
    ]
    # An installation that began after that week has nothing to tell about it.
    begun = min((account.created_at for account in supervisors), default=None)
    if begun is None or local(force.rules, begun).date() >= monday + timedelta(days=7):
        return []
    ids = {
        reply_message_id(f"{force.election_id}/{_seed(monday, account)}", _domain(force)): account
        for account in supervisors
    }
    there = set(session.scalars(select(Reply.message_id).where(Reply.message_id.in_(ids))))
    return [account for message_id, account in ids.items() if message_id not in there]


def _seed(monday: date, account: Account) -> str:
    return f"week/{monday.isoformat()}/{account.id}"


def _domain(force: InForce) -> str:
    return force.rules.office.address.rpartition("@")[2]
