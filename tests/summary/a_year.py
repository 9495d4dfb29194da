"""A random year of an office: ballots out, requests, decisions, mailings, ballots that come back. All invented.

Some things are put in so that there is something to find: the post brings back much more from one precinct, and one
clerk decides otherwise than proposed more often than the others.
"""

from __future__ import annotations

import heapq
import json
import random
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256
from itertools import count
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from replacements.store.database import Database
from replacements.store.senders import account_of
from replacements.store.tables import (
    Account,
    Ballot,
    Base,
    Correction,
    Election,
    LedgerEntry,
    Mailing,
    Message,
    Packet,
    PastRequest,
    Reply,
    Request,
    VoterRow,
)

ELECTION, ZONE = "2031-06-24-primary", "America/New_York"
HELD_ON = date(2031, 6, 24)  # in the middle of the year
FIRST, WEEKS = date(2031, 1, 6), 52
OFFICE = ZoneInfo(ZONE)
EARLIER, EARLIER_ON = "Primary 2029", date(2029, 6, 26)
CLERKS = ("ada", "bo", "cyd")
BURST = datetime(2031, 3, 6, 9, tzinfo=UTC)
OFTEN_OTHERWISE, OFTEN_BROUGHT_BACK = "cyd", "P07"
_KINDS = (["spoiled_ballot"], ["not_received"], ["question"], ["spoiled_ballot", "address_change"], ["other"])
_CAUSES = ("spoiled", "damaged", "not_received", "lost")
_LANGUAGES = ("en", "en", "en", "es", "vi", "ko")


class Year:
    """Makes the year, moment by moment; rows are kept until `store` puts them into the database."""

    def __init__(
        self, *, requests: int, voters: int, seed: int, weight: int = 0, never: float = 0.03, election: str = ELECTION
    ) -> None:
        """`weight`: characters of padding in what judging wrote down. `never`: the share that nobody decides."""
        self.election, self.never = election, never
        self.random, self.weight = random.Random(seed), weight
        self.rows: dict[type[Base], list[dict[str, Any]]] = {}
        self.seq, self.numbers, self.ids, self.packets = count(1), count(voters + 1), count(1), count(1)
        self.others, self.replies = count(10 * requests + 1), count(1)
        self.todo: list[tuple[datetime, int, Callable[[], None]]] = []
        self.order, self.now = count(), datetime.combine(FIRST, time(), OFFICE)
        self.voters: list[dict[str, Any]] = []
        self.ballots: dict[str, dict[str, Any]] = {}  # the present ballot of each voter
        self.mailings: dict[date, int] = {}
        self._start(voters)
        self._before(requests // 5)
        for _ in range(requests):
            self._at(self._some_moment(), self._request)
        for minute in range(9):  # much at once, in a quiet week
            self._at(BURST + timedelta(minutes=minute), self._request)
        while self.todo:
            self.now, _, what = heapq.heappop(self.todo)
            what()

    def store(self, database: Database) -> None:
        with database.write() as session:
            if session.get(Election, self.election) is None:
                begun = datetime(2030, 12, 1, tzinfo=UTC)
                session.add(Election(id=self.election, name="Primary", held_on=HELD_ON, created_at=begun))
            for name in CLERKS:
                session.add(
                    Account(name=name, password_hash="x", roles=["clerk"], created_at=datetime(2030, 12, 1, tzinfo=UTC))
                )
            session.flush()
            self._follow(session)
            for table in (VoterRow, Ballot, LedgerEntry, Message, Request, Mailing, Packet, Correction, Reply):
                self._insert(session, table)
            self._insert(session, PastRequest)

    def _follow(self, session: Session) -> None:
        """The ledger goes on after what is on it."""
        last = session.scalars(select(LedgerEntry).order_by(LedgerEntry.seq.desc()).limit(1)).first()
        rows = self.rows[LedgerEntry]
        if last is not None:
            rows[0]["prev_hash"] = last.hash
            for row in rows:
                row["seq"] += last.seq

    def _insert(self, session: Session, table: type[Base]) -> None:
        rows = self.rows.get(table, [])
        for start in range(0, len(rows), 5_000):
            session.execute(insert(table), rows[start : start + 5_000])

    def _add(self, table: type[Base], **row: Any) -> dict[str, Any]:
        self.rows.setdefault(table, []).append(row)
        return row

    def _at(self, moment: datetime, what: Callable[[], None]) -> None:
        end = datetime.combine(FIRST + timedelta(weeks=WEEKS), time(), OFFICE)
        if moment < end:
            heapq.heappush(self.todo, (moment, next(self.order), what))

    def _some_moment(self) -> datetime:
        """Most of it in the weeks before the election, by day."""
        middle = (HELD_ON - FIRST).days - 12
        day = round(self.random.gauss(middle, 50)) if self.random.random() < 0.7 else self.random.randrange(WEEKS * 7)
        clock = time(min(23, max(0, round(self.random.gauss(13, 4)))), self.random.randrange(60))
        return datetime.combine(FIRST + timedelta(days=day % (WEEKS * 7)), clock, OFFICE).astimezone(UTC)

    def _start(self, voters: int) -> None:
        for n in range(voters):
            precinct = self.random.randrange(1, 25)
            voter = self._add(
                VoterRow,
                voter_id=f"V{n}",
                last_name="Q",
                first_name="Q",
                style=f"S{precinct % 8}",
                precinct=f"P{precinct:02}",
                overseas=self.random.random() < 0.03,
                number=n + 1,
            )
            self.voters.append(voter)
            if n % 50:
                loaded = self.now.astimezone(UTC) + timedelta(days=21 * self.random.randrange(3), hours=9)
                self._at(loaded, lambda voter=voter, n=n: self._load(voter, f"{n + 1}"))  # type: ignore[misc]

    def _before(self, requests: int) -> None:
        """Requests of an earlier election, as an office loads them: around its day, a line each."""
        for n in range(requests):
            received = EARLIER_ON + timedelta(days=self.random.randrange(-120, 60))
            outcome = self.random.choice(("reissued", "reissued", "declined", "other"))
            mailed = received + timedelta(days=self.random.randrange(5)) if outcome == "reissued" else None
            self._add(
                PastRequest,
                election=EARLIER,
                held_on=EARLIER_ON,
                reference=f"{n}",
                received_on=received,
                kind=self.random.choice(_KINDS)[0],
                cause=_CAUSES[n % 4] if outcome == "reissued" and n % 9 else "",
                outcome=outcome,
                mailed_on=mailed,
                style="",  # such a file says nothing of styles
                precinct=f"P{n % 24 + 1:02}" if n % 7 else "",
                language=_LANGUAGES[n % 6] if n % 11 else "",
                loaded_at=self.now,
            )

    def _load(self, voter: dict[str, Any], number: str) -> None:
        ballot = self._ballot(voter, number, None)
        if self.random.random() < 0.02:
            ballot["state"] = "returned"
        self._event("imported", ballot, state=ballot["state"])
        if self.random.random() < 0.4:
            self._at(self._later(90), lambda: self._comes_back(voter["voter_id"]))

    def _ballot(self, voter: dict[str, Any], number: str, replaces: str | None) -> dict[str, Any]:
        ballot = self._add(
            Ballot,
            number=number,
            election_id=self.election,
            voter_id=voter["voter_id"],
            style=voter["style"],
            state="issued",
            replaces=replaces,
            void_reason=None,
        )
        self.ballots[voter["voter_id"]] = ballot
        return ballot

    def _event(self, event: str, ballot: dict[str, Any], **details: Any) -> None:
        seq = next(self.seq)
        self._add(
            LedgerEntry,
            seq=seq,
            at=self.now.astimezone(UTC).isoformat(timespec="microseconds"),
            event=event,
            election_id=self.election,
            ballot_number=ballot["number"],
            voter_id=ballot["voter_id"],
            by="x",
            details=json.dumps({**details, "style": ballot["style"]}, sort_keys=True, separators=(",", ":")),
            prev_hash=sha256(f"{seq - 1}".encode()).hexdigest() if seq > 1 else "0" * 64,
            hash=sha256(f"{seq}".encode()).hexdigest(),
        )

    def _moves(self, event: str, ballot: dict[str, Any], becomes: str, **details: Any) -> None:
        before, ballot["state"] = ballot["state"], becomes
        self._event(event, ballot, **{"from": before}, **details)

    def _later(self, days: float) -> datetime:
        return self.now + timedelta(days=self.random.uniform(0.2, days))

    def _comes_back(self, voter_id: str) -> None:
        ballot = self.ballots[voter_id]
        chance, again = self.random.random(), self.random.random()
        often = self.voters[int(voter_id[1:])]["precinct"] == OFTEN_BROUGHT_BACK
        if ballot["state"] == "issued" and chance < (0.4 if often else 0.08):
            self._moves("undeliverable", ballot, "undeliverable")
            if again < 0.1:  # the wrong number was typed
                self._event("return_undone", ballot, **{"from": "undeliverable", "to": "issued"})
                ballot["state"] = "issued"
        elif ballot["state"] in ("issued", "undeliverable"):
            self._moves("returned", ballot, "returned")
            if chance < 0.12:
                self._event("return_undone", ballot, **{"from": "returned", "to": "issued"})
                ballot["state"] = "issued"
            elif chance < 0.2:
                self._moves("challenged", ballot, "challenged", reason="signature")
                if chance < 0.16:
                    self._moves("cured", ballot, "returned")
                else:
                    self._moves("voided", ballot, "voided", reason="rejected")
            elif chance < 0.9:
                self._at(self._later(3), lambda: self._accepted(ballot))

    def _accepted(self, ballot: dict[str, Any]) -> None:
        if ballot["state"] == "returned":
            event = "import_changed" if self.random.random() < 0.2 else "accepted"
            self._moves(event, ballot, "accepted", **({"state": "accepted"} if event == "import_changed" else {}))

    def _request(self) -> None:
        voter = self.random.choice(self.voters) if self.random.random() < 0.95 else None
        number, kinds = next(self.ids), self.random.choice(_KINDS)
        p = round(self.random.uniform(0.4, 1.0), 3)
        sender = self.random.randrange(len(self.voters) * 3)
        first = voter if voter is None or self.random.random() < 0.9 else self.random.choice(self.voters)
        if self.random.random() < 0.04:  # machine mail makes no request
            own = next(self.others)
            self._add(
                Message,
                id=own,
                fingerprint=f"f{own}",
                sender="robot@mail.example",
                arrived_at=self.now,
                stored_at=self.now,
                state="filed",
                judgement=None,
            )
        address = f"s{sender}{'+x' if number % 40 == 0 else ''}@mail.example"
        self._add(
            Message,
            id=number,
            fingerprint=f"f{number}",
            sender=address,
            arrived_at=self.now,
            stored_at=self.now,
            state="read",
            judgement={"language": "en", "kinds": [{"kind": kinds[0], "because": ["x" * self.weight]}]},
        )
        request = self._add(
            Request,
            id=number,
            election_id=self.election,
            message_id=number,
            mail_account=account_of(address),
            kinds=kinds,
            cause=self.random.choice(_CAUSES),
            standing=self.random.choice(("certain", "likely", "unclear")) if voter else "none",
            voter_id=voter["voter_id"] if voter else None,
            proposal="reissue" if kinds[0] in ("spoiled_ballot", "not_received") else "answer",
            reasons=[],
            judged={"because": "x" * self.weight},
            language=self.random.choice(_LANGUAGES),
            who_claimed=first["voter_id"] if first else None,
            who_p=p,
            kind_claimed=kinds[0],
            kind_p=p,
            state=self.random.choice(("waiting", "waiting", "second", "filed")),
            two_people=self.random.random() < 0.1,
            received_at=self.now,
            decision=None,
            decided_by=None,
            decided_at=None,
            voided_ballot=None,
            issued_ballot=None,
            continues=number - 1 if number > 1 and self.random.random() < 0.03 else None,
        )
        if self.random.random() >= self.never:
            self._at(self._later(1.5), lambda: self._decide(request, voter))
        if self.random.random() < 0.02:
            for _ in range(self.random.randrange(1, 3)):  # the newest counts
                said = self.random.choice(_KINDS)
                self._add(Correction, message_id=number, kinds=said, cause=None, account="ada", at=self.now)

    def _decide(self, request: dict[str, Any], voter: dict[str, Any] | None) -> None:
        chance, ballot = self.random.random(), self.ballots.get(request["voter_id"] or "")
        request["decided_at"] = self.now
        request["decided_by"] = self.random.choice((*CLERKS, "rules: clear case"))
        self._reply(request)
        if chance < 0.05:
            request["state"], request["decision"] = "declined", "declined"
            return
        if chance < 0.07:
            request.update(state="declined", decision="lapsed", decided_by="rules: waiting")
            return
        if chance < 0.09:
            request["state"], request["decision"] = "asked", "ask_identity"
            return
        follows = 0.7 if request["decided_by"] == OFTEN_OTHERWISE else 0.95
        request["state"], request["decision"] = "done", request["proposal"] if chance < follows else "read"
        if request["decision"] != "reissue":
            return
        if voter is None or ballot is None or ballot["state"] not in ("issued", "undeliverable"):
            request["decision"] = "come_in"
            return
        state = "suspended" if self.random.random() < 0.05 else "voided"
        number = f"{next(self.numbers)}"
        self._moves(state, ballot, state, reason=request["cause"], replaced_by=number)
        if state == "voided":
            ballot["void_reason"] = request["cause"]
        old, new = ballot, self._ballot(voter, number, ballot["number"])
        self._event("reissued", new, reason=request["cause"], replaces=old["number"])
        request["voided_ballot"], request["issued_ballot"] = old["number"], number
        if chance < 0.1:
            self._moves("voided", new, "voided", reason="cancelled", reinstated=old["number"])
            new["void_reason"] = "cancelled"
            self._event("reinstated", old, **{"from": state, "to": "issued"})
            old["state"], self.ballots[voter["voter_id"]] = "issued", old
            request["voided_ballot"] = request["issued_ballot"] = None
            return
        self._packet(request, new)
        if self.random.random() < 0.5:
            self._at(self._later(25), lambda: self._comes_back(voter["voter_id"]))
        if state == "voided" and self.random.random() < 0.01:
            self._at(self._later(10), lambda: self._event("returned_after_void", old, state="voided"))

    def _reply(self, request: dict[str, Any]) -> None:
        number, chance = next(self.replies), self.random.random()
        self._add(
            Reply,
            id=number,
            request_id=request["id"],
            election_id=request["election_id"],
            message_id=f"<{number}@office.example>",
            template="answer",
            language="en",
            to="x@mail.example",
            subject="",
            text="",
            html="",
            state="sent" if chance < 0.9 else "failed" if chance < 0.93 else "cancelled",
            queued_at=self.now,
            next_try_at=self.now,
            sent_at=self.now + timedelta(hours=self.random.uniform(0, 30)) if chance < 0.9 else None,
        )

    def _packet(self, request: dict[str, Any], ballot: dict[str, Any]) -> None:
        goes_on = self.now.astimezone(OFFICE).date() + timedelta(days=1 + (self.random.random() < 0.15))
        while goes_on.weekday() > 4:
            goes_on += timedelta(days=1)
        state = "open" if goes_on.toordinal() % 40 == 0 else "mailed"  # some mailings nobody ever signs
        if goes_on not in self.mailings:
            self.mailings[goes_on] = len(self.mailings) + 1
            late = timedelta(days=goes_on.day % 10 == 3)  # and some are signed on the day after
            mailed = datetime.combine(goes_on + late, time(16), OFFICE)
            self._add(
                Mailing,
                id=self.mailings[goes_on],
                election_id=self.election,
                goes_on=goes_on,
                state=state,
                mailed_at=mailed.astimezone(UTC) if state == "mailed" else None,
            )
        self._add(
            Packet,
            id=next(self.packets),
            mailing_id=self.mailings[goes_on],
            request_id=request["id"],
            voter_id=request["voter_id"],
            ballot_number=ballot["number"],
            style=ballot["style"],
            received_at=request["received_at"],
            contents=[],
            state="pulled" if self.random.random() < 0.02 else "mailed" if state == "mailed" else "queued",
            queued_at=self.now,
        )
