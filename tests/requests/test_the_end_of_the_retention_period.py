"""When the retention period ends, a voter's words are gone, from the disk too; what is open, held or counted stays."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from sqlalchemy import select, text, update

from replacements.ballots.examining import examine
from replacements.cli import main
from replacements.commands import purge as purge_command
from replacements.requests import deciding, intake, office, purging
from replacements.store import rewriting
from replacements.store.database import Database
from replacements.store.rewriting import rewrite
from replacements.store.senders import account_of
from replacements.store.tables import (
    FoundBy,
    LedgerEntry,
    LetterWords,
    Message,
    RawMail,
    Reply,
    ReplyAttachment,
    Request,
    RequestStep,
)
from tests.requests.conftest import MONDAY, RULES, ZONE, OfficeAtWork, at_work, county, set_up  # noqa: F401 - fixtures

LONG_AFTER = datetime(2028, 9, 3, 12, 0, tzinfo=ZONE)  # 22 months after the election of November 3, 2026
MARK = "elderberry-juice"


def _decided(office_: OfficeAtWork) -> Request:
    """A request that was carried out, its packet mailed and its reply sent."""
    request = office_.spoiled_by_ada(headers={"X-Mark": MARK}, subject=f"my ballot and {MARK}")
    deciding.approve(office_.database, request.id, version=1, by="clara", roles=("clerk",), at=MONDAY)
    with office_.database.write() as session:
        session.execute(text("UPDATE packets SET state = 'mailed'"))
        session.execute(update(Reply).values(state="sent", text=f"about the {MARK}", sent_at=MONDAY))
        reply = session.scalars(select(Reply)).one()
        session.add(
            ReplyAttachment(reply_id=reply.id, name="a.pdf", content_type="application/pdf", content=MARK.encode())
        )
        session.execute(update(Request).values(decision_note=f"her {MARK}"))
    return request


def _purge(database: Database, at: datetime = LONG_AFTER, keep: int = 0) -> purging.Purged:
    return purging.purge(database, at=at, keep=keep, by="test")


def _messages(database: Database) -> list[tuple[str, bool]]:
    """Of each message: its subject, and whether its raw mail is there."""
    with database.read() as session:
        raw = set(session.scalars(select(RawMail.message_id)))
        return [(m.subject, m.id in raw) for m in session.scalars(select(Message).order_by(Message.id))]


def test_a_day_before_the_period_ends_nothing_goes_and_on_that_day_it_does(at_work: OfficeAtWork) -> None:  # noqa: F811
    """52 USC 20701: 22 months from the date of the election."""
    _decided(at_work)
    assert _purge(at_work.database, at=datetime(2028, 9, 2, 12, 0, tzinfo=ZONE)).counts["messages"] == 0
    done = _purge(at_work.database, at=LONG_AFTER)
    assert dict(done.counts) == {"messages": 1, "raw mails": 1, "requests": 1, "replies": 1}
    assert done.left == 0
    assert _purge(at_work.database).counts["messages"] == 0


def test_no_word_of_the_voters_is_left_in_any_table(at_work: OfficeAtWork) -> None:  # noqa: F811
    request = _decided(at_work)
    with at_work.database.write() as session:
        assert session.get(LetterWords, request.message_id) is not None
        session.add(RequestStep(request_id=request.id, at=MONDAY, account="clara", what="given", note=f"Ask {MARK}."))
        held = session.get_one(Request, request.id)
        held.held_because = f"{MARK} is travelling"
        assert held.mail_account == account_of("Ada.Q@post.example")
    _purge(at_work.database)
    with at_work.database.read() as session:
        assert session.get(LetterWords, request.message_id) is None
        found_by = str(session.execute(select(FoundBy.words)).all())  # the roll stays, and so does the voter's name
        assert MARK not in found_by
        assert "ada.q@post.example" not in found_by
        assert session.scalars(select(Request.mail_account)).all() == [None]
        for table in (Message, RawMail, Request, RequestStep, Reply, ReplyAttachment):
            rows = str(session.execute(select(table.__table__)).all())
            assert MARK not in rows
            assert "Quillfeather" not in rows
            assert "ada.q@post.example" not in rows


def test_the_ledger_the_books_and_what_was_decided_stay(at_work: OfficeAtWork) -> None:  # noqa: F811
    request = _decided(at_work)
    before = at_work.ballots("W-1001")
    with at_work.database.read() as session:
        entries = session.scalars(select(LedgerEntry.hash).order_by(LedgerEntry.seq)).all()
    _purge(at_work.database)
    after = at_work.request(request.id)
    with at_work.database.read() as session:
        now = session.scalars(select(LedgerEntry).order_by(LedgerEntry.seq)).all()
        assert examine(session).trouble == ()
    assert [entry.hash for entry in now[:-1]] == list(entries)
    assert (now[-1].event, now[-1].details) == ("purged", '{"messages":1}')
    assert at_work.ballots("W-1001") == before
    assert (after.state, after.kinds, after.decided_by) == ("done", request.kinds, "clara")
    assert "candidates" not in after.judged


def test_an_open_request_keeps_its_message_and_the_one_that_it_continues(at_work: OfficeAtWork) -> None:  # noqa: F811
    first = _decided(at_work)
    (second,) = at_work.receive("What are your hours?", subject="hours")
    with at_work.database.write() as session:
        session.execute(update(Request).where(Request.id == second.id).values(continues=first.id, state="waiting"))
    assert _purge(at_work.database).counts["messages"] == 0
    with at_work.database.write() as session:
        session.execute(update(Request).where(Request.id == second.id).values(state="declined"))
    assert _purge(at_work.database).counts["messages"] == 2


@pytest.mark.parametrize(
    "still",
    ["UPDATE replies SET state = 'queued'", "UPDATE replies SET state = 'held'", "UPDATE packets SET state = 'frozen'"],
)
def test_what_is_not_out_of_the_house_yet_keeps_its_message(at_work: OfficeAtWork, still: str) -> None:  # noqa: F811
    _decided(at_work)
    with at_work.database.write() as session:
        session.execute(text(still))
    assert _purge(at_work.database).counts["messages"] == 0


def test_mail_that_nobody_has_read_stays(at_work: OfficeAtWork) -> None:  # noqa: F811
    intake.keep(at_work.database, b"Subject: hello\r\n\r\nhello", source="INBOX", validity="1", uid="1", at=MONDAY)
    assert _purge(at_work.database).counts["messages"] == 0


@pytest.mark.parametrize("adopted", [True, False])
def test_a_hold_keeps_everything_also_before_it_is_adopted(at_work: OfficeAtWork, adopted: bool) -> None:  # noqa: F811
    _decided(at_work)
    with at_work.database.write() as session:
        office.load(session, RULES + '\n[retention]\nhold = "contest of the result"\n', at=MONDAY)
        if adopted:
            office.adopt(session, official="the registrar", by="test", at=MONDAY)
    assert _purge(at_work.database).counts["messages"] == 0
    with at_work.database.read() as session:
        (period,) = purging.periods(session, at=LONG_AFTER)
    assert period.until is None
    assert "contest of the result" in period.text


def test_the_longer_period_counts_where_rules_differ_and_days_on_top_only_lengthen(
    at_work: OfficeAtWork,  # noqa: F811
) -> None:
    with at_work.database.write() as session:
        office.load(session, RULES + "\n[retention]\nmonths = 1\n", at=MONDAY)
    with at_work.database.read() as session:
        assert purging.periods(session, at=MONDAY)[0].until == LONG_AFTER.date()
        assert purging.periods(session, at=MONDAY, keep=30)[0].until == LONG_AFTER.date()
        longer = purging.periods(session, at=MONDAY, keep=2000)[0].until
    assert longer is not None
    assert longer - datetime(2026, 11, 3, tzinfo=ZONE).date() == timedelta(days=2000)


def test_rules_that_nobody_adopted_end_no_period(database: Database) -> None:
    set_up(database, adopted=False).receive("What are your hours?")
    with database.write() as session:
        session.execute(update(Request).values(state="declined"))
    assert _purge(database).counts["messages"] == 0


@pytest.mark.parametrize(
    ("day", "months", "then"),
    [
        (date(2024, 12, 31), 2, date(2025, 2, 28)),
        (date(2026, 11, 3), 22, date(2028, 9, 3)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2024, 2, 29), 48, date(2028, 2, 29)),
    ],
)
def test_months_are_counted_by_the_calendar(day: date, months: int, then: date) -> None:
    assert purging._months_after(day, months) == then


def test_the_bytes_are_gone_from_the_database_file(
    sqlite_database: Database,
    county: Callable[..., OfficeAtWork],  # noqa: F811
) -> None:
    _decided(county(sqlite_database))
    folder = Path(sqlite_database.engine.url.database or "").parent

    def bytes_on_disk() -> bytes:
        return b"".join(path.read_bytes() for path in folder.glob("office.sqlite3*"))

    assert MARK.encode() in bytes_on_disk()
    _purge(sqlite_database)
    assert rewrite(sqlite_database, purging.TABLES).done
    assert MARK.encode() not in bytes_on_disk()


def test_the_bytes_are_gone_from_the_tables_files_on_postgresql(
    postgres_database: Database,
    county: Callable[..., OfficeAtWork],  # noqa: F811
) -> None:
    _decided(county(postgres_database))

    def bytes_on_disk() -> bytes:
        with postgres_database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("CHECKPOINT"))
            base = Path(connection.execute(text("SHOW data_directory")).scalar_one())
            number = connection.execute(
                text("SELECT oid FROM pg_database WHERE datname = current_database()")
            ).scalar_one()
        return b"".join(path.read_bytes() for path in (base / "base" / str(number)).iterdir() if path.is_file())

    assert MARK.encode() in bytes_on_disk()
    _purge(postgres_database)
    assert rewrite(postgres_database, purging.TABLES).done
    assert MARK.encode() not in bytes_on_disk()


def test_a_table_that_somebody_holds_is_said_and_can_be_done_later(
    postgres_database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rewriting, "LOCK_SECONDS", 1)
    with postgres_database.engine.connect() as holds:
        holds.execute(text("LOCK TABLE raw_mail IN ACCESS SHARE MODE"))
        assert not rewrite(postgres_database, purging.TABLES).done
    assert rewrite(postgres_database, purging.TABLES).done


def test_it_may_be_broken_off_and_run_again(at_work: OfficeAtWork, monkeypatch: pytest.MonkeyPatch) -> None:  # noqa: F811
    monkeypatch.setattr(purging, "_AT_A_TIME", 1)
    _decided(at_work)
    at_work.receive("What are your hours?", subject="hours")
    with at_work.database.write() as session:
        session.execute(update(Request).where(Request.state == "waiting").values(state="declined"))
    real, calls = purging._remove, []

    def once(*arguments: object) -> None:
        if calls:
            raise KeyboardInterrupt
        calls.append(1)
        real(*arguments)  # type: ignore[arg-type]

    with monkeypatch.context() as cut_off:
        cut_off.setattr(purging, "_remove", once)
        with pytest.raises(KeyboardInterrupt):
            _purge(at_work.database)
    assert [there for _, there in _messages(at_work.database)] == [False, True]
    assert _purge(at_work.database).counts["messages"] == 1


def test_the_command_says_what_would_go_does_it_and_looks_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def said(*words: str) -> str:
        done = CliRunner().invoke(main, ["--data", str(tmp_path), "purge", *words])
        assert done.exit_code == 0, done.output
        return done.output

    assert "Nothing goes" in said()
    database = Database(str(tmp_path / "replacements.db"))
    _decided(set_up(database))
    monkeypatch.setattr(purge_command, "now", lambda: LONG_AFTER)
    assert "Would go: 1 messages, 1 raw mails, 1 requests, 1 replies." in said("--dry-run")
    assert _messages(database) == [(f"my ballot and {MARK}", True)]
    told = said()
    assert "nothing of them is left" in told
    assert "written anew" in told
    assert _messages(database) == [("", False)]
    database.close()
