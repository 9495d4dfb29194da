"""The mailing that what is approved now joins: today's until it closes, by the clock or by hand; then the next one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, defer

from replacements.proposals.types import Action
from replacements.requests.office import InForce
from replacements.rules.calendar import cut_off, mailing_after, next_mailing
from replacements.store.tables import Mailing

# Decided after the mailing has closed, these come a mailing later, or too late.
FOR_THE_MAILING = (Action.REISSUE.value, Action.SEND_MATERIALS.value, Action.STOP_REISSUE.value)


@dataclass(frozen=True, slots=True)
class Upcoming:
    """A day, its cut-off, and its mailing where one was begun."""

    goes_on: date
    closes_at: datetime
    mailing: Mailing | None


def upcoming(session: Session, force: InForce, at: datetime, *, mailings: Iterable[Mailing] | None = None) -> Upcoming:
    """The next mailing that is open, or that nobody has begun. `mailings`: all of the election, and maybe others, where
    they are at hand."""
    if mailings is None:
        # Without their manifests, which have a line of each packet.
        of_it = select(Mailing).where(Mailing.election_id == force.election_id).options(defer(Mailing.manifest))
        mailings = session.scalars(of_it)
    begun = {mailing.goes_on: mailing for mailing in mailings if mailing.election_id == force.election_id}
    day = next_mailing(force.rules, at)
    while day in begun and begun[day].state != "open":
        day = mailing_after(force.rules, day)
    return Upcoming(day, cut_off(force.rules, day), begun.get(day))
