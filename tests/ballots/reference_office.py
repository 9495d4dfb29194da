"""A small model of what an office expects of its ballots, written without looking at how the service does it: the
reference that random rows of events, and all situations that can be reached, are held against."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import astuple, dataclass, field
from datetime import UTC, date, datetime
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots import life
from replacements.ballots.desk import receive
from replacements.ballots.ledger import append
from replacements.ballots.undoing import undo
from replacements.store.database import Database
from replacements.store.tables import Ballot, Election, LedgerEntry, Mailing, Packet

ELECTION = "e"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
TODAY = date(2031, 10, 7)
LIVE = ("issued", "undeliverable", "returned", "accepted", "challenged")
BACK = ("returned", "accepted", "challenged")


class Undoable(NamedTuple):
    """What the last scan of a ballot did, as long as nothing happened since."""

    before: str
    rival: str | None = None  # the replacement that gave way to it
    rival_before: str = ""
    pulled: bool = False  # and whose packet was taken out: that cannot be undone


@dataclass
class Paper:
    """A ballot in the model. `aside`: it came back while it was void or suspended, and was stopped."""

    voter: str
    state: str = "issued"
    replaces: str | None = None
    before: str = ""  # where it was when it was replaced
    mailed: bool = False
    packet: str = ""
    aside: bool = False
    scan: Undoable | None = None


@dataclass
class Model:
    papers: dict[str, Paper] = field(default_factory=dict)

    def copy(self) -> Model:
        return copy.deepcopy(self)

    def situation(self) -> tuple[object, ...]:
        return tuple((number, *astuple(paper)) for number, paper in self.papers.items())

    def rivals(self, number: str) -> list[Paper]:
        mine = self.papers[number]
        return [paper for other, paper in self.papers.items() if other != number and paper.voter == mine.voter]

    def number_of(self, paper: Paper) -> str:
        return next(number for number, one in self.papers.items() if one is paper)

    def first_back(self, number: str) -> Undoable | None:
        """A suspended original is back: is it first? Then its live replacement is void."""
        live = [paper for paper in self.rivals(number) if paper.state in LIVE]
        if any(paper.state in BACK for paper in live):
            return None
        done = Undoable("suspended")
        for paper in live:
            done = Undoable("suspended", self.number_of(paper), paper.state, paper.packet == "queued")
            paper.state, paper.scan = "voided", None
            paper.packet = "pulled" if paper.packet == "queued" else paper.packet
        return done

    def does(self, act: str, number: str) -> bool:
        """Whether the office expects this to be possible; if so, the model has done it (but for a new number)."""
        paper = self.papers[number]
        done: bool = getattr(self, f"_{act}")(number, paper)
        return done

    def _to(self, paper: Paper, state: str, *allowed: str) -> bool:
        if paper.state not in allowed:
            return False
        paper.state, paper.scan = state, None
        return True

    def _reissue_void(self, number: str, paper: Paper) -> bool:
        before = paper.state
        if not self._to(paper, "voided", "issued", "undeliverable"):
            return False
        paper.before, paper.aside = before, False
        return True

    def _reissue_suspend(self, number: str, paper: Paper) -> bool:
        done = self._reissue_void(number, paper)
        paper.state = "suspended" if done else paper.state
        return done

    def _take_back(self, number: str, paper: Paper) -> bool:
        if paper.replaces is None or paper.state != "issued" or paper.mailed or paper.packet == "frozen":
            return False
        original = self.papers[paper.replaces]
        paper.state = "voided"
        original.state, original.aside = ("returned" if original.aside else original.before), False
        paper.scan = original.scan = None
        return True

    def _close(self, number: str, paper: Paper) -> bool:
        if paper.packet == "queued" and paper.state == "issued":
            paper.packet = "frozen"
        return True

    def _mail(self, number: str, paper: Paper) -> bool:
        if paper.state != "issued" or paper.mailed:
            return False
        paper.mailed, paper.scan = True, None
        return True

    def _bring_back(self, number: str, paper: Paper) -> bool:
        done = self._to(paper, "undeliverable", "issued")
        paper.scan = Undoable("issued") if done else paper.scan
        return done

    def _void(self, number: str, paper: Paper) -> bool:
        done = self._to(paper, "voided", "issued", "undeliverable", "returned", "challenged", "suspended")
        paper.aside = paper.aside and not done
        return done

    def _challenge(self, number: str, paper: Paper) -> bool:
        return self._to(paper, "challenged", "returned")

    def _cure(self, number: str, paper: Paper) -> bool:
        return self._to(paper, "returned", "challenged")

    def _accept(self, number: str, paper: Paper) -> bool:
        if paper.state not in ("returned", "suspended") or (
            paper.state == "suspended" and self.first_back(number) is None
        ):
            return False
        paper.state, paper.scan = "accepted", None
        for other in self.rivals(number):
            if other.state == "suspended":
                other.state, other.aside = "voided", False
        return True

    def _come_back(self, number: str, paper: Paper) -> bool:
        """Whether the desk says "live"."""
        if paper.state in BACK:
            return True
        if paper.state in ("issued", "undeliverable"):
            paper.scan = Undoable(paper.state)
            paper.state = "returned"
            return True
        done = self.first_back(number) if paper.state == "suspended" else None
        if done is None:
            paper.aside = True
            return False
        paper.state, paper.scan = "returned", done
        return True

    def _undo_scan(self, number: str, paper: Paper) -> bool:
        scan = paper.scan
        if scan is None or scan.pulled:
            return False
        paper.state, paper.scan = scan.before, None
        if scan.rival is not None:
            self.papers[scan.rival].state = scan.rival_before
        return True


def _reissue(session: Session, number: str, original: str) -> Ballot:
    new = life.reissue(session, number=number, cause="spoiled", by="kim", at=AT, prefix="7", original=original)
    mailing = session.scalars(select(Mailing)).first()
    assert mailing is not None
    session.add(
        Packet(
            mailing_id=mailing.id, voter_id=new.voter_id, ballot_number=new.number, contents=[], queued_at=AT,
            state="queued",
        )
    )  # fmt: skip
    session.flush()
    return new


def _close(session: Session, number: str) -> None:
    """The mailing closes over this ballot's packet, as far as the ballot is still to be mailed."""
    if life.locked(session, number).state == "issued":
        for packet in session.scalars(select(Packet).where(Packet.ballot_number == number, Packet.state == "queued")):
            packet.state = "frozen"
    session.flush()


def _come_back(session: Session, number: str) -> None:
    if receive(session, number, election_id=ELECTION, by="desk", at=AT).verdict != "live":
        raise Stopped(number)


def _undo_scan(session: Session, number: str) -> None:
    entry = session.scalars(
        select(LedgerEntry)
        .where(LedgerEntry.ballot_number == number, LedgerEntry.event.in_(("returned", "undeliverable")))
        .order_by(LedgerEntry.seq.desc())
        .limit(1)
    ).first()
    if entry is None:
        raise life.NotPossible("nothing was scanned")
    undo(session, entry, reason="another envelope", by="desk", at=AT)


class Stopped(Exception):
    """The desk said stop: that is recorded, and no refusal."""


ACTS: dict[str, Callable[[Session, str], object]] = {
    "reissue_void": lambda s, n: _reissue(s, n, "void"),
    "reissue_suspend": lambda s, n: _reissue(s, n, "suspend"),
    "take_back": lambda s, n: life.take_back(s, replacement=n, reason="found", by="kim", at=AT),
    "close": _close,
    "mail": lambda s, n: life.mark_mailed(s, numbers=[n], on=TODAY, by="kim", at=AT),
    "bring_back": lambda s, n: life.mark_undeliverable(s, number=n, by="desk", at=AT),
    "void": lambda s, n: life.void(s, number=n, reason="wrong_style", by="kim", at=AT),
    "challenge": lambda s, n: life.challenge(s, number=n, reason="no signature", by="kim", at=AT),
    "cure": lambda s, n: life.cure(s, number=n, by="kim", at=AT),
    "accept": lambda s, n: life.accept(s, number=n, by="kim", at=AT),
    "come_back": _come_back,
    "undo_scan": _undo_scan,
}


def act(session: Session, model: Model, what: str, number: str) -> bool:
    """Do it in the service and in the model; they must agree whether it is possible. Returns whether it was."""
    before = model.situation()
    expected = model.does(what, number)
    try:
        made = ACTS[what](session, number)
        done = True
    except (life.NotPossible, Stopped):
        made, done = None, False
    assert done == expected, f"{what} {number} in {before}: the office expects {expected}"
    if isinstance(made, Ballot) and what.startswith("reissue"):
        assert made.number not in model.papers
        model.papers[made.number] = Paper(model.papers[number].voter, replaces=number, packet="queued")
    return done


def found_as_expected(session: Session, model: Model) -> None:
    session.flush()
    rows = session.execute(select(Ballot.number, Ballot.state))
    assert {row.number: row.state for row in rows} == {number: paper.state for number, paper in model.papers.items()}


def begin(database: Database, voters: int) -> Model:
    """An election with a ballot for each voter, imported, and a mailing to queue in."""
    model = Model()
    with database.write() as session:
        session.add(Election(id=ELECTION, name="E", held_on=date(2031, 11, 4), created_at=AT))
        session.flush()
        session.add(Mailing(election_id=ELECTION, goes_on=TODAY))
        for place in range(1, voters + 1):
            number, voter = f"{place}", f"V{place}"
            session.add(Ballot(number=number, election_id=ELECTION, voter_id=voter, style="A", state="issued"))
            session.flush()
            details = {"state": "issued", "style": "A", "mailed_on": None, "returned_on": None}
            append(
                session, event="imported", election_id=ELECTION, by="import", at=AT, ballot_number=number,
                voter_id=voter, details=details,
            )  # fmt: skip
            model.papers[number] = Paper(voter)
    return model
