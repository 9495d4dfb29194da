"""Any order of events, against a small model of what an office expects (on SQLite; both have the same constraints)."""

from __future__ import annotations

import shutil
import tempfile
from datetime import UTC, date, datetime
from pathlib import Path

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from sqlalchemy import select

from replacements.ballots import life
from replacements.ballots.desk import receive
from replacements.ballots.ledger import append, verify
from replacements.ballots.life import NotPossible
from replacements.ballots.reconciling import reconcile
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.tables import LIVE_STATES, Ballot, Election

ELECTION = "e"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
TODAY = date(2031, 10, 7)
VOTERS = ("V1", "V2")
_templates: list[tempfile.TemporaryDirectory[str]] = []  # removed when the tests end


def _fresh() -> tuple[Database, Path]:
    if not _templates:
        _templates.append(tempfile.TemporaryDirectory(prefix="office-model-"))
        database = Database(f"{_templates[0].name}/template.sqlite3")
        migrate(database)
        database.close()
    folder = Path(tempfile.mkdtemp(prefix="office-model-"))
    shutil.copyfile(Path(_templates[0].name) / "template.sqlite3", folder / "office.sqlite3")
    return Database(str(folder / "office.sqlite3")), folder


class Office(RuleBasedStateMachine):
    """The model: each ballot's state, its voter, what it replaces; and whether it was mailed."""

    def __init__(self) -> None:
        super().__init__()
        self.database, self.folder = _fresh()
        self.state: dict[str, str] = {}
        self.voter: dict[str, str] = {}
        self.replaces: dict[str, str] = {}
        self.before: dict[str, str] = {}
        self.mailed: set[str] = set()
        self.set_aside: set[str] = set()
        with self.database.write() as session:
            session.add(Election(id=ELECTION, name="E", held_on=date(2031, 11, 4), created_at=AT))
            session.flush()
            for place, voter in enumerate(VOTERS, 1):
                number = f"{place}"
                session.add(Ballot(number=number, election_id=ELECTION, voter_id=voter, style="A", state="issued"))
                details = {"state": "issued", "style": "A"}
                session.flush()
                append(
                    session, event="imported", election_id=ELECTION, by="import", at=AT, ballot_number=number,
                    voter_id=voter, details=details,
                )  # fmt: skip
                self.state[number], self.voter[number] = "issued", voter

    def teardown(self) -> None:
        self.database.close()
        shutil.rmtree(self.folder)

    def pick(self, choice: int) -> str:
        return sorted(self.state)[choice % len(self.state)]

    def others(self, number: str) -> list[str]:
        return [other for other in self.state if other != number and self.voter[other] == self.voter[number]]

    def may(self, expected: bool, act: str, about: str, /, **how: object) -> Ballot | None:
        """Do it for real; it must succeed exactly if the model expects it."""
        try:
            with self.database.write() as session:
                done = getattr(life, act)(session, by="kim", at=AT, **how)
        except NotPossible as refusal:
            if expected:
                raise AssertionError(f"{act} {about} in {self.state} was refused") from refusal
            return None
        assert expected, f"{act} {about} in {self.state} was not refused"
        return done if isinstance(done, Ballot) else None

    @rule(choice=st.integers(0, 30), original=st.sampled_from(["void", "suspend"]))
    def reissue(self, choice: int, original: str) -> None:
        number = self.pick(choice)
        expected = self.state[number] in ("issued", "undeliverable")
        new = self.may(expected, "reissue", number, number=number, cause="spoiled", prefix="7", original=original)
        if new is not None:
            assert new.number not in self.state
            self.before[number] = self.state[number]
            self.state[number] = "voided" if original == "void" else "suspended"
            self.state[new.number], self.voter[new.number] = "issued", self.voter[number]
            self.replaces[new.number] = number

    @precondition(lambda self: self.replaces)
    @rule(choice=st.integers(0, 30))
    def take_back(self, choice: int) -> None:
        number = sorted(self.replaces)[choice % len(self.replaces)]
        expected = self.state[number] == "issued" and number not in self.mailed
        self.may(expected, "take_back", number, replacement=number, reason="found")
        if expected:
            original = self.replaces[number]
            self.state[number], self.state[original] = "voided", self.before[original]
            if original in self.set_aside:
                self.state[original] = "returned"
                self.set_aside.discard(original)

    @rule(choice=st.integers(0, 30))
    def mail(self, choice: int) -> None:
        number = self.pick(choice)
        expected = self.state[number] == "issued" and number not in self.mailed
        self.may(expected, "mark_mailed", number, numbers=[number], on=TODAY)
        if expected:
            self.mailed.add(number)

    @rule(choice=st.integers(0, 30), act=st.sampled_from(["mark_undeliverable", "void", "challenge", "cure"]))
    def simple(self, choice: int, act: str) -> None:
        number = self.pick(choice)
        states, after = {
            "mark_undeliverable": (("issued",), "undeliverable"),
            "void": (("issued", "undeliverable", "returned", "challenged", "suspended"), "voided"),
            "challenge": (("returned",), "challenged"),
            "cure": (("challenged",), "returned"),
        }[act]
        how = {"number": number} | ({"reason": "wrong_style"} if act in ("void", "challenge") else {})
        expected = self.state[number] in states
        self.may(expected, act, number, **how)
        if expected:
            self.state[number] = after

    def give_way(self, number: str) -> bool:
        """A suspended original is back: is it first? Then its live replacement is void."""
        rivals = [other for other in self.others(number) if self.state[other] in LIVE_STATES]
        if any(self.state[other] in ("returned", "accepted", "challenged") for other in rivals):
            return False
        for other in rivals:
            self.state[other] = "voided"
        return True

    @rule(choice=st.integers(0, 30))
    def accept(self, choice: int) -> None:
        number = self.pick(choice)
        was = self.state[number]
        expected = was == "returned" or (was == "suspended" and self.give_way(number))
        self.may(expected, "accept", number, number=number)
        if expected:
            self.state[number] = "accepted"
            for other in self.others(number):
                if self.state[other] == "suspended":
                    self.state[other] = "voided"

    @rule(choice=st.integers(0, 30))
    def comes_back(self, choice: int) -> None:
        number = self.pick(choice)
        was = self.state[number]
        live = was in LIVE_STATES or (was == "suspended" and self.give_way(number))
        with self.database.write() as session:
            answer = receive(session, number, election_id=ELECTION, by="desk", at=AT)
        assert answer.verdict == ("live" if live else "stop")
        if was == "voided":
            self.set_aside.add(number)
        if live and was in ("issued", "undeliverable", "suspended"):
            self.state[number] = "returned"

    @invariant()
    def what_is_on_record_is_what_the_office_expects(self) -> None:
        with self.database.read() as session:
            found = {row.number: row.state for row in session.execute(select(Ballot.number, Ballot.state))}
            assert found == self.state
            assert verify(session).broken is None
            counted = reconcile(session, ELECTION)
            assert counted.differences == ()
            assert counted.agrees
        for voter in VOTERS:
            mine = [self.state[number] for number in self.state if self.voter[number] == voter]
            assert sum(state in LIVE_STATES for state in mine) <= 1


TestOffice = Office.TestCase
TestOffice.settings = settings(
    max_examples=40,
    stateful_step_count=20,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.generate],  # a failing row of 20 events is short enough; making it shorter takes long
)
