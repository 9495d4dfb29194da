"""The week as a mail to supervisors: the three sentences that matter, then the counts. No names, no addresses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date
from zoneinfo import ZoneInfo

from replacements.summary.figures import Columns, Rate, Week
from replacements.words import change, with_capital, word


def mail_text(week: Week, office_name: str) -> tuple[str, str]:
    """Subject and plain text."""
    period = f"{_day(week.first)} to {_day(week.last)}, {week.last.year}"
    parts = [
        f"{office_name}: replacement ballots, {period}",
        " ".join(sentences(week)),
        *_look_at(week),
        _compared(week),
        _table("Requests by kind", _called(week.by_kind, "kind")),
        _table("Replacements by cause", _called(week.reissues_by_cause, "cause")),
        _table("Replacements by ballot style", week.reissues_by_style),
        _table("Ballots voided, by reason", _called(week.voided_by_reason, "cause")),
        _columns("Replacement ballots this week", week.this_week),
        _columns("Replacement ballots to date", week.to_date),
        *(
            _columns(f"{title} {when}", columns)
            for name, title in (("all", "All ballots"), ("overseas", "Ballots of voters overseas"))
            if name in week.books
            for when, columns in zip(("this week", "to date"), week.books[name], strict=True)
        ),
        _balance(week),
        _table("Other counts", _others(week)),
        _table(
            "Decisions that differ from the proposal",
            {
                f"{word(proposal, 'action_short')} -> {word(decision, 'action_short').lower()}": count
                for (proposal, decision), count in week.overrides.items()
            },
        ),
    ]
    return f"Replacement ballots, {period}", "\n\n".join(part for part in parts if part) + "\n"


def sentences(week: Week) -> tuple[str, str, str]:
    """The three sentences that matter: what came in, whether the promise was kept, what is still open."""
    return _came(week), _promise(week), _open(week)


def _came(week: Week) -> str:
    came = _many(week.requests, "request") + " came in"
    taken = f" ({_many(week.taken_back, 'reissue')} taken back)" if week.taken_back else ""
    return f"{came}, and {_many(week.reissues, 'replacement ballot')} {_were(week.reissues)} issued{taken}."


def _promise(week: Week) -> str:
    speed = week.speed
    if speed.share is None or speed.median is None or speed.ninetieth is None:
        return "No packet was mailed."
    return (
        f"Of {_many(speed.mailed, 'packet')} mailed, {speed.kept} ({_percent(speed.share)}) went out by the next "
        f"business day; half went out within {_long(speed.median)} and nine in ten within {_long(speed.ninetieth)}."
    )


def _open(week: Week) -> str:
    if not week.waiting:
        return "No request is waiting."
    age = _long(week.oldest_hours or 0.0)
    if week.waiting_in_all == 1:
        return f"1 request has been waiting for {age}."
    return f"{week.waiting_in_all} requests are waiting, the oldest for {age}."


def _look_at(week: Week) -> Iterable[str]:
    if lines := to_look_at(week):
        yield "Please look at:\n" + "\n".join(f"- {line}" for line in lines)


def to_look_at(week: Week) -> list[str]:
    """What a supervisor should look at, a sentence each, with its figures."""
    unusual, lines = week.unusual, []
    for shared in unusual.shared_addresses:
        numbers = ", ".join(str(number) for number in shared.requests)
        lines.append(f"One sender's address was used for {shared.voters} voters: requests {numbers}.")
    if unusual.repeated:
        lines.append(f"{_many(len(unusual.repeated), 'voter')} with two or more replacements.")
    if unusual.voided_returned:
        lines.append(f"{_many(len(unusual.voided_returned), 'voided ballot')} came back and must not be counted.")
    if week.speed.overdue:
        numbers = ", ".join(str(number) for number in week.speed.overdue)
        what = "request" if len(week.speed.overdue) == 1 else "requests"
        lines.append(f"Past the promised day and not mailed: {what} {numbers}.")
    lines += [
        f"{day.day:%A}: {_many(day.reissues, 'reissue')}, {day.rate.value:.2f} per thousand ballots out, is outside "
        f"the limits ({day.rate.lower:.2f} to {day.rate.upper:.2f})."
        for day in week.days
        if day.rate is not None and day.rate.outside
    ]
    lines += [f"Ballot style {rate.name}: {_beyond(rate, 'spoiled')}" for rate in week.styles_outside]
    lines += [f"Precinct {rate.name}: {_beyond(rate, 'brought back by the post')}" for rate in unusual.undeliverable]
    zone = ZoneInfo(week.zone)
    lines += [
        f"{_many(burst.requests, 'request')} in the hour from {burst.hour.astimezone(zone):%A %H:%M}; "
        f"{burst.expected:.1f} are usual, and chance brings at most {burst.limit}."
        for burst in unusual.bursts
    ]
    if week.do_not_add_up:
        lines.append(f"The books of ballot style {', '.join(week.do_not_add_up)} do not balance.")
    if week.replies_failed:
        lines.append(f"{_many(week.replies_failed, 'reply', 'replies')} could not be sent.")
    return lines


def _beyond(rate: Rate, what: str) -> str:
    point = rate.point
    if point is None:
        return ""
    few = " A small count." if rate.few else ""
    return (
        f"{rate.events} {what} of {_many(rate.out, 'ballot')} out, {point.value:.2f} per thousand, is outside the "
        f"limits ({point.lower:.2f} to {point.upper:.2f}).{few}"
    )


def _compared(week: Week) -> str:
    lines = []
    for one in week.others:
        kept = f", {one.kept} of {one.mailed} mailed in time" if one.mailed and one.kept is not None else ""
        days = f"{_day(one.first)} to {_day(one.last)}, {one.last.year}"
        many = f"{_many(one.requests, 'request')} ({change(week.requests - one.requests)} since)"
        reissues = f"{_many(one.reissues, 'reissue')} ({change(week.reissues - one.reissues)} since)"
        lines.append(f"  {one.what}, {days}: {many}, {reissues}{kept}")
    return "\n".join(["Beside other weeks", *lines]) if lines else ""


def _balance(week: Week) -> str:
    """Where all ballots are, and whether that is every one that was issued."""
    if not week.where:
        return ""
    places = asdict(week.where_in_all)
    issued = places.pop("issued")
    found = ", ".join(f"{count} {place}" for place, count in places.items() if count)
    balance = "does not add up" if week.do_not_add_up else "adds up, in every ballot style"
    return f"Reconciliation at the end of {_day(week.last)}\n  {_many(issued, 'ballot')} issued: {found}. It {balance}."


def _others(week: Week) -> dict[str, int]:
    return {
        "Messages": week.messages,
        "Decisions": week.decisions,
        "Declined or withdrawn": len(week.declined),
        "Waiting for the voter's answer": week.asked,
        "Voided ballots that came back": len(week.unusual.voided_returned),
        "Replies sent": week.replies_sent,
    }


def _columns(title: str, columns: Columns) -> str:
    names = ("requested", "issued", "received", "counted", "rejected", "pending")
    counts = {name: getattr(columns, name) for name in names}
    return _table(title, {name: count for name, count in counts.items() if count is not None})


def _table(title: str, counts: Mapping[str, int]) -> str:
    if not counts:
        return ""
    wide = max(map(len, counts))
    lines = [f"  {name:<{wide}}  {count:>6}" for name, count in counts.items()]
    return "\n".join([title, *lines])


def _called(counts: Mapping[str, int], group: str) -> dict[str, int]:
    return {with_capital(word(code, group)): count for code, count in counts.items()}


def _many(number: int, one: str, more: str = "") -> str:
    return f"{number} {one if number == 1 else more or one + 's'}"


def _were(number: int) -> str:
    return "was" if number == 1 else "were"


def _percent(share: float) -> str:
    """Whole percent; never 100 where one is missing, never 0 where one is there."""
    whole = round(share * 100)
    return f"{min(whole, 99) if share < 1 else 100}%" if share == 0 or whole > 0 else "1%"


def _long(hours: float) -> str:
    return _many(round(hours), "hour") if hours < 48 else f"{hours / 24:.1f} days"


def _day(day: date) -> str:
    return f"{day:%B} {day.day}"
