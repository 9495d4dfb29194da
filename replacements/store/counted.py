"""What is counted of requests (`Request.language`, `who_claimed` and so on) put into its columns where a version before
schema 0020 wrote it only into `judged`, beside all else that pages show of a request."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, text

from replacements.store.lots import lots

_MISSING = "language IS NULL AND kind_claimed IS NULL AND who_p IS NULL AND id BETWEEN :first AND :last"
_OF_THE_MESSAGE = "FROM messages m WHERE m.id = requests.message_id"
_FILL = {
    "sqlite": f"""
        UPDATE requests SET
            language = judged ->> '$.language',
            who_claimed = judged ->> '$.candidates[0].voter_id',
            who_p = judged ->> '$.p',
            kind_claimed = (SELECT m.judgement ->> '$.kinds[0].kind' {_OF_THE_MESSAGE}),
            kind_p = (SELECT m.judgement ->> '$.kinds[0].p' {_OF_THE_MESSAGE})
        WHERE {_MISSING} AND judged ->> '$.language' IS NOT NULL
    """,  # noqa: S608 (nothing but our own text)
    "postgresql": f"""
        UPDATE requests SET
            language = judged ->> 'language',
            who_claimed = judged #>> '{{candidates,0,voter_id}}',
            who_p = CAST(judged ->> 'p' AS double precision),
            kind_claimed = (SELECT m.judgement #>> '{{kinds,0,kind}}' {_OF_THE_MESSAGE}),
            kind_p = (SELECT CAST(m.judgement #>> '{{kinds,0,p}}' AS double precision) {_OF_THE_MESSAGE})
        WHERE {_MISSING} AND judged ->> 'language' IS NOT NULL
    """,  # noqa: S608 (nothing but our own text)
}


def fill(connection: Connection) -> Iterator[int]:
    """Fill them, some thousand requests at a time, and say after each how many were filled: the caller commits, so that
    no request is held for long. Done twice it does nothing more."""
    statement = text(_FILL[connection.dialect.name])
    for lot in lots(connection, "requests"):
        yield connection.execute(statement, lot).rowcount


def fill_what_is_missing(connection: Connection) -> int:
    """The same at once: of what a process of the earlier version read while the present one was being started."""
    return sum(fill(connection))
