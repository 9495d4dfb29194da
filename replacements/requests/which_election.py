"""Which of several open elections a message is about, person by person, and its judgement by that election's rules.

A ballot's number, the words of the message, the thread that it answers and the voter's own ballots say so, in this
order. Where they do not, or contradict each other, a person chooses: voiding the ballot of the wrong election takes
away a vote. Where it makes no difference (a general question with the same answer, a question who is writing), nobody
is asked.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from replacements.mail.letter import Letter
from replacements.proposals.situation import BACK, OUT
from replacements.proposals.types import Action, BallotOnRecord, Because, Proposal
from replacements.reading.types import Kind, Reading
from replacements.replies.texts import NoText
from replacements.requests import drafting
from replacements.requests.election_words import ANOTHER, Named, named_in
from replacements.requests.judging import NO_REPLY, UNDECIDED, Asked, History, Judgement, NoHistory, Place, judge
from replacements.requests.office import InForce, next_of
from replacements.requests.records import Ballots
from replacements.roll.types import Roll, Voter
from replacements.rules.calendar import local, return_limit

RULE = "trade.which_election"
RULE_CLOSED = "trade.election_closed"
# What says which election something is about.
NUMBER, WORDS, THREAD, BALLOTS, NEXT, PERSON = "number", "words", "thread", "ballots", "next", "person"
# What a person who chose wrongly could not take back, or what tells a voter of one election's ballots.
ABOUT_ONE = frozenset(Action) - {*NO_REPLY, Action.ASK_IDENTITY, Action.ANSWER, Action.SEND_FORM}


@dataclass(frozen=True, slots=True)
class OpenElection:
    """One open election, as far as judging needs it."""

    force: InForce
    ballots: Ballots
    history: History | None = None


def judge_among(
    letter: Letter,
    *,
    roll: Roll,
    elections: Sequence[OpenElection],
    at: datetime | None = None,
    now: datetime | None = None,
    known: Reading | None = None,
    clock: Callable[[], float] = time.perf_counter,
) -> Judgement:
    """Judge a message among the elections that are open (one at least). With one, as `judge` does; with several, each
    person's request by the rules of the election it is about, which `Asked.place` names. Other arguments as there."""
    at = at or letter.arrived
    now = now or at
    if len(elections) == 1:
        only = elections[0]
        found = judge(
            letter, roll=roll, ballots=only.ballots, rules=only.force.rules, at=at, now=now, history=only.history,
            known=known, clock=clock,
        )  # fmt: skip
        return _closed(found, only.force) if only.force.closed else found
    started = clock()
    by_id = {election.force.election_id: election for election in elections}
    judged: dict[str, Judgement] = {}
    for key, election in by_id.items():
        ballots = _OwnerInAny(election.ballots, [other.ballots for other in elections])
        judged[key] = judge(
            letter, roll=roll, ballots=ballots, rules=election.force.rules, at=at, now=now, history=election.history,
            known=known, clock=clock,
        )  # fmt: skip
        known = judged[key].reading
    return _Sorting(letter, by_id, judged, at).judgement(took=(clock() - started) * 1000)


@dataclass(frozen=True, slots=True)
class _OwnerInAny:
    """One election's ballots, with the owner of a number of any of them: whoever knows it is that voter."""

    own: Ballots
    all: Sequence[Ballots]

    def present(self, voter_id: str) -> BallotOnRecord | None:
        return self.own.present(voter_id)

    def owner(self, number: str) -> str | None:
        return next((owner for ballots in self.all if (owner := ballots.owner(number))), None)

    def is_dead(self, number: str) -> bool:
        return self.own.is_dead(number)


def _closed(judgement: Judgement, force: InForce) -> Judgement:
    """Nothing is proposed in an election that an official has closed: a person reads what still comes."""
    because = Because(RULE_CLOSED, "The election is closed, and no other is open: a person reads what still comes.")
    proposal = Proposal(Action.READ, (because,))
    asked = tuple(
        one if one.proposal.action in NO_REPLY else replace(one, proposal=proposal, in_time=None)
        for one in judgement.asked
    )
    message = judgement.proposal
    if message is not None and message.action not in NO_REPLY:
        message = proposal
    return replace(judgement, asked=asked, proposal=message)


@dataclass(slots=True)
class _Sorting:
    """One message among several elections, judged in each."""

    letter: Letter
    elections: Mapping[str, OpenElection]
    judged: Mapping[str, Judgement]
    at: datetime

    def judgement(self, *, took: float) -> Judgement:
        following = next_of([election.force for election in self.elections.values()], at=self.at)
        assert following is not None  # there are several  # noqa: S101
        base = self.judged[following.election_id]
        named = named_in(self.letter, {key: e.force.rules.election for key, e in self.elections.items()})
        if not base.asked:
            place, proposal = self._message(named, following.election_id)
            of_place = self.judged[place.election_id]
            return replace(of_place, proposal=proposal, place=place, milliseconds=_times(base, took))
        asked = tuple(self._person(number, named, following.election_id) for number in range(len(base.asked)))
        home = asked[0].place or Place(following.election_id, UNDECIDED)
        return replace(base, asked=asked, place=home, milliseconds=_times(base, took))

    # A message that concerns no voter.

    def _message(self, named: Named, following: str) -> tuple[Place, Proposal | None]:
        proposals = {key: judgement.proposal for key, judgement in self.judged.items()}
        clear = self._said(named) or self._thread(same_sender=False)
        if clear is not None and not named.denied:
            return clear, proposals[clear.election_id]
        own = proposals[following]
        running = self._running(None)
        if own is None or own.action in NO_REPLY or self._same_reply({key: proposals[key] for key in running}):
            return Place(following, UNDECIDED, running), own
        if len(running) == 1:
            return Place(running[0], NEXT), proposals[running[0]]
        why = "What is asked has another answer in each election that is open"
        return Place(following, UNDECIDED, running), self._choose(why)

    # One person's request.

    def _person(self, number: int, named: Named, following: str) -> Asked:
        asked = {key: judgement.asked[number] for key, judgement in self.judged.items()}
        place = self._place(asked, named, following)
        if isinstance(place, Place):
            return replace(asked[place.election_id], place=place)
        fits, why = place
        kept = following if following in fits else fits[0]
        own = asked[kept]
        undecided = Place(kept, UNDECIDED, fits)
        actions = {one.proposal.action for one in asked.values()}
        if actions <= {Action.READ, Action.DROP} or actions == {Action.ASK_IDENTITY}:
            return replace(own, place=undecided)
        if actions <= {Action.ANSWER, Action.SEND_FORM} and self._same_reply(
            {key: one.proposal for key, one in asked.items()}, number
        ):
            return replace(own, place=undecided)
        return replace(own, place=undecided, proposal=self._choose(why), in_time=None)

    def _place(self, asked: Mapping[str, Asked], named: Named, following: str) -> Place | tuple[tuple[str, ...], str]:
        """Which election it is; else those that it may be, and why that is not clear."""
        everywhere = tuple(self.elections)
        own = asked[following]
        voters = {one.who.voter.voter_id for one in asked.values() if one.who.voter is not None}
        if len(voters) > 1:
            return everywhere, "The rules of the elections that are open do not agree about who is writing"
        voter = next((one.who.voter for one in asked.values() if one.who.voter is not None), None)
        running = self._running(voter)
        out = tuple(key for key in running if self._is_out(key, asked[key].ballot))
        numbers = {key for key, e in self.elections.items() if any(map(e.ballots.owner, own.person.ballot_numbers))}
        if named.denied or len(named.said) > 1 or len(numbers) > 1 or ANOTHER in named.said:
            return everywhere, "The message names more than one election, or one that is not open"
        if numbers:
            key = next(iter(numbers))
            return Place(key, NUMBER) if named.said <= numbers else (
                everywhere, "The message names one election, and the number of a ballot of another"
            )  # fmt: skip
        said = self._said(named)
        if said is not None:
            nothing_out = asked[said.election_id].proposal.action in (Action.ALREADY_BACK, Action.NO_BALLOT_OUT)
            if nothing_out and [key for key in out if key != said.election_id]:
                one = self._names([said.election_id])
                return everywhere, f"The message names {one}, but the voter's ballot that is out is of another election"
            return said
        thread = self._thread(same_sender=Kind.DETAILS in own.kinds)
        if thread is not None:
            return thread
        return self._by_ballots(asked, named, running, out, voter)

    def _by_ballots(
        self,
        asked: Mapping[str, Asked],
        named: Named,
        running: tuple[str, ...],
        out: tuple[str, ...],
        voter: Voter | None,
    ) -> Place | tuple[tuple[str, ...], str]:
        in_passing = named.mentioned - {ANOTHER}
        if voter is None:
            return (running, "It is not certain who writes") if len(running) > 1 else Place(running[0], NEXT)
        if any(Kind.WITHDRAWAL in one.kinds for one in asked.values()):
            waits = [key for key in self.elections if self._can_stop(key, asked[key].ballot, voter)]
            if len(waits) == 1 and in_passing <= set(waits):
                return Place(waits[0], BALLOTS)
        if len(out) > 1:
            return out, f"Nothing says which election this is about: the voter has a ballot of {self._names(out)}"
        if out:
            if in_passing and in_passing != set(out):
                why = f"The voter's ballot is of {self._names(out)}, but the message speaks of another election"
                return tuple(self.elections), why
            return Place(out[0], BALLOTS)
        back = [key for key in running if (b := asked[key].ballot) is not None and b.state in BACK]
        if len(back) > 1:
            return tuple(back), "The voter's ballots of more than one election are back"
        if back:
            return Place(back[0], BALLOTS)
        if in_passing and len(in_passing) == 1:
            return Place(next(iter(in_passing)), WORDS)
        return Place(running[0], NEXT)

    def _said(self, named: Named) -> Place | None:
        return Place(next(iter(named.said)), WORDS) if len(named.said) == 1 and ANOTHER not in named.said else None

    def _thread(self, *, same_sender: bool) -> Place | None:
        history = next(iter(self.elections.values())).history or NoHistory()
        found = [key for key in history.elections(self.letter, same_sender=same_sender) if key in self.elections]
        return Place(found[0], THREAD) if len(found) == 1 else None

    def _running(self, voter: Voter | None) -> tuple[str, ...]:
        """The elections in which a ballot can still come back in time to count, next one first; all where none is."""
        overseas = bool(voter and voter.overseas)
        by_day = sorted(self.elections, key=lambda key: (self.elections[key].force.rules.election.date, key))
        limits = {key: return_limit(self.elections[key].force.rules, overseas=overseas) for key in by_day}
        return tuple(key for key in by_day if limits[key] >= self.at) or tuple(by_day)

    def _is_out(self, key: str, ballot: BallotOnRecord | None) -> bool:
        """Whether the voter has, or is about to have, a ballot that can come back. One that was mailed later than this
        message is none yet."""
        if ballot is None or ballot.state not in (*OUT, "suspended"):
            return False
        today = local(self.elections[key].force.rules, self.at).date()
        return ballot.mailed_on is None or ballot.mailed_on <= today

    def _can_stop(self, key: str, ballot: BallotOnRecord | None, voter: Voter) -> bool:
        history = self.elections[key].history or NoHistory()
        waits = ballot is not None and ballot.replacement_waits
        return waits or history.open_request(voter.voter_id, self.at) is not None

    def _same_reply(self, proposals: Mapping[str, Proposal | None], number: int | None = None) -> bool:
        """Whether the voter would read the same words, whichever election it is about."""
        texts = set()
        for key in proposals:
            force, judgement = self.elections[key].force, self.judged[key]
            try:
                if number is None:
                    drafted = drafting.draft(judgement, force.rules, adopted=force.adopted)
                    reply = drafted[0] if drafted else None
                else:
                    one = judgement.asked[number]
                    reply = drafting.draft_for(judgement, one, one.proposal.action, force.rules, adopted=force.adopted)
            except NoText:
                return False
            texts.add(reply.text if reply else "")
        return len(texts) == 1

    def _choose(self, why: str) -> Proposal:
        text = f"{why}. Choose the election first: nobody's ballot is voided on a guess."
        return Proposal(Action.READ, (Because(RULE, text),))

    def _names(self, keys: Iterable[str]) -> str:
        names = [self.elections[key].force.name for key in self.elections if key in set(keys)]
        return " and of ".join([f"the {name}" for name in names])


def _times(base: Judgement, took: float) -> dict[str, float]:
    reading = base.milliseconds.get("reading", 0.0)
    return {"reading": reading, "deciding": max(took - reading, 0.0)}
