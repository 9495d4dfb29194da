"""The weekly summary by mail: once a week, to every supervisor with an address, through the same outbox as replies."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from functools import partial

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.people.permissions import Role
from replacements.replies import outbox
from replacements.replies.html_part import html_page
from replacements.replies.texts import Rendered
from replacements.requests import office
from replacements.requests.office import InForce
from replacements.rules.calendar import is_mailing_day, local
from replacements.store.database import Database
from replacements.store.tables import Account, Reply
from replacements.summary.text import mail_text
from replacements.summary.week import week

SENT_FROM = time(6)  # Monday morning, office time


def last_whole_week(today: date) -> date:
    """The Monday of the last week that is over."""
    return today - timedelta(days=today.weekday() + 7)


def queue_summary(database: Database, *, now: datetime) -> int:
    """Queue last week's summary for every supervisor who has not got it, one for each election that is open. Returns
    how many were queued.

    Safe to run as often as one likes: a supervisor's summary of an election's week has one Message-ID for ever.
    """
    with database.write() as session:
        return sum(_queue(session, force, now=now) for force in office.offered(session, at=now))


def _queue(session: Session, force: InForce, *, now: datetime) -> int:
    here = local(force.rules, now)
    if here.weekday() == 0 and here.time() < SENT_FROM:
        return 0
    monday = last_whole_week(here.date())
    supervisors = [
        account
        for account in session.scalars(select(Account).where(Account.active).order_by(Account.id))
        if Role.SUPERVISOR.value in account.roles and account.email
    ]
    if not supervisors:
        return 0
    # An installation that began after that week has nothing to tell about it.
    begun = min(account.created_at for account in supervisors)
    if local(force.rules, begun).date() >= monday + timedelta(days=7):
        return 0
    found = week(
        session,
        force.election_id,
        monday,
        force.rules.office.time_zone,
        now=now,
        is_business_day=partial(is_mailing_day, force.rules),
    )
    ours = force.rules.office.name
    subject, text = mail_text(found, f"{ours}, {force.name}" if force.several else ours)
    subject = f"{subject}: {force.name}" if force.several else subject
    page = html_page(text, subject=subject, language="en")
    newest = session.scalar(select(func.max(Reply.id))) or 0
    queued = 0
    for account in supervisors:
        reply = outbox.queue(
            session,
            election_id=force.election_id,
            request_id=None,
            rendered=Rendered("weekly_summary", "en", subject, text, page),
            to=account.email,
            in_reply_to="",
            references="",
            domain=force.rules.office.address.rpartition("@")[2],
            seed=f"week/{monday.isoformat()}/{account.id}",
            at=now,
        )
        queued += reply.id > newest
    return queued
