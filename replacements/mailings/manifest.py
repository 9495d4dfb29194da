"""The manifest of a closed mailing: what must be in it, so that two people can count it against what is.

Plain data, and nothing personal: numbers, styles, precincts, contents. `sha256` is taken over the canonical JSON of
all the rest, so that a printed manifest can be told from a changed one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any

from replacements.ballots.ledger import canonical
from replacements.store.tables import Mailing


def hash_of(manifest: Mapping[str, Any]) -> str:
    """SHA-256 over a manifest's canonical JSON, its own hash left out."""
    return sha256(canonical({name: part for name, part in manifest.items() if name != "sha256"}).encode()).hexdigest()


def build(
    mailing: Mailing,
    lines: Iterable[Mapping[str, Any]],
    left_out: Sequence[Mapping[str, Any]],
    *,
    layout: Mapping[str, Any],
    by: str,
    at: datetime,
) -> dict[str, Any]:
    """A manifest from the frozen packets' lines (`packet`, `ballot`, `style`, …) and from those that stay out.

    `total`, `ballots`, `materials`, `by_style` count what goes by post; `electronic` what the office's own system
    sends. `numbers` are those of all ballots.
    """
    return _counted(
        {
            "mailing": mailing.id,
            "election": mailing.election_id,
            "goes_on": mailing.goes_on.isoformat(),
            "closed_at": at.astimezone(UTC).isoformat(timespec="seconds"),
            "closed_by": by,
            "layout": dict(layout),
            "lines": [dict(line) for line in lines],
            "left_out": [dict(line) for line in left_out],
            "taken_out": [],
        }
    )


def without(manifest: Mapping[str, Any], packet_id: int, *, by: str, at: datetime, reason: str) -> dict[str, Any]:
    """The manifest after a packet was taken out of the closed mailing, which it says."""
    gone = [line for line in manifest["lines"] if line["packet"] == packet_id]
    note = {"by": by, "at": at.astimezone(UTC).isoformat(timespec="seconds"), "reason": reason}
    return _counted(
        {
            **manifest,
            "lines": [line for line in manifest["lines"] if line["packet"] != packet_id],
            "taken_out": [
                *manifest["taken_out"],
                *({"packet": line["packet"], "ballot": line["ballot"], **note} for line in gone),
            ],
        }
    )


def by_post(manifest: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The lines of packets that are filled and mailed."""
    return [line for line in manifest["lines"] if line.get("channel", "post") == "post"]


def _counted(manifest: dict[str, Any]) -> dict[str, Any]:
    posted = by_post(manifest)
    ballots = [line for line in posted if line["ballot"] is not None]
    manifest["total"] = len(posted)
    manifest["ballots"] = len(ballots)
    manifest["materials"] = len(posted) - len(ballots)
    manifest["electronic"] = len(manifest["lines"]) - len(posted)
    manifest["by_style"] = dict(sorted(Counter(line["style"] for line in ballots).items()))
    manifest["numbers"] = sorted(line["ballot"] for line in manifest["lines"] if line["ballot"] is not None)
    manifest["sha256"] = hash_of(manifest)
    return manifest
