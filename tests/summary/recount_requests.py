"""What came in, what was decided, what waits, and what people made of the proposals: counted with pandas."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from tests.summary.a_year import CLERKS
from tests.summary.recount import FEW, Row, Span, Tables, counts, near, wilson, yes

EDGES = (0.0, 0.5, 0.8, 0.9, 0.95, 0.99, 1.0)


def figures(tables: Tables, span: Span) -> dict[str, object]:
    requests, replies = tables.requests, tables.replies
    came, decided, waits = requests[span.holds(requests["received_at"])], _decided(tables, span), _waiting(tables, span)
    asked = requests[(requests["state"] == "asked") & (requests["decided_at"] < span.end)]
    corrected = tables.corrections[tables.corrections["message_id"].isin(decided["message_id"])]
    return {
        "messages": int(span.holds(tables.messages["arrived_at"]).sum()),
        "requests": len(came),
        "waiting": len(waits),
        "hours the oldest has waited": near(waits["hours"].max() if len(waits) else None, 2),
        "waiting for the voter's answer": len(asked),
        "declined": int((decided["state"] == "declined").sum()),
        "decisions": len(decided),
        "decisions that differ from the proposal": int(_otherwise(decided).sum()),
        "replies sent": int(((replies["state"] == "sent") & span.holds(replies["sent_at"])).sum()),
        "replies failed": int(((replies["state"] == "failed") & span.holds(replies["queued_at"])).sum()),
        "messages whose reading was corrected": corrected["message_id"].nunique(),
    }


def kinds(tables: Tables, span: Span) -> dict[str, int]:
    came = tables.requests[span.holds(tables.requests["received_at"])]
    return counts(came["kinds"].explode()) if len(came) else {}


def languages(tables: Tables, span: Span) -> dict[str, int]:
    return counts(tables.requests[span.holds(tables.requests["received_at"])]["language"])


def shares(tables: Tables, span: Span, causes: dict[str, int]) -> Iterator[Row]:
    came = tables.requests[span.holds(tables.requests["received_at"])]
    for group, found, size in (
        ("requests by kind", kinds(tables, span), len(came)),
        ("replacements by cause", causes, sum(causes.values())),
        ("requests by language", languages(tables, span), len(came)),
    ):
        for name, count in found.items():
            low, high = wilson(count, size)
            yield group, name, count, size, near(count / size), near(low), near(high), yes(count < FEW)


def waiting(tables: Tables, span: Span) -> Iterator[Row]:
    for row in _waiting(tables, span).itertuples():
        state = row.state if pd.isna(row.decided_at) else "waiting"
        yield row.id, row.proposal, state, near(row.hours, 1), yes(bool(row.two_people))


def declined(tables: Tables, span: Span) -> Iterator[Row]:
    decided = _decided(tables, span)
    for row in decided[decided["state"] == "declined"].itertuples():
        yield row.id, row.proposal, row.decision


def decisions(tables: Tables, span: Span) -> Iterator[Row]:
    decided = _decided(tables, span)
    other = decided[_otherwise(decided)]
    for (proposal, decision), count in other.groupby(["proposal", "decision"]).size().items():
        yield proposal, decision, count


def proposals(tables: Tables, span: Span) -> Iterator[Row]:
    people = _by_people(tables, span)
    if not len(people):
        return
    people["outcome"] = np.select(
        [people["state"] == "declined", people["decision"] != people["proposal"]], ["refused", "changed"], "accepted"
    )
    split = people.explode("kinds")
    counted = pd.crosstab([split["kinds"], split["standing"]], split["outcome"])
    counted = counted.reindex(columns=["accepted", "changed", "refused"], fill_value=0)
    for (kind, standing), row in counted.iterrows():
        yield kind, standing, row.sum(), row["accepted"], row["changed"], row["refused"]


def probabilities(tables: Tables, span: Span) -> Iterator[Row]:
    for what, claims in claimed(tables, span).items():
        if not len(claims):
            continue
        place = np.clip(np.searchsorted(EDGES, claims["p"], side="right") - 1, 0, len(EDGES) - 2)
        for n, lot in claims.groupby(place):
            true = int(lot["right"].sum())
            low, high = wilson(true, len(lot))
            yield (
                what, EDGES[n], EDGES[n + 1], len(lot), true,
                near(lot["p"].mean()), near(true / len(lot)), near(low), near(high),
            )  # fmt: skip


def claimed(tables: Tables, span: Span) -> dict[str, pd.DataFrame]:
    """Each claim with its probability `p` and whether it came true: of the voter, and of what a message asks."""
    people = _by_people(tables, span).sort_values("id")
    first = people["who_claimed"]
    done = (people["state"] == "done") & people["voter_id"].notna() & first.notna()
    who = pd.DataFrame({"p": people["who_p"][done], "right": (people["voter_id"] == first)[done]})
    newest = tables.corrections.sort_values("id").groupby("message_id")["kinds"].last()
    rows = []
    for row in people.itertuples():
        if row.message_id in newest.index:
            rows.append((row.kind_p, row.kind_claimed in newest[row.message_id]))
        elif row.decision == row.proposal:
            rows.append((row.kind_p, True))
    return {"who": who, "kind": pd.DataFrame(rows, columns=["p", "right"])}


def off(tables: Tables, span: Span) -> dict[str, float]:
    """The mean distance between what was claimed and what came true, over the lots of `probabilities`."""
    found = {}
    for what, claims in claimed(tables, span).items():
        if len(claims):
            lots = claims.groupby(np.clip(np.searchsorted(EDGES, claims["p"], side="right") - 1, 0, len(EDGES) - 2))
            found[what] = float((lots["p"].sum() - lots["right"].sum()).abs().sum() / len(claims))
    return found


def overriding(tables: Tables, span: Span) -> Iterator[Row]:
    people = _by_people(tables, span)
    sizes = people.groupby("decided_by").size()
    if len(sizes) < 2:
        return
    other = people.groupby("decided_by")[["proposal", "decision"]].apply(
        lambda own: int((own["proposal"] != own["decision"]).sum())
    )
    mean = other.sum() / sizes.sum()
    spread = 3 * np.sqrt(mean * (1 - mean) / sizes)
    for name, share in (other / sizes).items():
        upper = min(1.0, mean + spread[name])
        if share > upper:
            lower = max(0.0, mean - spread[name])
            yield name, sizes[name], other[name], near(share), near(lower), near(upper)


def _decided(tables: Tables, span: Span) -> pd.DataFrame:
    return tables.requests[span.holds(tables.requests["decided_at"])].sort_values("id")


def _by_people(tables: Tables, span: Span) -> pd.DataFrame:
    decided = _decided(tables, span)
    return decided[decided["decided_by"].isin(CLERKS) & (decided["decision"] != "lapsed")].copy()


def _otherwise(decided: pd.DataFrame) -> pd.Series:
    return (decided["decision"] != decided["proposal"]) & (decided["decision"] != "lapsed")


def _waiting(tables: Tables, span: Span) -> pd.DataFrame:
    requests = tables.requests
    found = requests[
        (requests["received_at"] < span.end) & ~(requests["decided_at"] < span.end) & (requests["state"] != "filed")
    ].sort_values(["received_at", "id"])
    return found.assign(hours=(span.end - found["received_at"]).dt.total_seconds() / 3600)
