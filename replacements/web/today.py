"""What the front page says: how the promise stands, what waits, the next mailing, and what went wrong.

Nothing in it is personal and nothing in it was written by anybody outside the office: numbers, times and days.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from markupsafe import Markup
from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from replacements.health.judging import silent
from replacements.health.stored import is_mailbox
from replacements.mailings import stock
from replacements.mailings.forecast import forecast
from replacements.people.permissions import Permission
from replacements.proposals.types import Action
from replacements.replies import wording
from replacements.requests import waiting
from replacements.requests.holding import on_hold
from replacements.requests.office import InForce
from replacements.requests.upcoming import FOR_THE_MAILING, Upcoming, upcoming
from replacements.rules.calendar import is_mailing_day, local
from replacements.store.tables import OPEN_STATES, Condition, Message, Packet, Reply, Request
from replacements.summary import chart, fortnight
from replacements.summary.figures import Speed
from replacements.summary.speed import measure
from replacements.web.guard import here
from replacements.web.order import came_back, may_be_a_threat, next_waiting
from replacements.web.unsettled import mailings

Counted = tuple[int, datetime | None]  # how many wait, and since when the oldest does


@dataclass(frozen=True, slots=True)
class Going:
    """The packets that wait in a mailing, and the requests that may still join it. `picture` is an SVG."""

    ballots: int
    materials: int
    undecided: int
    picture: Markup


@dataclass(frozen=True, slots=True)
class TwoWeeks:
    """The last 14 days. `speed` measures the promise over them. `picture` is an SVG."""

    days: Sequence[fortnight.OneDay]
    speed: Speed
    picture: Markup


def today(session: Session) -> dict[str, Any]:
    """What the template of the front page is given."""
    force, at = here().in_force, here().at
    work = _work(session)
    following = upcoming(session, force, at, mailings=mailings(session)) if force else None
    return {
        "work": work,
        "begin_with": next_waiting(session, here().election_id, at=at) if here().may(Permission.DECIDE) else None,
        "following": following,
        "going": _going(session, following, work["mailing"][0]),
        "styles": forecast(session, force.election_id, force.rules, now=at) if force else (),
        "unsigned": [
            one for one in mailings(session) if one.state == "closed" and one.election_id == here().election_id
        ],
        "half_counted": stock.waiting(session, here().election_id),
        "texts_waiting": len(wording.waiting(session)),
        "elsewhere": _elsewhere(session),
        "two_weeks": _two_weeks(session, force, at) if force else None,
        "waits": waiting.overview(session, force, now=at) if force and here().may(Permission.TAKE_BACK) else None,
        **_wrong(session, at),
    }


def _wrong(session: Session, at: datetime) -> dict[str, Any]:
    """What is not in order, each only where it is not."""
    conditions = session.scalars(select(Condition).order_by(Condition.name)).all()
    return {
        "unwell": [one for one in conditions if not one.ok],
        "silent": [one for one in conditions if is_mailbox(one.name) and silent(one.ok, one.at, at)],
        **_counted(session),
    }


def _counted(session: Session) -> dict[str, int]:
    """What is counted across the office, in one statement."""
    wanted = {
        "unread": select(func.count()).select_from(Message).where(Message.state == "stored"),
        "unreadable": select(func.count()).select_from(Message).where(Message.state == "failed"),
        "unsent": select(func.count()).select_from(Reply).where(Reply.state == "failed"),
        "came_back": select(func.count())
        .select_from(Request)
        .where(Request.election_id == here().election_id, Request.state == "waiting", came_back()),
    }
    row = session.execute(select(*(one.scalar_subquery().label(name) for name, one in wanted.items()))).one()
    return {name: int(count) for name, count in row._mapping.items()}


def _going(session: Session, following: Upcoming | None, undecided: int) -> Going:
    mailing_id = following.mailing.id if following and following.mailing else None
    packets = session.execute(
        select(func.count(), func.count(Packet.ballot_number)).where(
            Packet.mailing_id == mailing_id, Packet.state != "pulled"
        )
    ).one()
    count, ballots = int(packets[0]), int(packets[1])
    return Going(ballots, count - ballots, undecided, _drawn(chart.filling(count, undecided)))


def _two_weeks(session: Session, force: InForce, at: datetime) -> TwoWeeks:
    now = local(force.rules, at)
    days = fortnight.fortnight(session, force.election_id, now.date(), force.rules.office.time_zone)
    start = now.replace(hour=0, minute=0, second=0, microsecond=0) - timedelta(days=fortnight.DAYS - 1)
    business = partial(is_mailing_day, force.rules)
    speed = measure(session, force.election_id, start, at, at, ZoneInfo(force.rules.office.time_zone), business)
    return TwoWeeks(days, speed, _drawn(chart.two_weeks(days)))


def _drawn(svg: str) -> Markup:
    """Built by us from numbers and dates alone, and so safe to put in as it is."""
    return Markup(svg)  # noqa: S704


def _work(session: Session) -> dict[str, Counted]:
    """What waits, in the groups in which the day's work is done. Each request that waits is in one group only."""
    threat, held = case((may_be_a_threat(), 1), else_=0), case((on_hold(here().at), 1), else_=0)
    rows = session.execute(
        select(Request.state, Request.proposal, threat, held, func.count(), func.min(Request.received_at))
        .where(Request.election_id == here().election_id, Request.state.in_(OPEN_STATES))
        .group_by(Request.state, Request.proposal, threat, held)
    ).all()
    groups: dict[str, list[tuple[int, datetime]]] = defaultdict(list)
    for state, proposal, is_threat, is_held, count, oldest in rows:
        if is_held:
            groups["held"].append((count, oldest))
            continue
        if state == "waiting":
            groups["waiting"].append((count, oldest))
        groups[_group(state, proposal, is_threat == 1)].append((count, oldest))
    names = ("waiting", "threats", "mailing", "second", "reading", "others", "asked", "held")
    return {
        name: (sum(n for n, _ in groups[name]), min((oldest for _, oldest in groups[name]), default=None))
        for name in names
    }


def _group(state: str, proposal: str, is_threat: bool) -> str:
    if state != "waiting":
        return state
    if is_threat:
        return "threats"
    if proposal in FOR_THE_MAILING:
        return "mailing"
    return "reading" if proposal == Action.READ else "others"


def _elsewhere(session: Session) -> list[tuple[InForce, int]]:
    """The other elections that are open, with how many requests wait in each."""
    others = [force for force in here().elections if force.election_id != here().election_id]
    if not others:
        return []
    by_election = select(Request.election_id, func.count()).where(Request.state == "waiting")
    counts: dict[str, int] = dict(session.execute(by_election.group_by(Request.election_id)).all())
    return [(force, counts.get(force.election_id, 0)) for force in others]
