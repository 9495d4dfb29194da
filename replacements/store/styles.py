"""The style of the ballot in a packet, put into its column where a version before schema 0022 queued the packet."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, text

_AT_A_TIME = 2_000
_FILL = text(
    "UPDATE packets SET style = (SELECT b.style FROM ballots b WHERE b.number = packets.ballot_number)"
    " WHERE style IS NULL AND ballot_number IS NOT NULL AND id BETWEEN :first AND :last"
)


def fill(connection: Connection) -> Iterator[int]:
    """Fill it, some thousand packets at a time, and say after each how many were filled: the caller commits."""
    first, last = connection.execute(text("SELECT coalesce(min(id), 1), coalesce(max(id), 0) FROM packets")).one()
    for start in range(first, last + 1, _AT_A_TIME):
        yield connection.execute(_FILL, {"first": start, "last": start + _AT_A_TIME - 1}).rowcount
