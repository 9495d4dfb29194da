"""An office's own texts: two people, every version kept, in force at once."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import delete, text, update
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from replacements.replies import wording
from replacements.replies.samples import example
from replacements.replies.sources import FILES, Source, own
from replacements.replies.texts import render
from replacements.replies.wording import NotKept
from replacements.rules.office import load_rules
from replacements.store.database import Database
from replacements.store.tables import ReplyText, ReplyTextDecision

OFFICE = load_rules(Path(__file__).parent / "quillhaven.toml")
NOW = datetime(2026, 10, 1, 15, tzinfo=UTC)
ORIGINAL = own("en", "mailed")
assert ORIGINAL is not None
EDITED = Source("Your new ballot has left us", ORIGINAL.body.replace("If it is not there", "If you do not see it"))
AGAIN = replace(EDITED, body=EDITED.body.replace("call us", "please call us"))


def write(
    session: Session, source: Source | None = EDITED, *, by: str = "sue", seen: int = 0, reason: str = "Warmer"
) -> int:
    row = wording.write(
        session, language="en", name="mailed", source=source, reason=reason, seen=seen, by=by, at=NOW, rules=OFFICE
    )
    return row.id


def decide(session: Session, text_id: int, *, by: str = "tom", approved: bool = True, note: str = "") -> None:
    wording.decide(session, text_id, approved=approved, by=by, at=NOW + timedelta(hours=1), rules=OFFICE, note=note)


def reply(database: Database) -> str:
    with database.read() as session:
        return render("mailed", "en", example(OFFICE), texts=wording.in_force(session)).text


def states(database: Database) -> list[tuple[int, str]]:
    with database.read() as session:
        return [(v.number, v.state) for v in wording.versions(session, "en", "mailed")]


def test_a_text_is_used_only_once_somebody_else_has_approved_it(database: Database) -> None:
    with database.write() as session:
        first = write(session)
    assert "If it is not there in a week" in reply(database)
    assert states(database) == [(1, "waiting"), (0, "in force")]
    with database.write() as session, pytest.raises(NotKept, match="Somebody else must approve"):
        decide(session, first, by="SUE")
    with database.write() as session:
        decide(session, first)
    assert "If you do not see it in a week" in reply(database)
    assert states(database) == [(1, "in force"), (0, "replaced")]


def test_the_database_itself_refuses_the_writers_approval_and_any_change(database: Database) -> None:
    with database.write() as session:
        first = write(session)
    with pytest.raises(DBAPIError, match="somebody other than its writer"), database.write() as session:
        session.add(ReplyTextDecision(text_id=first, approved=True, by="Sue", at=NOW))
    with database.write() as session:
        decide(session, first)
    for table in (ReplyText, ReplyTextDecision):
        with pytest.raises(DBAPIError, match="never changed or removed"), database.write() as session:
            session.execute(delete(table))
    with pytest.raises(DBAPIError, match="never changed or removed"), database.write() as session:
        session.execute(update(ReplyText).values(body="Other words."))
    with pytest.raises(DBAPIError), database.write() as session:
        session.execute(text("UPDATE reply_text_decisions SET approved = approved"))


def test_a_change_is_used_at_once_by_every_process(database: Database) -> None:
    other = Database(database.url)  # as another process has it
    before = reply(other)
    with database.write() as session:
        decide(session, write(session))
    assert reply(other) != before
    with database.write() as session:
        decide(session, write(session, None, by="tom", seen=1, reason="Back"), by="sue")
    assert reply(other) == before
    other.close()


def test_back_to_the_projects_own_text_needs_two_people_too_and_keeps_every_version(database: Database) -> None:
    with database.write() as session:
        decide(session, write(session))
        decide(session, write(session, AGAIN, by="tom", seen=1), by="sue")
        back = write(session, None, seen=2, reason="It said too much")
    assert "please call us" in reply(database)
    with database.write() as session:
        decide(session, back)
        assert wording.in_force(session).of("en", "mailed") == ORIGINAL
        assert wording.states(session) == {("en", "mailed"): (3, True, False)}
        every = wording.versions(session, "en", "mailed")
    assert [(v.number, v.state, v.is_own) for v in every] == [
        (3, "in force", True),
        (2, "replaced", False),
        (1, "replaced", False),
        (0, "replaced", True),
    ]
    assert (every[1].written_by, every[1].decided_by, every[1].source) == ("tom", "sue", AGAIN)
    with database.write() as session, pytest.raises(NotKept, match="in force already"):
        write(session, None, seen=3)


def test_a_newer_version_passes_over_one_that_still_waits(database: Database) -> None:
    with database.write() as session:
        first = write(session)
        second = write(session, AGAIN, seen=1)
    with database.write() as session, pytest.raises(NotKept, match="does not wait"):
        decide(session, first)
    with database.write() as session:
        assert [row.id for row in wording.waiting(session)] == [second]
        decide(session, second)
        assert wording.waiting(session) == []
    assert states(database) == [(2, "in force"), (1, "passed over"), (0, "replaced")]


def test_declining_says_why_and_changes_nothing_that_is_in_force(database: Database) -> None:
    with database.write() as session:
        first = write(session)
    with database.write() as session, pytest.raises(NotKept, match="Say why"):
        decide(session, first, approved=False)
    with database.write() as session:
        decide(session, first, by="sue", approved=False, note="I found a slip")  # a writer may take it back
    assert states(database) == [(1, "declined"), (0, "in force")]
    with database.write() as session, pytest.raises(NotKept, match="does not wait"):
        decide(session, first)
    assert "If it is not there" in reply(database)


def test_whoever_began_from_an_older_version_is_told_and_nothing_is_kept(database: Database) -> None:
    with database.write() as session:
        write(session)
    with database.write() as session, pytest.raises(NotKept, match="meanwhile"):
        write(session, AGAIN, by="tom", seen=0)
    assert states(database) == [(1, "waiting"), (0, "in force")]


def test_every_mistake_is_told_and_nothing_is_kept(database: Database) -> None:
    with database.write() as session, pytest.raises(NotKept) as refused:
        write(session, Source("", EDITED.body.replace("{{ steps }}", "[steps]")), reason=" ", seen=0)
    told = " ".join(refused.value.why)
    for part in ("Say why", "The subject is empty", "{{ steps }} is missing", "“[steps]”"):
        assert part in told
    with database.write() as session, pytest.raises(NotKept, match="in force already"):
        write(session, ORIGINAL)
    assert states(database) == [(0, "in force")]


def test_a_version_that_no_longer_passes_is_not_approved(database: Database) -> None:
    with database.write() as session:
        kept = write(session)
        session.add(  # as an older program may have left it
            ReplyText(
                name="mailed",
                language="en",
                version=2,
                subject="Hello",
                body="{{ gone }}",
                reason="-",
                written_by="sue",
                written_at=NOW,
            )
        )
    with database.write() as session, pytest.raises(NotKept, match="no fact called “gone”"):
        decide(session, kept + 1)


def test_a_text_in_force_that_cannot_be_filled_any_more_gives_way_to_the_projects_own(database: Database) -> None:
    with database.write() as session:
        row = ReplyText(
            name="mailed",
            language="en",
            version=1,
            subject="Hello",
            body="{{ gone }}",
            reason="-",
            written_by="sue",
            written_at=NOW,
        )
        session.add(row)
        session.flush()
        session.add(ReplyTextDecision(text_id=row.id, approved=True, by="tom", at=NOW))
    assert reply(database) == render("mailed", "en", example(OFFICE)).text


def test_a_phrase_is_changed_in_every_reply_that_uses_it(database: Database) -> None:
    with database.write() as session:
        row = wording.write(
            session,
            language="es",
            name="phrases/nothing_changed",
            source=Source("", "No cambió nada.\r\n"),
            reason="Más corto",
            seen=0,
            by="sue",
            at=NOW,
            rules=OFFICE,
        )
        decide(session, row.id)
        texts = wording.in_force(session)
    for name in ("ask_identity", "come_in", "send_form"):
        assert "No cambió nada." in render(name, "es", example(OFFICE), texts=texts).text
        assert "Nothing has been changed." in render(name, "en", example(OFFICE), texts=texts).text
        assert "No cambió nada." not in render(name, "es", example(OFFICE), texts=FILES).text
