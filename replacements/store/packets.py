"""What stands in a packet's own columns where a version before schema 0022 queued it: the style of its ballot, and when
the request that it answers came in."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, text

from replacements.store.lots import lots

_FILL = text(
    "UPDATE packets SET style = (SELECT b.style FROM ballots b WHERE b.number = packets.ballot_number),"
    " received_at = (SELECT r.received_at FROM requests r WHERE r.id = packets.request_id)"
    " WHERE (style IS NULL AND ballot_number IS NOT NULL OR received_at IS NULL AND request_id IS NOT NULL)"
    " AND id BETWEEN :first AND :last"
)


def fill(connection: Connection) -> Iterator[int]:
    """Fill them, some thousand packets at a time, and say after each how many were filled: the caller commits. Done
    twice it does nothing more."""
    for lot in lots(connection, "packets"):
        yield connection.execute(_FILL, lot).rowcount


def fill_what_is_missing(connection: Connection) -> int:
    """The same at once: of what a process of the earlier version queued while the present one was being started."""
    return sum(fill(connection))
