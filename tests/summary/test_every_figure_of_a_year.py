"""Every figure of a random year, counted again with pandas from the tables themselves, and compared with the files."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from io import BytesIO, StringIO
from zipfile import ZipFile

import numpy as np
import pandas as pd
import pytest
from scipy.stats import poisson
from sqlalchemy import text

from replacements.store.database import Database
from replacements.summary.export import archive
from replacements.summary.ledger_days import roll_forward
from replacements.summary.week import stretch
from tests.summary.a_year import CLERKS, ELECTION, FIRST, HELD_ON, WEEKS, ZONE, Year

LATER = datetime(2032, 3, 1, tzinfo=UTC)
SPANS = [
    (FIRST, FIRST + timedelta(days=6)),  # before the last ballots are loaded
    (date(2031, 3, 3), date(2031, 3, 9)),  # clocks go forward
    (date(2031, 6, 16), date(2031, 6, 22)),  # the week before election day
    (HELD_ON - timedelta(days=1), HELD_ON + timedelta(days=5)),  # the election in the middle
    (date(2031, 10, 27), date(2031, 11, 2)),  # clocks go back
    (date(2031, 12, 29), date(2032, 1, 4)),  # the year ends
    (date(2031, 5, 14), date(2031, 7, 2)),  # no whole weeks
    (date(2032, 2, 2), date(2032, 2, 8)),  # nothing at all
]


@dataclass
class Tables:
    """The database as pandas reads it; every time with its zone."""

    requests: pd.DataFrame
    messages: pd.DataFrame
    ledger: pd.DataFrame
    ballots: pd.DataFrame
    voters: pd.DataFrame
    packets: pd.DataFrame
    corrections: pd.DataFrame


@pytest.fixture(scope="module")
def year() -> Year:
    return Year(requests=1500, voters=2500, seed=20310106)


@pytest.fixture
def stored(database: Database, year: Year) -> Database:
    year.store(database)
    return database


def _tables(database: Database) -> Tables:
    with database.engine.connect() as connection:
        read = {
            name: pd.DataFrame(connection.execute(text(f"SELECT * FROM {name}")).mappings().all())
            for name in ("requests", "messages", "ledger", "ballots", "voters", "corrections")
        }
        packets = connection.execute(
            text(
                "SELECT p.request_id, p.state, m.mailed_at, m.goes_on FROM packets p "
                "JOIN mailings m ON m.id = p.mailing_id"
            )
        )
        read["packets"] = pd.DataFrame(packets.mappings().all())
    for frame, columns in (
        ("requests", ("received_at", "decided_at")),
        ("packets", ("mailed_at",)),
        ("ledger", ("at",)),
    ):
        for column in columns:
            read[frame][column] = pd.to_datetime(read[frame][column], utc=True, format="ISO8601")
    for name, column in (
        ("requests", "kinds"),
        ("requests", "judged"),
        ("messages", "judgement"),
        ("ledger", "details"),
        ("corrections", "kinds"),
    ):
        read[name][column] = read[name][column].map(lambda cell: json.loads(cell) if isinstance(cell, str) else cell)
    read["packets"]["goes_on"] = pd.to_datetime(read["packets"]["goes_on"]).dt.date
    return Tables(**read)


def _files(database: Database, first: date, last: date) -> dict[str, pd.DataFrame]:
    with database.read() as session:
        found = stretch(session, ELECTION, first, last, ZONE, now=LATER)
    with ZipFile(BytesIO(archive(found))) as whole:
        return {
            name.removesuffix(".csv"): pd.read_csv(
                StringIO(whole.read(name).decode()), keep_default_na=False, na_values=[""], dtype={"name": str}
            )
            for name in whole.namelist()
        }


def _moves(tables: Tables) -> pd.DataFrame:
    """Each entry of the ledger with its ballot's state before and after, by walking through each ballot's own life."""
    ledger = tables.ledger.sort_values("seq").copy()
    after = {"imported": "state", "import_changed": "state", "reinstated": "to", "return_undone": "to"}
    fixed = {"reissued": "issued", "cured": "returned"}
    states = ("voided", "suspended", "returned", "accepted", "challenged", "undeliverable")
    ledger["after"] = [
        event if event in states else fixed.get(event, details.get(after.get(event, ""), ""))
        for event, details in zip(ledger["event"], ledger["details"], strict=True)
    ]
    ledger.loc[ledger["event"] == "returned_after_void", "after"] = ""
    kept = ledger[ledger["after"] != ""].copy()
    kept["before"] = kept.groupby("ballot_number")["after"].shift(fill_value="")
    kept["day"] = kept["at"].dt.tz_convert(ZONE).dt.date
    kept["reason"] = [details.get("reason", "unknown") for details in kept["details"]]
    replaces = tables.ballots.set_index("number")["replaces"]
    kept["replacement"] = kept["ballot_number"].map(replaces).notna()
    voters = tables.voters.set_index("voter_id")
    kept["precinct"] = kept["voter_id"].map(voters["precinct"])
    kept["overseas"] = kept["voter_id"].map(voters["overseas"]).astype(bool)
    kept["style"] = [details["style"] for details in kept["details"]]
    return kept


def _moment(day: date) -> pd.Timestamp:
    return pd.Timestamp(day, tz=ZONE)


def _within(times: pd.Series, first: date, last: date) -> pd.Series:
    return (times >= _moment(first)) & (times < _moment(last + timedelta(days=1)))


def _counts(values: pd.Series) -> dict[str, int]:
    return {str(name): int(count) for name, count in values.value_counts().items()}


def _as_dict(frame: pd.DataFrame) -> dict[str, int]:
    return {str(name): int(count) for name, count in frame.itertuples(index=False)}


def _most_out(moves: pd.DataFrame, first: date, last: date) -> pd.Series:
    """Ballots out on each day: at its beginning or end, whichever is more."""
    live = ("issued", "undeliverable")
    change = moves["after"].isin(live).astype(int) - moves["before"].isin(live).astype(int)
    days = pd.date_range(first, last).date
    ends = change.groupby(moves["day"]).sum().cumsum()
    at_end = ends.reindex(sorted({*ends.index, *days, first - timedelta(days=1)})).ffill().fillna(0)
    return pd.Series(
        [
            max(
                at_end[day], at_end[: day - timedelta(days=1)].iloc[-1] if len(at_end[: day - timedelta(days=1)]) else 0
            )
            for day in days
        ],
        index=days,
    )


def _limits(events: np.ndarray, sizes: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    mean = events.sum() / sizes.sum()
    spread = 3 * np.sqrt(mean / sizes)
    return events / sizes, np.maximum(mean - spread, 0), mean + spread


@pytest.mark.parametrize("rolled", [False, True], ids=["read from the ledger", "added up before"])
def test_every_figure_of_a_year_equals_an_independent_count(stored: Database, rolled: bool) -> None:
    if rolled:
        roll_forward(stored, ELECTION, ZONE)
    tables = _tables(stored)
    moves = _moves(tables)
    for first, last in SPANS:
        files = _files(stored, first, last)
        _requests_agree(tables, files, first, last)
        _decisions_agree(tables, files, first, last)
        _ballots_agree(tables, moves, files, first, last)
        _rates_agree(moves, files, first, last)
        _mailing_agrees(tables, files, first, last)
        _unusual_agrees(tables, moves, files, first, last)


def _figure(files: dict[str, pd.DataFrame], name: str) -> str:
    found = files["figures"].set_index("figure")["value"][name]
    return "" if pd.isna(found) else str(found)


def _requests_agree(tables: Tables, files: dict[str, pd.DataFrame], first: date, last: date) -> None:
    came = tables.requests[_within(tables.requests["received_at"], first, last)]
    assert int(_figure(files, "requests")) == len(came)
    kinds = _counts(came["kinds"].explode()) if len(came) else {}
    assert _as_dict(files["kinds"]) == kinds
    shares = files["shares"][files["shares"]["group"] == "requests by language"]
    spoken = _counts(pd.Series([judged["language"] for judged in came["judged"]], dtype=object))
    assert _as_dict(shares[["name", "count"]]) == spoken
    by_day = came["received_at"].dt.tz_convert(ZONE).dt.date.value_counts()
    for row in files["days"].itertuples():
        assert row.requests == by_day.get(date.fromisoformat(row.day), 0)
    end = _moment(last + timedelta(days=1))
    open_ = tables.requests[
        (tables.requests["received_at"] < end)
        & ~(tables.requests["decided_at"] < end)
        & (tables.requests["state"] != "filed")
    ]
    assert sorted(files["waiting"]["request"]) == sorted(open_["id"])
    length = timedelta(days=(last - first).days + 1)
    before = tables.requests[_within(tables.requests["received_at"], first - length, last - length)]
    assert files["compared"].iloc[0]["requests"] == len(before)


def _decisions_agree(tables: Tables, files: dict[str, pd.DataFrame], first: date, last: date) -> None:
    decided = tables.requests[_within(tables.requests["decided_at"], first, last)]
    assert int(_figure(files, "decisions")) == len(decided)
    other = decided[decided["decision"] != decided["proposal"]]
    assert int(_figure(files, "decisions that differ from the proposal")) == len(other)
    assert sorted(files["declined"]["request"]) == sorted(decided[decided["state"] == "declined"]["id"])
    people = decided[decided["decided_by"].isin(CLERKS)].copy()
    people["outcome"] = np.select(
        [people["state"] == "declined", people["decision"] != people["proposal"]], ["refused", "changed"], "accepted"
    )
    split = people.explode("kinds")
    counted = split.groupby(["kinds", "standing", "outcome"]).size() if len(split) else pd.Series(dtype=int)
    for row in files["proposals"].itertuples():
        for outcome in ("accepted", "changed", "refused"):
            assert getattr(row, outcome) == counted.get((row.kind, row.standing, outcome), 0)
    assert files["proposals"]["decided"].sum() == len(split)
    done = people[(people["state"] == "done") & people["voter_id"].notna()]
    who = files["probabilities"][files["probabilities"]["of"] == "who"]
    assert who["claims"].sum() == len(done)
    edges = [0, 0.5, 0.8, 0.9, 0.95, 0.99, 1.0001]
    p = pd.Series([judged["p"] for judged in done["judged"]], dtype=float)
    binned = p.groupby(pd.cut(p, edges, right=False), observed=True)
    assert list(who["claims"]) == list(binned.size())
    assert list(who["claimed"]) == pytest.approx(list(binned.mean()), abs=6e-5)
    corrected = tables.corrections["message_id"].isin(decided["message_id"])
    assert (
        int(_figure(files, "messages whose reading was corrected"))
        == tables.corrections[corrected]["message_id"].nunique()
    )


def _ballots_agree(
    tables: Tables, moves: pd.DataFrame, files: dict[str, pd.DataFrame], first: date, last: date
) -> None:
    week = moves[(moves["day"] >= first) & (moves["day"] <= last)]
    reissued = week[week["event"] == "reissued"]
    assert int(_figure(files, "reissues")) == len(reissued)
    assert int(_figure(files, "ballots voided")) == (week["event"] == "voided").sum()
    assert int(_figure(files, "ballots suspended")) == (week["event"] == "suspended").sum()
    assert int(_figure(files, "reissues taken back")) == (week["event"] == "reinstated").sum()
    assert _as_dict(files["causes"]) == _counts(reissued["reason"])
    assert _as_dict(files["styles"]) == _counts(reissued["style"])
    assert _as_dict(files["voids"]) == _counts(week[week["event"].isin(("voided", "suspended"))]["reason"])
    rows = files["ballots"].set_index(["ballots", "period"])
    back = ("returned", "accepted", "challenged")
    for name, part in (
        ("replacements", moves["replacement"]),
        ("all", moves["style"].notna()),
        ("overseas", moves["overseas"]),
    ):
        for period, chosen in (
            ("this week", part & (moves["event"] != "imported") & (moves["day"] >= first) & (moves["day"] <= last)),
            ("to date", part & (moves["day"] <= last)),
        ):
            found, row = moves[chosen], rows.loc[(name, period)]
            rejected = ((found["after"] == "voided") & found["before"].isin(back)).sum()
            received = found["after"].isin(back).sum() - found["before"].isin(back).sum() + rejected
            counted = (found["after"] == "accepted").sum() - (found["before"] == "accepted").sum()
            assert row["issued"] == found["event"].isin(("imported", "reissued")).sum()
            assert (row["received"], row["counted"], row["rejected"]) == (received, counted, rejected)
            assert row["pending"] == received - counted - rejected
    end = _moment(last + timedelta(days=1))
    wants = tables.requests["continues"].isna() & (
        tables.requests["issued_ballot"].notna()
        | tables.requests["kinds"].map(lambda kinds: bool({"spoiled_ballot", "not_received"} & set(kinds)))
    )
    assert rows.loc[("replacements", "to date")]["requested"] == (wants & (tables.requests["received_at"] < end)).sum()
    in_week = wants & _within(tables.requests["received_at"], first, last)
    assert rows.loc[("replacements", "this week")]["requested"] == in_week.sum()


def _rates_agree(moves: pd.DataFrame, files: dict[str, pd.DataFrame], first: date, last: date) -> None:
    for table, part, wanted in (
        ("style_rates", "style", (moves["event"] == "reissued") & moves["reason"].isin(("spoiled", "damaged"))),
        ("precinct_rates", "precinct", moves["event"] == "reissued"),
    ):
        inside = (moves["day"] >= first) & (moves["day"] <= last)
        names = sorted(set(moves[moves["day"] <= last][part]))
        sizes = {name: _most_out(moves[moves[part] == name], first, last).max() for name in names}
        names = [name for name in names if sizes[name] > 0]
        events = [int((wanted & inside & (moves[part] == name)).sum()) for name in names]
        shown = files[table].set_index("name")
        if not names:
            continue
        value, lower, upper = _limits(np.array(events), np.array([sizes[name] for name in names]) / 1000)
        for n, name in enumerate(names):
            row = shown.loc[name]
            assert (row["ballots_out"], row["events"]) == (sizes[name], events[n])
            assert [row["per_thousand"], row["lower_limit"], row["upper_limit"]] == pytest.approx(
                [value[n], lower[n], upper[n]], abs=6e-5
            )
            assert (row["outside_limits"] == "yes") == bool(value[n] < lower[n] or value[n] > upper[n])
    start = min(first, last - timedelta(days=27))
    out = _most_out(moves, start, last)
    reissues = moves[moves["event"] == "reissued"]["day"].value_counts()
    days = [day for day in out.index if out[day] > 0]
    if not days:
        return
    counts = np.array([reissues.get(day, 0) for day in days])
    value, lower, upper = _limits(counts, np.array([out[day] for day in days]) / 1000)
    expected = {day.isoformat(): n for n, day in enumerate(days)}
    for row in files["days"].itertuples():
        n = expected.get(row.day)
        if n is not None:
            assert (row.reissues, row.ballots_out) == (counts[n], out[days[n]])
            assert [row.reissues_per_thousand, row.lower_limit, row.upper_limit] == pytest.approx(
                [value[n], lower[n], upper[n]], abs=6e-5
            )


def _mailing_agrees(tables: Tables, files: dict[str, pd.DataFrame], first: date, last: date) -> None:
    sent = tables.packets[_within(tables.packets["mailed_at"], first, last)].merge(
        tables.requests[["id", "received_at"]], left_on="request_id", right_on="id"
    )
    assert int(_figure(files, "packets mailed")) == len(sent)
    if not len(sent):
        assert _figure(files, "median hours to mailing") == ""
        return
    received = sent["received_at"].dt.tz_convert(ZONE)
    promised = np.busday_offset(received.dt.date.to_numpy().astype("datetime64[D]") + 1, 0, roll="forward")
    left = sent["goes_on"].to_numpy().astype("datetime64[D]")
    kept = int((left <= promised).sum())
    assert int(_figure(files, "mailed by the next business day")) == kept
    hours = (sent["mailed_at"] - sent["received_at"]).dt.total_seconds() / 3600
    assert float(_figure(files, "median hours to mailing")) == pytest.approx(np.quantile(hours, 0.5), abs=0.006)
    business = [
        sum(
            max(0.0, (min(end, day + pd.DateOffset(days=1)) - max(start, day)).total_seconds() / 3600)
            for day in pd.date_range(start.normalize(), end.normalize(), freq="D", tz=None)
            if day.weekday() < 5
        )
        for start, end in zip(received, sent["mailed_at"].dt.tz_convert(ZONE), strict=True)
    ]
    for name, share in (("median", 0.5), ("90th percentile", 0.9), ("95th percentile", 0.95)):
        of = f"{name} business hours to mailing" if name == "median" else f"{name} of business hours to mailing"
        assert float(_figure(files, of)) == pytest.approx(np.quantile(business, share), abs=0.006)


def _unusual_agrees(
    tables: Tables, moves: pd.DataFrame, files: dict[str, pd.DataFrame], first: date, last: date
) -> None:
    unusual = files["unusual"]
    standing = tables.ballots[
        tables.ballots["replaces"].notna()
        & ~((tables.ballots["state"] == "voided") & (tables.ballots["void_reason"] == "cancelled"))
    ]
    several = standing["voter_id"].value_counts()
    shown = unusual[unusual["what"] == "repeated replacements"].set_index("voter_or_ballot")["count"]
    assert shown.to_dict() == several[several >= 2].to_dict()
    back = tables.ledger[(tables.ledger["event"] == "returned_after_void") & _within(tables.ledger["at"], first, last)]
    found = unusual[unusual["what"] == "voided ballot returned"]["voter_or_ballot"].astype(int)
    assert sorted(found) == sorted(back["ballot_number"].astype(int).unique())
    end = _moment(last + timedelta(days=1))
    known = tables.requests[tables.requests["voter_id"].notna() & (tables.requests["received_at"] < end)].merge(
        tables.messages[["id", "sender"]], left_on="message_id", right_on="id", suffixes=("", "_message")
    )
    wrote = set(known[_within(known["received_at"], first, last)]["sender"].str.lower())
    groups = known.groupby(known["sender"].str.lower())["voter_id"].nunique()
    expected = sorted(int(n) for sender, n in groups.items() if n >= 3 and sender in wrote)
    assert sorted(unusual[unusual["what"] == "one address, several voters"]["count"]) == expected
    _bursts_agree(tables, files, first, last)


def _bursts_agree(tables: Tables, files: dict[str, pd.DataFrame], first: date, last: date) -> None:
    came = tables.requests["received_at"]
    start = _moment(first)
    month = came[(came >= start - timedelta(days=28)) & (came < start)].dt.tz_convert(ZONE)
    week = came[_within(came, first, last)].dt.floor("h").value_counts()
    days = month.dt.date.nunique()
    expected = set()
    for hour, count in week.items():
        if days:
            mean = (month.dt.hour == hour.tz_convert(ZONE).hour).sum() / days
            limit = max(int(poisson.ppf(1 - 0.01 / len(week), mean)) if mean else 0, 4)
            if count > limit:
                expected.add(hour.strftime("%Y-%m-%dT%H:%M+00:00"))
    assert set(files["bursts"]["hour_utc"]) == expected


def test_the_whole_year_has_weeks_of_every_size(year: Year) -> None:
    """The year above is worth counting: it has replacements, returns, corrections and decisions against proposals."""
    events = {row["event"] for row in year.rows[next(t for t in year.rows if t.__name__ == "LedgerEntry")]}
    assert events >= {"imported", "reissued", "voided", "suspended", "reinstated", "returned", "return_undone"}
    assert events >= {"accepted", "import_changed", "challenged", "cured", "undeliverable", "returned_after_void"}
    assert WEEKS == 52
