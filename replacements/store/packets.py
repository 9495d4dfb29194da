"""What stands in a packet's own columns where a version before schema 0022 queued it: the style of its ballot, and when
the request that it answers came in."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, text

_AT_A_TIME = 2_000
_FILL = text(
    "UPDATE packets SET style = (SELECT b.style FROM ballots b WHERE b.number = packets.ballot_number),"
    " received_at = (SELECT r.received_at FROM requests r WHERE r.id = packets.request_id)"
    " WHERE (style IS NULL AND ballot_number IS NOT NULL OR received_at IS NULL AND request_id IS NOT NULL)"
    " AND id BETWEEN :first AND :last"
)


def fill(connection: Connection) -> Iterator[int]:
    """Fill them, some thousand packets at a time, and say after each how many were filled: the caller commits. Done
    twice it does nothing more."""
    first, last = connection.execute(text("SELECT coalesce(min(id), 1), coalesce(max(id), 0) FROM packets")).one()
    for start in range(first, last + 1, _AT_A_TIME):
        yield connection.execute(_FILL, {"first": start, "last": start + _AT_A_TIME - 1}).rowcount


def fill_what_is_missing(connection: Connection) -> int:
    """The same at once: of what a process of the earlier version queued while the present one was being started."""
    return sum(fill(connection))
