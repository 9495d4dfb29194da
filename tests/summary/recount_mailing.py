"""From request to mailing, other weeks beside this one, and what is unusual: counted with pandas."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np
import pandas as pd
from scipy.stats import poisson

from tests.summary import recount_ballots, recount_requests
from tests.summary.a_year import EARLIER, EARLIER_ON, HELD_ON, ZONE
from tests.summary.recount import Row, Span, Tables, counts, near, wilson


def figures(tables: Tables, span: Span) -> dict[str, object]:
    sent = _sent(tables, span)
    mailed, kept = len(sent), _kept(sent)
    low, high = wilson(kept, mailed) if mailed else (None, None)
    hours = (sent["mailed_at"] - sent["received_at"]).dt.total_seconds() / 3600
    business = _business_hours(sent)
    return {
        "packets mailed": mailed,
        "mailed by the next business day": kept,
        "share mailed by the next business day": near(kept / mailed if mailed else None),
        "share, 95 percent from": near(low),
        "share, 95 percent to": near(high),
        "median hours to mailing": near(_quantile(hours, 0.5), 2),
        "90th percentile of hours to mailing": near(_quantile(hours, 0.9), 2),
        "median business hours to mailing": near(_quantile(business, 0.5), 2),
        "90th percentile of business hours to mailing": near(_quantile(business, 0.9), 2),
        "95th percentile of business hours to mailing": near(_quantile(business, 0.95), 2),
        "overdue": len(overdue(tables, span)),
    }


def overdue(tables: Tables, span: Span) -> list[int]:
    """Asked for, not mailed when these days were over, and the promised day was past."""
    packets = tables.packets[(tables.packets["state"] != "pulled") & (tables.packets["received_at"] < span.end)]
    open_ = packets[~(packets["mailed_at"] < span.end)].copy()
    if not len(open_):
        return []
    late = _promised(open_["received_at"]) <= np.datetime64(span.last)
    return sorted({int(number) for number in open_["request_id"][late]})


def compared(tables: Tables, span: Span) -> Iterator[Row]:
    before = span.before
    sent, reissued = _sent(tables, before), sum(recount_ballots.reissued_by("style", tables, before).values())
    came = int(before.holds(tables.requests["received_at"]).sum())
    came_now = int(span.holds(tables.requests["received_at"]).sum())
    reissued_now = sum(recount_ballots.reissued_by("style", tables, span).values())
    changes = came_now - came, reissued_now - reissued
    yield "the days before", before.first, before.last, came, reissued, len(sent), _kept(sent), *changes
    then, past = _then(span), tables.past_requests
    asked = past[then.of_days(past["received_on"])]
    mailed = past[then.of_days(past["mailed_on"].where(past["mailed_on"].notna(), date.min))]
    kept = 0
    if len(mailed):
        promised = _business_day_after(mailed["received_on"].to_numpy().astype("datetime64[D]"))
        kept = int((mailed["mailed_on"].to_numpy().astype("datetime64[D]") <= promised).sum())
    done = int((asked["outcome"] == "reissued").sum())
    changes = came_now - len(asked), reissued_now - done
    yield EARLIER, then.first, then.last, len(asked), done, len(mailed), kept, *changes


def compared_kinds(tables: Tables, span: Span) -> Iterator[Row]:
    now, past = recount_requests.kinds(tables, span), tables.past_requests
    loaded = counts(past[_then(span).of_days(past["received_on"])]["kind"])
    for name, then in (("the days before", recount_requests.kinds(tables, span.before)), (EARLIER, loaded)):
        for kind in sorted({*now, *then}):
            yield name, kind, now.get(kind, 0), then.get(kind, 0), now.get(kind, 0) - then.get(kind, 0)


def compared_languages(tables: Tables, span: Span) -> Iterator[Row]:
    now, past = recount_requests.languages(tables, span), tables.past_requests
    loaded = counts(past[_then(span).of_days(past["received_on"])]["language"].replace("", "und"))
    for name, then in (("the days before", recount_requests.languages(tables, span.before)), (EARLIER, loaded)):
        for language in {*now, *then}:
            change = now.get(language, 0) - then.get(language, 0)
            yield name, language, now.get(language, 0), then.get(language, 0), change


def compared_reissues(tables: Tables, span: Span) -> Iterator[Row]:
    """Those of the days before, and of the earlier election by cause and precinct; its file is silent about styles."""
    yield from recount_ballots.compared_reissues(tables, span)
    past = tables.past_requests
    done = past[_then(span).of_days(past["received_on"]) & (past["outcome"] == "reissued")]
    for group, part, column in (("by cause", "reason", "cause"), ("by precinct", "precinct", "precinct")):
        then, now = counts(done[column].replace("", "unknown")), recount_ballots.reissued_by(part, tables, span)
        for name in {*now, *then}:
            change = now.get(name, 0) - then.get(name, 0)
            yield EARLIER, group, name, now.get(name, 0), then.get(name, 0), change
    for style, count in recount_ballots.reissued_by("style", tables, span).items():
        yield EARLIER, "by style", style, count, *(("", "") if len(done) else (0, count))


def unusual(tables: Tables, span: Span) -> Iterator[Row]:
    known = tables.requests[tables.requests["voter_id"].notna() & (tables.requests["received_at"] < span.end)].merge(
        tables.messages[["id", "sender"]], left_on="message_id", right_on="id", suffixes=("", "_message")
    )
    for _, own in known.groupby(known["sender"].str.lower()):
        if own["voter_id"].nunique() >= 3 and span.holds(own["received_at"]).any():
            yield "one address, several voters", "", own["voter_id"].nunique(), " ".join(map(str, sorted(own["id"])))
    ballots = tables.ballots
    cancelled = (ballots["state"] == "voided") & (ballots["void_reason"] == "cancelled")
    several = counts(ballots[ballots["replaces"].notna() & ~cancelled]["voter_id"])
    for voter, count in several.items():
        if count >= 2:
            yield "repeated replacements", voter, count, ""
    for number in recount_ballots.came_back_void(tables, span):
        yield "voided ballot returned", number, 1, ""


def bursts(tables: Tables, span: Span) -> Iterator[Row]:
    came = tables.requests["received_at"]
    month = came[(came >= span.start - timedelta(days=28)) & (came < span.start)].dt.tz_convert(ZONE)
    week, days = came[span.holds(came)].dt.floor("h").value_counts(), month.dt.date.nunique()
    if not days:
        return
    for hour, count in week.items():
        mean = (month.dt.hour == hour.tz_convert(ZONE).hour).sum() / days
        limit = max(int(poisson.ppf(1 - 0.01 / len(week), mean)) if mean else 0, 4)
        if count > limit:
            yield hour.strftime("%Y-%m-%dT%H:%M+00:00"), count, near(mean), limit


def _then(span: Span) -> Span:
    """The days as far from the election day of before, by whole weeks."""
    away = timedelta(days=(EARLIER_ON - HELD_ON).days + HELD_ON.weekday() - EARLIER_ON.weekday())
    return Span(span.first + away, span.last + away)


def _sent(tables: Tables, span: Span) -> pd.DataFrame:
    packets = tables.packets
    return packets[(packets["state"] == "mailed") & span.holds(packets["mailed_at"])]


def _kept(sent: pd.DataFrame) -> int:
    """How many left by the next business day: on the day of their mailing, or when it was signed if that was later."""
    if not len(sent):
        return 0
    signed = sent["mailed_at"].dt.tz_convert(ZONE).dt.date
    left = np.maximum(_days(sent["goes_on"]), _days(signed))
    return int((left <= _promised(sent["received_at"])).sum())


def _promised(received: pd.Series) -> np.ndarray:
    return _business_day_after(_days(received.dt.tz_convert(ZONE).dt.date))


def _business_day_after(days: np.ndarray) -> np.ndarray:
    return np.busday_offset(days + 1, 0, roll="forward")


def _days(days: pd.Series) -> np.ndarray:
    return days.to_numpy().astype("datetime64[D]")


def _business_hours(sent: pd.DataFrame) -> np.ndarray:
    """The hours between that fell on business days: whole days of 24 hours, since clocks change on Sundays."""
    return _business_hours_until(sent["mailed_at"]) - _business_hours_until(sent["received_at"])


def _business_hours_until(moments: pd.Series) -> np.ndarray:
    local = moments.dt.tz_convert(ZONE)
    days, passed = _days(local.dt.date), (local - local.dt.normalize()).dt.total_seconds().to_numpy() / 3600
    return 24 * np.busday_count("2029-01-01", days) + np.where(np.is_busday(days), passed, 0.0)


def _quantile(hours: pd.Series | np.ndarray, share: float) -> float | None:
    return float(np.quantile(np.asarray(hours, dtype=float), share)) if len(hours) else None
