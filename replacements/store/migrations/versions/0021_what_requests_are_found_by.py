"""What requests are found by, in one place, and the words of older letters sealed together

A search compared eleven columns of three tables for every request, and opened twenty thousand letters one by one.
"""

import sqlalchemy as sa
from alembic import op

from replacements.store.beside_work import lot_by_lot
from replacements.store.lots import lots


revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None

_OF_A_MESSAGE = ("sender_name", "sender", "subject")
_OF_A_VOTER = (
    "first_name", "last_name", "street", "city", "zip", "mail_street", "mail_city", "former_last_name",
)  # fmt: skip


def _words(line: str, person: str) -> str:
    """What a request is found by, from its message `m` and its voter `v`. `line`: what ends a line."""
    name = "coalesce(v.first_name || ' ' || v.last_name, '')"
    rest = (f"coalesce(v.{column}, '')" for column in _OF_A_VOTER[2:])
    return f"lower({f' || {line} || '.join((person, *(f'm.{column}' for column in _OF_A_MESSAGE), name, *rest))})"


def _of_one(line: str) -> str:
    """Puts it down for the request NEW."""
    return (
        f"INSERT INTO found_by (request_id, words) SELECT NEW.id, {_words(line, 'NEW.person')} FROM messages m "
        "LEFT JOIN voters v ON v.voter_id = NEW.voter_id WHERE m.id = NEW.message_id "
        "ON CONFLICT (request_id) DO UPDATE SET words = excluded.words"
    )


def _of_all(line: str, which: str) -> str:
    """Puts it down anew for requests `r`."""
    return (
        f"UPDATE found_by SET words = (SELECT {_words(line, 'r.person')} FROM requests r "
        "JOIN messages m ON m.id = r.message_id LEFT JOIN voters v ON v.voter_id = r.voter_id "
        f"WHERE r.id = found_by.request_id) WHERE request_id IN (SELECT id FROM requests WHERE {which})"
    )


def _changed(columns: tuple[str, ...], differs: str) -> str:
    return " OR ".join(f"NEW.{column} {differs} OLD.{column}" for column in columns)


_NEW_REQUEST = "found_by_a_request AFTER INSERT ON requests"
_OTHER_REQUEST = "found_by_a_changed_request AFTER UPDATE OF person, voter_id, message_id ON requests"
_MESSAGE = f"found_by_a_message AFTER UPDATE OF {', '.join(_OF_A_MESSAGE)} ON messages"
_VOTER = f"found_by_a_voter AFTER UPDATE OF {', '.join(_OF_A_VOTER)} ON voters"
_THE_MESSAGES, _THE_VOTERS = "message_id = NEW.id", "voter_id = NEW.voter_id"

_SQLITE = (
    f"CREATE TRIGGER {_NEW_REQUEST} BEGIN {_of_one('char(10)')}; END",
    f"CREATE TRIGGER {_OTHER_REQUEST} BEGIN {_of_one('char(10)')}; END",
    f"CREATE TRIGGER {_MESSAGE} WHEN {_changed(_OF_A_MESSAGE, 'IS NOT')} "
    f"BEGIN {_of_all('char(10)', _THE_MESSAGES)}; END",
    f"CREATE TRIGGER {_VOTER} WHEN {_changed(_OF_A_VOTER, 'IS NOT')} BEGIN {_of_all('char(10)', _THE_VOTERS)}; END",
)
_FUNCTION = "CREATE FUNCTION {0}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {1}; RETURN NULL; END $$"
_EACH = "FOR EACH ROW"
_POSTGRESQL = (
    _FUNCTION.format("found_by_one", _of_one("chr(10)")),
    _FUNCTION.format("found_by_message", _of_all("chr(10)", _THE_MESSAGES)),
    _FUNCTION.format("found_by_voter", _of_all("chr(10)", _THE_VOTERS)),
    f"CREATE TRIGGER {_NEW_REQUEST} {_EACH} EXECUTE FUNCTION found_by_one()",
    f"CREATE TRIGGER {_OTHER_REQUEST} {_EACH} EXECUTE FUNCTION found_by_one()",
    f"CREATE TRIGGER {_MESSAGE} {_EACH} "
    f"WHEN ({_changed(_OF_A_MESSAGE, 'IS DISTINCT FROM')}) EXECUTE FUNCTION found_by_message()",
    f"CREATE TRIGGER {_VOTER} {_EACH} "
    f"WHEN ({_changed(_OF_A_VOTER, 'IS DISTINCT FROM')}) EXECUTE FUNCTION found_by_voter()",
)


def upgrade() -> None:
    connection = op.get_bind()
    if not sa.inspect(connection).has_table("found_by"):  # else a try was broken off while it filled it
        op.create_table(
            "found_by",
            sa.Column("request_id", sa.Integer(), sa.ForeignKey("requests.id"), primary_key=True),
            sa.Column("words", sa.Text(), nullable=False),
        )
        op.create_table(
            "packed_words",
            sa.Column("id", sa.Integer(), primary_key=True),
            sa.Column("first_message", sa.Integer(), nullable=False),
            sa.Column("last_message", sa.Integer(), nullable=False),
            sa.Column("words", sa.LargeBinary(), nullable=False),
        )
        op.create_index("ix_packed_words_last_message", "packed_words", ["last_message"])
        for statement in _SQLITE if connection.dialect.name == "sqlite" else _POSTGRESQL:
            op.execute(statement)
    with lot_by_lot("requests") as connection:
        _put_down_all(connection)


def _put_down_all(connection: sa.Connection) -> None:
    """A request that is written anew, though nothing of it is other, is put down."""
    for lot in lots(connection, "requests"):
        connection.execute(sa.text("UPDATE requests SET person = person WHERE id BETWEEN :first AND :last"), lot)
