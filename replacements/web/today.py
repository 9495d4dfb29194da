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
from replacements.summary.speed import Promise, promise
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
    """The last 14 days. `speed`: how the promise was kept over them. `picture` is an SVG."""

    days: Sequence[fortnight.OneDay]
    speed: Promise
    picture: Markup


def today(session: Session) -> dict[str, Any]:
    """What the template of the front page is given."""
    force, at = here().in_force, here().at
    work, elsewhere = _work(session)
    following = upcoming(session, force, at, mailings=mailings(session)) if force else None
    counted = _counted(session, following)
    ballots, packets = counted["ballots"] or 0, counted["packets"] or 0
    undecided = work["mailing"][0]
    waits = None
    if force and here().may(Permission.TAKE_BACK):
        waits = waiting.overview(session, force, now=at, lapsed=counted["lapsed"] or 0)
    return {
        **counted,
        "work": work,
        "following": following,
        "going": Going(ballots, packets - ballots, undecided, _drawn(chart.filling(packets, undecided))),
        "styles": forecast(session, force.election_id, force.rules, now=at) if force else (),
        "unsigned": [
            one for one in mailings(session) if one.state == "closed" and one.election_id == here().election_id
        ],
        "elsewhere": elsewhere,
        "two_weeks": _two_weeks(session, force, at) if force else None,
        "waits": waits,
        **_wrong(session, at),
    }


def _wrong(session: Session, at: datetime) -> dict[str, Any]:
    """What is not in order, each only where it is not."""
    conditions = session.scalars(select(Condition).order_by(Condition.name)).all()
    return {
        "unwell": [one for one in conditions if not one.ok],
        "silent": [one for one in conditions if is_mailbox(one.name) and silent(one.ok, one.at, at)],
    }


def _counted(session: Session, following: Upcoming | None) -> dict[str, int | None]:
    """What is counted across the office, in one statement; and the request to begin with, None where none waits."""
    mailing_id = following.mailing.id if following and following.mailing else None
    packets = select(func.count()).select_from(Packet)
    packets = packets.where(Packet.mailing_id == mailing_id, Packet.state != "pulled")
    wanted = {
        "packets": packets,
        "ballots": packets.where(Packet.ballot_number.is_not(None)),
        "half_counted": stock.how_many_wait(here().election_id),
        "texts_waiting": wording.how_many_wait(),
        "unread": select(func.count()).select_from(Message).where(Message.state == "stored"),
        "unreadable": select(func.count()).select_from(Message).where(Message.state == "failed"),
        "unsent": select(func.count()).select_from(Reply).where(Reply.state == "failed"),
        "came_back": select(func.count())
        .select_from(Request)
        .where(Request.election_id == here().election_id, Request.state == "waiting", came_back()),
    }
    if here().may(Permission.DECIDE):
        wanted["begin_with"] = next_waiting(here().election_id, at=here().at)
    if here().may(Permission.TAKE_BACK):
        wanted["lapsed"] = waiting.lapsed_lately(here().election_id, now=here().at)
    row = session.execute(select(*(one.scalar_subquery().label(name) for name, one in wanted.items()))).one()
    return dict(row._mapping)


def _two_weeks(session: Session, force: InForce, at: datetime) -> TwoWeeks:
    now = local(force.rules, at)
    days = fortnight.fortnight(session, force.election_id, now.date(), force.rules.office.time_zone)
    start = now.replace(hour=0, minute=0, second=0, microsecond=0) - timedelta(days=fortnight.DAYS - 1)
    business = partial(is_mailing_day, force.rules)
    zone = ZoneInfo(force.rules.office.time_zone)
    kept = promise(session, force.election_id, start, at, zone, business, mailings=mailings(session))
    return TwoWeeks(days, kept, _drawn(chart.two_weeks(days)))


def _drawn(svg: str) -> Markup:
    """Built by us from numbers and dates alone, and so safe to put in as it is."""
    return Markup(svg)  # noqa: S704


def _work(session: Session) -> tuple[dict[str, Counted], list[tuple[InForce, int]]]:
    """What waits, in the groups in which the day's work is done. Each request that waits is in one group only. And the
    other elections that are open, with how many requests wait in each."""
    threat, held = case((may_be_a_threat(), 1), else_=0), case((on_hold(here().at), 1), else_=0)
    others = {force.election_id: force for force in here().elections if force.election_id != here().election_id}
    counts = dict.fromkeys(others, 0)
    by = (Request.election_id, Request.state, Request.proposal, threat.label("threat"), held.label("held"))
    rows = session.execute(
        select(*by, func.count(), func.min(Request.received_at))
        .where(Request.election_id.in_([here().election_id, *others]), Request.state.in_(OPEN_STATES))
        .group_by(*by)
    ).all()
    groups: dict[str, list[tuple[int, datetime]]] = defaultdict(list)
    for election_id, state, proposal, is_threat, is_held, count, oldest in rows:
        if election_id in others:
            counts[election_id] += count if state == "waiting" else 0
            continue
        if is_held:
            groups["held"].append((count, oldest))
            continue
        if state == "waiting":
            groups["waiting"].append((count, oldest))
        groups[_group(state, proposal, is_threat == 1)].append((count, oldest))
    names = ("waiting", "threats", "mailing", "second", "reading", "others", "asked", "held")
    work = {
        name: (sum(n for n, _ in groups[name]), min((oldest for _, oldest in groups[name]), default=None))
        for name in names
    }
    return work, [(force, counts[election_id]) for election_id, force in others.items()]


def _group(state: str, proposal: str, is_threat: bool) -> str:
    if state != "waiting":
        return state
    if is_threat:
        return "threats"
    if proposal in FOR_THE_MAILING:
        return "mailing"
    return "reading" if proposal == Action.READ else "others"
