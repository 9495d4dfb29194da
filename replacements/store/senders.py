"""Which requests came from one mail account: told by a number, so that no address stands in one more place."""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import blake2b

from sqlalchemy import Connection, text

from replacements.store.lots import lots

_MISSING = text(
    "SELECT r.id, m.sender FROM requests r JOIN messages m ON m.id = r.message_id"
    " WHERE r.mail_account IS NULL AND m.sender <> '' AND r.id BETWEEN :first AND :last"
)


def account_of(sender: str) -> int | None:
    """The number of a mail account, the same however its address is capitalised; None where there is no address. Of 64
    bits: among a million accounts two share one by a chance of one in 37 million."""
    if not sender:
        return None
    return int.from_bytes(blake2b(sender.lower().encode(), digest_size=8).digest(), signed=True)


def fill(connection: Connection) -> Iterator[int]:
    """Number the requests that a version before schema 0022 kept, some thousand at a time, and say after each how many
    were filled: the caller commits. Done twice it does nothing more."""
    for lot in lots(connection, "requests"):
        rows = connection.execute(_MISSING, lot).all()
        if rows:
            connection.execute(
                text("UPDATE requests SET mail_account = :account WHERE id = :id"),
                [{"id": number, "account": account_of(sender)} for number, sender in rows],
            )
        yield len(rows)


def fill_what_is_missing(connection: Connection) -> int:
    """The same at once: of what a process of the earlier version kept while the present one was being started."""
    return sum(fill(connection))
