"""One week, counted: Monday to Sunday in the office's time zone (a day may have 23 or 25 hours), or other days."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select
from sqlalchemy.orm import InstrumentedAttribute, Session

from replacements.store.tables import Message, Reply
from replacements.summary import unusual
from replacements.summary.asked import (
    asked_of_voters,
    by_hour,
    came_in,
    decided_of,
    decided_since,
    decisions_of,
    declined,
    declined_of,
    hours,
    how_many_undecided,
    otherwise,
    that_came_in,
    undecided,
    waiting,
    wanted,
)
from replacements.summary.asked import days as days_of
from replacements.summary.compared import SameWeek, Then, days_before, elections
from replacements.summary.control import u_chart
from replacements.summary.figures import Columns, Day, Proposals, Published, Rate, Unusual
from replacements.summary.figures import Week as Week
from replacements.summary.ledger_days import how_far, read_days, summed_up_to
from replacements.summary.machine import proposals_made, questions_about_proposals
from replacements.summary.places import ByPlace, by_place, by_style_and_state, where
from replacements.summary.questions import Answers, ask, number, question
from replacements.summary.rates import charted, rates, shares
from replacements.summary.speed import (
    SENT,
    mailed_and_kept,
    mailed_between,
    mailed_by_hour,
    measured,
    not_mailed,
    sent,
)
from replacements.summary.sums import PARTS, PRECINCT, REASON, STYLE, WHOLE, Days, Tally

DAY = timedelta(days=1)
DAYS_FOR_LIMITS = 28
LISTED = 20  # requests that wait, on the page
LONGEST = 400  # days that one summary may span
ALL, OVERSEAS = "all", "overseas"
_Question = Select[*tuple[Any, ...]]


def monday_to_friday(day: date) -> bool:
    """A business day where the office's own calendar is not at hand."""
    return day.weekday() < 5


def week(
    session: Session,
    election_id: str,
    monday: date,
    zone: str,
    *,
    now: datetime | None = None,
    is_business_day: Callable[[date], bool] = monday_to_friday,
) -> Week:
    """Count one week. Raises ValueError where `monday` is another day of the week."""
    if monday.weekday() != 0:
        raise ValueError(f"{monday} is not a Monday")
    return Stretch(election_id, monday, monday + 6 * DAY, zone, now=now, is_business_day=is_business_day).week(session)


def standing(session: Session, election_id: str) -> Answers:
    """How far the ledger is added up, and which election came before: what must be known before all else is asked."""
    return ask(session, *how_far(election_id), *elections(election_id))


class Stretch:
    """The days from `first` to `last`, both included, to be counted: what is asked, and what is made of the answers.

    `zone` is the office's (IANA name); `now` limits the ages of what waits where the last day is not over.
    `is_business_day` says on which days the office mails (the promise is the next one after the request). Raises
    ValueError where `last` is before `first` or more than LONGEST days lie between. Its methods take as `known` what
    `standing` was answered in the same session, where it was asked.
    """

    def __init__(
        self,
        election_id: str,
        first: date,
        last: date,
        zone: str,
        *,
        now: datetime | None = None,
        is_business_day: Callable[[date], bool] = monday_to_friday,
    ) -> None:
        if not first <= last < first + LONGEST * DAY:
            raise ValueError(f"{first} to {last} is not a stretch of 1 to {LONGEST} days")
        self.election_id, self.first, self.last, self.zone = election_id, first, last, zone
        self.is_business_day = is_business_day
        self.office = ZoneInfo(zone)
        self.start, self.end = _midnight(first, self.office), _midnight(last + DAY, self.office)
        self.as_of = max(self.start, min(self.end, now if now is not None else datetime.now(UTC)))
        self.chart_from = min(first, last + DAY - DAYS_FOR_LIMITS * DAY)
        self.before = first - (last + DAY - first)  # as many days, just before
        self._which = election_id, self.start, self.end

    def week(self, session: Session, known: Answers | None = None) -> Week:
        """All figures."""
        session.flush()
        known = known if known is not None else standing(session, self.election_id)
        others = self._others(known)
        answers = ask(
            session,
            *self._of_the_front(),
            undecided("waiting", self.election_id, self.as_of),
            *(question for other in others for question in other.questions()),
            *questions_about_proposals(*self._which),
        )
        decided = decided_of(session, *self._which)
        books = self._read(session, known)
        front = self._front(session, answers, books, others, (WHOLE, *PARTS))
        proposals = proposals_made(decided, answers)
        return replace(
            front,
            machine=proposals.machine,
            unusual=replace(front.unusual, overriding=proposals.overriding),
            precincts=rates(books, PRECINCT, self._days_of_it(), "reissued"),
        )

    def front(self, session: Session, known: Answers | None = None) -> Week:
        """The figures that every reader wants first: of what waits the LISTED oldest; without those of the two methods
        below, whose fields keep their defaults."""
        known = known if known is not None else standing(session, self.election_id)
        others = self._others(known)
        oldest = undecided("waiting", self.election_id, self.as_of, oldest=LISTED)
        asked_of_others = (question for other in others for question in other.questions())
        answers = ask(session, *self._of_the_front(), oldest, *asked_of_others)
        books = self._read(session, known)
        front = self._front(session, answers, books, others, (WHOLE, STYLE, REASON))
        before = front.before and replace(front.before, by_precinct={})
        return replace(front, waiting=front.waiting[:LISTED], before=before)

    def proposals(self, session: Session) -> Proposals:
        """How good the proposals were that were decided in these days."""
        answers = ask(session, *questions_about_proposals(*self._which))
        return proposals_made(decided_of(session, *self._which), answers)

    def by_place(self, session: Session, known: Answers | None = None) -> ByPlace:
        """The figures of each style and precinct; and where all ballots are now, by the ledger and by the table."""
        known = known if known is not None else standing(session, self.election_id)
        earlier = SameWeek(known, self.first, self.last, self.office)
        answers = ask(session, by_style_and_state(self.election_id), *earlier.questions())
        books = self._read(session, known, beyond=True)
        compared = earlier.counted(answers, earlier.read(session, (WHOLE, STYLE, PRECINCT)), self.is_business_day)
        return by_place(books, answers, self._days_of_it(), self.before, compared)

    def published(self, session: Session, known: Answers | None = None) -> Published:
        """Only what may be published: the same figures, with less to read."""
        known = known if known is not None else ask(session, *how_far(self.election_id))
        answers = ask(
            session,
            *self._columns_asked(),
            that_came_in("came", *self._which),
            mailed_by_hour("mailed", *self._which),
        )
        up_to = summed_up_to(known, self.zone)
        books = read_days(
            session,
            self.election_id,
            self.zone,
            since=self.first,
            until=self.last,
            parts=(WHOLE, STYLE, REASON),
            up_to=up_to,
        )
        came = came_in(answers["came"])
        mailed, kept = mailed_and_kept(answers["mailed"], self.is_business_day, self.office)
        this_week, to_date = self._columns(books, answers)
        return Published(
            self.first,
            self.last,
            came.requests,
            came.by_kind,
            books.by_name(REASON, self.first, self.last, "reissued"),
            books.by_name(STYLE, self.first, self.last, "reissued"),
            _ended(books, self.first, self.last),
            mailed,
            kept,
            {name: (this_week[name], to_date[name]) for name in this_week},
        )

    def _of_the_front(self) -> tuple[_Question, ...]:
        election_id, start, end = self._which
        return (
            *self._columns_asked(),
            that_came_in("came", *self._which),
            messages_of("messages", start, end),
            mailed_between(SENT, *self._which),
            not_mailed(election_id, self.as_of, self.office, self.is_business_day),
            how_many_undecided("undecided", election_id, self.as_of),
            decided_since("decided since", election_id, self.as_of),
            asked_of_voters("asked", election_id, self.as_of),
            by_hour("hours", *self._which),
            by_hour("hours before", election_id, start - DAYS_FOR_LIMITS * DAY, start),
            replies_of("sent replies", election_id, Reply.sent_at, "sent", start, end),
            replies_of("failed replies", election_id, Reply.queued_at, "failed", start, end),
            unusual.several_replacements("repeated", election_id),
            unusual.back_after_void("back after void", *self._which),
            declined_of("declined", *self._which),
            decisions_of("decisions", *self._which),
        )

    def _front(
        self, session: Session, answers: Answers, books: Days, others: tuple[Then, SameWeek], parts: Sequence[str]
    ) -> Week:
        """`parts`: those that the earlier election is compared in."""
        first, last = self.first, self.last
        then, earlier = others
        came, by_the_hour = came_in(answers["came"]), hours(answers["hours"])
        mean, days = _days(
            books, days_of(by_the_hour, self.office), first, last, self.chart_from, self.as_of, self.office
        )
        whole_days = self._days_of_it()
        tally, week_columns, to_date = books.tally(first, last), *self._columns(books, answers)
        causes = books.by_name(REASON, first, last, "reissued")
        return Week(
            election_id=self.election_id,
            first=first,
            last=last,
            zone=self.zone,
            as_of=self.as_of,
            messages=number(answers, "messages"),
            requests=came.requests,
            by_kind=came.by_kind,
            reissues=tally.reissued,
            reissues_by_cause=causes,
            reissues_by_style=books.by_name(STYLE, first, last, "reissued"),
            taken_back=tally.taken_back,
            speed=measured(answers, sent(answers[SENT], self.office), self.office, self.is_business_day),
            waiting_in_all=number(answers, "undecided") + len(answers["decided since"]),
            waiting=waiting([*answers["waiting"], *answers["decided since"]], self.as_of),
            asked=number(answers, "asked"),
            declined=declined(answers["declined"]),
            voided=tally.voids,
            suspended=tally.suspensions,
            voided_by_reason=_ended(books, first, last),
            this_week=week_columns["replacements"],
            to_date=to_date["replacements"],
            mean_rate=mean,
            days=days,
            unusual=Unusual(
                unusual.shared_addresses(session, *self._which),
                unusual.repeated(answers["repeated"]),
                unusual.voided_returned(answers["back after void"]),
                unusual.bursts(hours(answers["hours before"]), by_the_hour, self.office),
                _brought_back(books, whole_days),
            ),
            decisions=sum(row.number for row in answers["decisions"]),
            overrides=otherwise((row.first or "", row.second, row.number) for row in answers["decisions"]),
            replies_sent=number(answers, "sent replies"),
            replies_failed=number(answers, "failed replies"),
            books={name: (week_columns[name], to_date[name]) for name in (ALL, OVERSEAS)},
            styles=rates(books, STYLE, whole_days, "spoiled"),
            kinds=shares(came.by_kind, came.requests),
            causes=shares(causes, tally.reissued),
            languages=shares(came.by_language, came.requests),
            before=then.counted(answers, books, self.is_business_day),
            earlier=earlier.counted(answers, earlier.read(session, parts), self.is_business_day),
            where=where(books, last),
        )

    def _others(self, known: Answers) -> tuple[Then, SameWeek]:
        """The days that these are compared with."""
        return (
            days_before(self.election_id, self.first, self.last, self.office),
            SameWeek(known, self.first, self.last, self.office),
        )

    def _read(
        self, session: Session, known: Answers, parts: Sequence[str] = (WHOLE, *PARTS), *, beyond: bool = False
    ) -> Days:
        """The ledger's sums. `beyond`: to its end."""
        return read_days(
            session,
            self.election_id,
            self.zone,
            since=min(self.chart_from, self.before),
            until=self.last,
            parts=parts,
            names_since=(self.before, self.first),
            up_to=summed_up_to(known, self.zone),
            beyond=beyond,
        )

    def _days_of_it(self) -> list[date]:
        return [self.first + n * DAY for n in range((self.last - self.first).days + 1)]

    def _columns_asked(self) -> tuple[_Question, ...]:
        return (
            wanted("wanted", *self._which),
            wanted("wanted to date", self.election_id, None, self.end),
        )

    def _columns(self, books: Days, answers: Answers) -> tuple[Mapping[str, Columns], Mapping[str, Columns]]:
        asked, to_date = number(answers, "wanted"), number(answers, "wanted to date")
        return _columns(books, self.first, self.last, asked, to_date)


def _midnight(day: date, office: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), office)


def _ended(books: Days, first: date, last: date) -> dict[str, int]:
    """Ballots voided or suspended, by reason."""
    found = Counter(books.by_name(REASON, first, last, "voids"))
    found.update(books.by_name(REASON, first, last, "suspensions"))
    return dict(found.most_common())


def _columns(
    books: Days, first: date, last: date, asked: int, asked_to_date: int
) -> tuple[Mapping[str, Columns], Mapping[str, Columns]]:
    """The columns of this week and to date: of replacements, of all ballots, of all ballots of voters overseas.

    What the office's own system issued, and what had come back when it was loaded, counts to date alone: its day is not
    known.
    """

    def of(tally: Tally, requested: int | None) -> Columns:
        return Columns(requested, tally.issued, tally.received, tally.accepted, tally.rejected)

    this_week = {
        "replacements": of(books.tally(first, last, replacement=True, loaded=False), asked),
        ALL: of(books.tally(first, last, loaded=False), None),
        OVERSEAS: of(books.tally(first, last, loaded=False, overseas=True), None),
    }
    to_date = {
        "replacements": of(books.tally(None, last, replacement=True), asked_to_date),
        ALL: of(books.tally(None, last), None),
        OVERSEAS: of(books.tally(None, last, overseas=True), None),
    }
    return this_week, to_date


def _days(
    books: Days,
    requests: Mapping[date, int],
    first: date,
    last: date,
    chart_from: date,
    as_of: datetime,
    office: ZoneInfo,
) -> tuple[float | None, tuple[Day, ...]]:
    """Each day's requests and reissues, and its rate against limits that rest on the four weeks up to the last day.

    A day that has not begun has no rate, and bends no limit.
    """
    all_days = [chart_from + n * DAY for n in range((last - chart_from).days + 1)]
    reissues, out = books.by_day(all_days, "reissued"), books.whole_out_by_day(all_days)
    begun = [n for n, day in enumerate(all_days) if out[n] > 0 and _midnight(day, office) < as_of]
    chart = u_chart([reissues[n] for n in begun], [out[n] / 1000 for n in begun])
    points = dict(zip(begun, chart.points, strict=True))
    days = tuple(
        Day(day, requests.get(day, 0), reissues[n], out[n], points.get(n))
        for n, day in enumerate(all_days)
        if day >= first
    )
    return (chart.mean if begun else None), days


def _brought_back(books: Days, days: Sequence[date]) -> tuple[Rate, ...]:
    """The precincts from which the post brings back more than chance explains."""
    # An undone scan of an earlier week takes nothing away from these days, and no rate is less than nothing.
    found = books.by_name(PRECINCT, days[0], days[-1], "brought_back")
    brought_back = {name: max(count, 0) for name, count in found.items()}
    out = {name: max(row) for name, row in books.out_by_day(days, PRECINCT).items()}
    return unusual.above(charted(brought_back, out))


def messages_of(name: str, start: datetime, end: datetime) -> Select[*tuple[Any, ...]]:
    """Asks how many messages arrived from `start` to before `end`."""
    return question(name).select_from(Message).where(Message.arrived_at >= start, Message.arrived_at < end)


def replies_of(
    name: str, election_id: str, at: InstrumentedAttribute[Any], state: str, start: datetime, end: datetime
) -> Select[*tuple[Any, ...]]:
    """Asks how many replies of the election in that state have a moment from `start` to before `end`."""
    return (
        question(name)
        .select_from(Reply)
        .where(Reply.election_id == election_id, Reply.state == state, at >= start, at < end)
        .where(Reply.request_id.is_not(None))
    )
