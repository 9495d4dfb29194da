"""Reconciliation: every ballot is somewhere, and a difference is named to the ballot."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.orm import Session

from replacements.ballots import life
from replacements.ballots.importing import import_ballots
from replacements.ballots.reconciling import Count, Reconciliation, reconcile
from replacements.store.database import Database
from replacements.store.tables import Ballot, Election, VoterRow

ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
TODAY = date(2031, 10, 7)


@pytest.fixture
def loaded(database: Database, tmp_path: Path) -> Database:
    """Ten voters, a ballot each, 1 to 10; the odd ones have style A, the even ones B."""
    path = tmp_path / "ballots.csv"
    lines = [f"{n},V{n},{'BA'[n % 2]},issued" for n in range(1, 11)]
    path.write_text("\n".join(["ballot_number,voter_id,style,state", *lines]))
    with database.write() as session:
        session.add(Election(id=ELECTION, name="General election", held_on=date(2031, 11, 4), created_at=AT))
        session.flush()
        import_ballots(session, path, election_id=ELECTION, at=AT)
    return database


def reissue(session: Session, number: str, original: str = "void") -> str:
    return life.reissue(session, number=number, cause="spoiled", by="kim", at=AT, prefix="7", original=original).number


def count(database: Database) -> Reconciliation:
    with database.read() as session:
        return reconcile(session, ELECTION)


def differences(database: Database) -> list[tuple[str, str]]:
    found = count(database)
    assert not found.agrees
    return [(difference.number, difference.text) for difference in found.differences]


def test_every_ballot_is_somewhere_after_all_that_can_happen_to_it(loaded: Database) -> None:
    with loaded.write() as session:
        for number in ("1", "2", "3", "4"):
            life.take_in(session, number=number, on=TODAY, by="desk", at=AT)
        life.accept(session, number="1", by="board", at=AT)
        for number in ("2", "3"):
            life.challenge(session, number=number, reason="no signature", by="board", at=AT)
        life.cure(session, number="3", by="board", at=AT)
        life.mark_undeliverable(session, number="5", by="desk", at=AT)
        reissue(session, reissue(session, "6"))
        life.take_back(session, replacement=reissue(session, "7"), reason="found", by="lee", at=AT)
        reissue(session, "8", "suspend")
        reissue(session, "9", "suspend")
        life.take_in(session, number="9", on=TODAY, by="desk", at=AT)
        second = reissue(session, "10", "suspend")
        life.take_in(session, number=second, on=TODAY, by="desk", at=AT)
        life.accept(session, number=second, by="board", at=AT)
    found = count(loaded)
    assert found.differences == ()
    assert found.agrees
    assert found.total == Count(
        issued=16, out=3, undeliverable=1, returned=3, accepted=2, challenged=1, suspended=1, voided=5,
        replaced=4, replacements=4,
    )  # fmt: skip
    assert list(found.styles) == ["A", "B"]
    assert all(style.adds_up for style in found.styles.values())


def test_a_suspended_ballot_that_ends_because_its_forebear_is_accepted_is_not_counted_as_replaced(
    loaded: Database,
) -> None:
    """Found by clerks at random: 1 is suspended, replaced three times over, and is back first after all."""
    with loaded.write() as session:
        third = reissue(session, reissue(session, reissue(session, "1", "suspend")), "suspend")
        life.take_in(session, number="1", on=TODAY, by="desk", at=AT)
        life.accept(session, number="1", by="board", at=AT)
        assert session.get_one(Ballot, third).void_reason == "original_returned_first"
    found = count(loaded)
    assert found.agrees
    assert (found.total.replaced, found.total.replacements) == (1, 1)


def test_a_replacement_of_another_style_is_counted_with_the_ballot_that_it_replaces(loaded: Database) -> None:
    with loaded.write() as session:
        session.add(VoterRow(voter_id="V1", last_name="L", first_name="F", style="C"))
        reissue(session, "1")
    found = count(loaded)
    assert found.agrees
    assert (found.styles["A"].replaced, found.styles["A"].replacements, found.styles["A"].issued) == (1, 1, 5)
    assert (found.styles["C"].issued, found.styles["C"].out, found.styles["C"].replaced) == (1, 1, 0)


def test_a_state_changed_without_an_event_is_named(loaded: Database) -> None:
    with loaded.write() as session:
        session.get_one(Ballot, "4").state = "voided"
    assert differences(loaded) == [("4", "is voided on record, but issued by the ledger")]


def test_a_ballot_that_no_event_issued_is_named_and_not_absorbed(loaded: Database) -> None:
    with loaded.write() as session:
        session.add(Ballot(number="66", election_id=ELECTION, voter_id="V66", style="A", state="issued"))
    found = count(loaded)
    assert [(d.number, d.text) for d in found.differences] == [
        ("66", "is issued on record, but no event on the ledger issued it")
    ]
    assert (found.total.issued, found.total.out, found.total.adds_up) == (10, 11, False)


def test_a_style_changed_without_an_event_is_named_though_the_total_adds_up(loaded: Database) -> None:
    with loaded.write() as session:
        session.get_one(Ballot, "1").style = "B"
    found = count(loaded)
    assert (found.total.adds_up, found.styles["A"].adds_up, found.agrees) == (True, False, False)
    assert differences(loaded) == [("1", "has style B on record, but A by the ledger")]


def test_an_original_brought_back_to_life_beside_its_replacement_is_named(loaded: Database) -> None:
    with loaded.write() as session:
        new = reissue(session, "1")
    with loaded.engine.begin() as connection:
        connection.execute(text("DROP INDEX one_live_ballot"))
        if loaded.is_sqlite:
            connection.execute(text("DROP TRIGGER ballots_no_replace_by_update"))
        connection.execute(text("UPDATE ballots SET state = 'issued' WHERE number = '1'"))
    assert differences(loaded) == [
        ("1", "is issued on record, but voided by the ledger"),
        (new, "replaces 1, but 1 is issued"),
    ]


def remove(database: Database, statement: str, trigger: str) -> None:
    with database.engine.begin() as connection:
        table = "" if database.is_sqlite else f" ON {trigger.split('_')[0]}"
        connection.execute(text(f"DROP TRIGGER {trigger}{table}"))
        connection.execute(text(statement))


@pytest.fixture
def without(loaded: Database) -> Callable[[str], Database]:
    def cut(statement: str) -> Database:
        on_ledger = "FROM ledger" in statement
        if on_ledger:
            remove(loaded, statement, "ledger_no_delete" if loaded.is_sqlite else "ledger_no_change")
        else:
            remove(loaded, statement, "ballots_no_delete")
        return loaded

    return cut


def test_a_ballot_that_vanished_is_named(without: Callable[[str], Database]) -> None:
    database = without("DELETE FROM ballots WHERE number = '3'")
    assert differences(database) == [("3", "is issued by the ledger, but is not on record")]


def test_a_ledger_entry_that_vanished_shows_in_the_count(loaded: Database, without: Callable[[str], Database]) -> None:
    with loaded.write() as session:
        new = reissue(session, "1")
    database = without("DELETE FROM ledger WHERE event = 'reissued'")
    assert differences(database) == [
        (new, "is issued on record, but no event on the ledger issued it"),
    ]
    assert (count(database).total.replaced, count(database).total.replacements) == (1, 0)


def test_an_election_without_ballots_agrees(loaded: Database) -> None:
    with loaded.read() as session:
        assert reconcile(session, "another").agrees
