"""What stands in columns of their own where a version before them wrote the row: the style of a packet's ballot, when
the request that it answers came in (schema 0022), and the election of a reply (schema 0023)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from sqlalchemy import Connection, TextClause, text

from replacements.store.lots import lots

_FILL: Mapping[str, TextClause] = {
    "packets": text(
        "UPDATE packets SET style = (SELECT b.style FROM ballots b WHERE b.number = packets.ballot_number),"
        " received_at = (SELECT r.received_at FROM requests r WHERE r.id = packets.request_id)"
        " WHERE (style IS NULL AND ballot_number IS NOT NULL OR received_at IS NULL AND request_id IS NOT NULL)"
        " AND id BETWEEN :first AND :last"
    ),
    "replies": text(
        "UPDATE replies SET election_id = (SELECT r.election_id FROM requests r WHERE r.id = replies.request_id)"
        " WHERE election_id IS NULL AND request_id IS NOT NULL AND id BETWEEN :first AND :last"
    ),
}


def fill(connection: Connection, table: str) -> Iterator[int]:
    """Fill the table's, some thousand rows at a time, and say after each how many were filled: the caller commits. Done
    twice it does nothing more."""
    for lot in lots(connection, table):
        yield connection.execute(_FILL[table], lot).rowcount


def fill_what_is_missing(connection: Connection) -> int:
    """All of it at once: what a process of the earlier version wrote while the present one was being started."""
    return sum(sum(fill(connection, table)) for table in _FILL)
