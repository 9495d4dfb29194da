"""One message judged: read it, find whom it is about, propose what to do, draft the reply. Nothing is written here.

The service and `rehearse` call the same function, so that a rehearsal is the real thing on last year's mail.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Protocol

from replacements.mail.composing import can_be_written_to
from replacements.mail.letter import Letter, Notice, PartLabel, SenderCheck, TextPart
from replacements.proposals.situation import SURE_ENOUGH, WANTS_A_BALLOT, Situation
from replacements.proposals.table import propose
from replacements.proposals.types import Action, BallotOnRecord, Proposal
from replacements.reading.earlier import earlier as earlier_words
from replacements.reading.kinds import find_kinds
from replacements.reading.reader import TOO_LONG, as_far_as_read, read
from replacements.reading.types import AddressRole, Cause, Kind, Person, Reading
from replacements.requests.records import Ballots
from replacements.roll.matching import identify
from replacements.roll.types import AddressClue, Clues, Roll, Voter, Who
from replacements.rules.calendar import local, next_mailing, open_for_post
from replacements.rules.office import Rules
from replacements.rules.transit import InTime, for_voter

# Characters of a letter, of each label, that are read. No voter's letter comes near it, and reading must end: the time
# it takes grows faster than the text, and one letter must not hold all the others up.
THREAD_DAYS = 30  # an earlier message of the same sender counts as the same conversation for so long


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands among several open elections (`which_election`). `by`: what says so. `fits`: the elections
    that it may be about where nothing says so (`by` is `UNDECIDED`); `election_id` then only keeps it somewhere."""

    election_id: str
    by: str
    fits: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Asked:
    """One person's request within a message, judged."""

    person: Person
    who: Who
    proposal: Proposal
    kinds: tuple[Kind, ...]
    cause: Cause | None
    ballot: BallotOnRecord | None
    in_time: InTime | None
    on_file: bool  # the sender's address is on this voter's record
    place: Place | None = None  # None: judged where there is one election only


@dataclass(frozen=True, slots=True)
class Judgement:
    """A message judged. `proposal` is set where it concerns no voter (`asked` empty)."""

    letter: Letter
    reading: Reading
    asked: tuple[Asked, ...]
    proposal: Proposal | None
    notices: tuple[Notice, ...] = ()
    milliseconds: dict[str, float] = field(default_factory=dict)
    place: Place | None = None  # of a message that concerns no voter, or as for `Asked`


@dataclass(frozen=True, slots=True)
class Before:
    """What an earlier message of the same conversation asked for one person."""

    kinds: tuple[Kind, ...]
    cause: Cause | None
    person: Person
    p: float = 1.0  # how surely it was read so; what a person saw and asked about is sure


class History(Protocol):
    """Earlier messages, as far as judging a new one needs them."""

    def of_conversation(self, letter: Letter) -> Sequence[Before]:
        """What earlier messages of the same thread (or of the same sender, lately) asked, newest first."""
        ...

    def open_request(self, voter_id: str, at: datetime) -> int | None:
        """An undecided earlier request for a ballot by this voter."""
        ...

    def elections(self, letter: Letter, *, same_sender: bool) -> frozenset[str]:
        """The elections that the messages of this thread were about, where that was known. `same_sender`: where there
        is no thread, those of the same sender's messages lately."""
        ...


class NoHistory:
    """Each message judged alone."""

    def of_conversation(self, letter: Letter) -> Sequence[Before]:
        return ()

    def open_request(self, voter_id: str, at: datetime) -> int | None:
        return None

    def elections(self, letter: Letter, *, same_sender: bool) -> frozenset[str]:
        return frozenset()


UNDECIDED = "undecided"  # among several elections: a person says which one it is about


def judge(
    letter: Letter,
    *,
    roll: Roll,
    ballots: Ballots,
    rules: Rules,
    at: datetime | None = None,
    now: datetime | None = None,
    history: History | None = None,
    known: Reading | None = None,
    clock: Callable[[], float] = time.perf_counter,
) -> Judgement:
    """Judge one message. Whether it came in time is judged as of `at` (default: its arrival); which mailing a ballot
    could go into, as of `now` (default: `at`). `known`: what was read in this very letter before, when it is judged
    again by other rules. `clock` only measures how long the stages took."""
    at = at or letter.arrived
    now = now or at
    history = history or NoHistory()
    started = clock()
    whole, letter = letter, as_far_as_read(letter)
    reading = known if known is not None else read(letter)
    after_reading = clock()
    # Only who answers a question goes on with what was asked before.
    named = {found.kind for found in reading.kinds}.union(*(person.kinds for person in reading.people))
    earlier = history.of_conversation(letter) if Kind.DETAILS in named else ()
    common = _message_situation(letter, reading, rules)
    asked = tuple(
        _judge_person(person, letter, common, roll, ballots, at, now, history, earlier) for person in reading.people
    )
    proposal = None if asked else propose(common)
    return Judgement(
        replace(whole, notices=letter.notices),
        reading,
        asked,
        proposal,
        letter.notices + _notices(letter, reading),
        {"reading": (after_reading - started) * 1000, "deciding": (clock() - after_reading) * 1000},
    )


def clues_of(person: Person, ballots: Ballots) -> Clues:
    """What was read about a person, in the terms of the roll."""
    owned = {number: owner for number in person.ballot_numbers if (owner := ballots.owner(number))}
    return Clues(
        names=person.names or ((person.name,) if person.name else ()),
        suffix=person.suffix,
        birth_dates=person.birth_dates,
        age=person.age,
        addresses=tuple(
            AddressClue(a.street, a.unit, a.city, a.state, a.zip, moved=a.role is AddressRole.NEW)
            for a in person.addresses
        ),
        voter_ids=tuple(number for number in person.voter_ids if number not in owned),
        ballot_owners=tuple(owned.values()),
        phones=person.phones,
        emails=person.emails,
        own_request=person.is_writer,
    )


def _quoted(letter: Letter) -> Before | None:
    """What was asked before, as far as the quoted part of a reply tells, where the earlier message is not at hand: in
    the writer's own words first, then in those in which the office repeats them."""
    said = earlier_words(letter)
    before: Before | None = None
    if said.own:
        before = _asked_in(letter, said.own)
    for sentence in said.told:
        again = _asked_in(letter, sentence)
        if again and (before is None or (again.kinds == before.kinds and again.p > before.p)):
            before = again
    return before or _asked_in(letter, letter.text(PartLabel.QUOTED))


def _asked_in(letter: Letter, words: str) -> Before | None:
    """The one wish for another ballot in these words of an earlier letter, with why; or None."""
    if not words.strip():
        return None
    found = find_kinds(_letter_of(letter, words))
    asked = [k for k in found.kinds if k.kind in WANTS_A_BALLOT and k.p >= SURE_ENOUGH]
    if len(asked) != 1:
        return None
    return Before(kinds=(asked[0].kind,), cause=found.cause, person=Person(name=""), p=asked[0].p)


def _letter_of(letter: Letter, words: str) -> Letter:
    return replace(letter, subject="", parts=(TextPart(PartLabel.NEW, words),), attachments=(), notices=())


def _together(person: Person, before: Before) -> Person:
    """What the writer says now, filled up with what they said before. The new words come first and win."""
    old = before.person
    return replace(
        person,
        name=person.name or old.name,
        names=tuple(dict.fromkeys(person.names + old.names)),
        suffix=person.suffix or old.suffix,
        birth_dates=person.birth_dates or old.birth_dates,
        age=person.age if person.age is not None else old.age,
        addresses=person.addresses or old.addresses,
        voter_ids=person.voter_ids or old.voter_ids,
        ballot_numbers=person.ballot_numbers or old.ballot_numbers,
        phones=person.phones or old.phones,
        emails=tuple(dict.fromkeys(person.emails + old.emails)),
    )


def _judge_person(
    person: Person,
    letter: Letter,
    common: Situation,
    roll: Roll,
    ballots: Ballots,
    at: datetime,
    now: datetime,
    history: History,
    earlier: Sequence[Before],
) -> Asked:
    """`common`: what holds for the whole message."""
    rules = common.rules
    kinds = {kind: common.kinds.get(kind, 0.5) for kind in person.kinds or tuple(common.kinds)}
    cause = person.cause
    answers: Before | None = None
    if Kind.DETAILS in kinds and person.is_writer:
        answers = earlier[0] if earlier else _quoted(letter)
    if answers is not None:
        person = _together(person, answers)
        # Where only the quoted part tells what was asked, the answer itself must be read as surely as that.
        sure = answers.p if earlier else min(answers.p, kinds.get(Kind.DETAILS, 0.5))
        kinds |= {kind: sure for kind in answers.kinds if kind not in kinds}
        cause = cause or answers.cause
    who = identify(clues_of(person, ballots), roll, sufficient=rules.identity.with_name, today=local(rules, at).date())
    voter = who.voter
    ballot = ballots.present(voter.voter_id) if voter else None
    overseas = bool(voter and voter.overseas)
    day = next_mailing(rules, max(at, now))
    chance = for_voter(rules, day, voter)
    still_open = None
    if voter is not None and answers is None:
        still_open = history.open_request(voter.voter_id, at)
    situation = replace(
        common,
        kinds=kinds,
        standing=who.standing,
        voter=voter,
        ballot=ballot,
        cause=cause,
        own_request=person.is_writer,
        relation=person.relation,
        another_place=names_another_place(person, voter),
        too_late=not open_for_post(rules, at, overseas=overseas),
        chance=chance.chance,
        mailed_long_ago=_out_long_enough(ballot, rules, at),
        names_voided_ballot=any(ballots.is_dead(n) for n in person.ballot_numbers),
        earlier_open=still_open,
        replacement_waits=bool(ballot and ballot.replacement_waits),
    )
    proposal = propose(situation)
    shown = chance if situation.wants_ballot and voter is not None else None
    return Asked(
        person,
        who,
        proposal,
        tuple(kinds),
        situation.why_wanted if situation.wants_ballot else None,
        ballot,
        shown,
        on_file=is_on_file(letter.sender.address, voter),
    )


def _message_situation(letter: Letter, reading: Reading, rules: Rules) -> Situation:
    return Situation(
        rules=rules,
        kinds={k.kind: k.p for k in reading.kinds},
        flags=reading.flags,
        topics=tuple(t.value for t in reading.topics),
        language=reading.language,
        sender_failed=letter.sender.check is SenderCheck.FAIL,
        hides_text=any(n.code == "hidden_text" for n in letter.notices),
        too_long=any(n.code == TOO_LONG for n in letter.notices),
        undated=any(n.code == "no_date" for n in letter.notices),
        nobody_to_answer=not can_be_written_to(letter.sender.address),
    )


def _out_long_enough(ballot: BallotOnRecord | None, rules: Rules, at: datetime) -> bool:
    if ballot is None or ballot.mailed_on is None or ballot.state == "undeliverable":
        return True
    wait = timedelta(days=rules.reason("not_received").wait_days)
    return local(rules, at).date() >= ballot.mailed_on + wait


def names_another_place(person: Person, voter: Voter | None) -> bool:
    """Whether a message names, besides the voter's own address, a second one that the record does not have.

    Compared by house number or box: a letter that mentions where else to reach the writer may want the ballot there.
    """
    if voter is None:
        return False
    known = set(re.findall(r"\d+", f"{voter.street} {voter.unit} {voter.mail_street} {voter.mail_unit}"))
    stated = [
        (numbers, address)
        for address in person.addresses
        if address.role is not AddressRole.OLD and (numbers := set(re.findall(r"\d+", address.street)))
    ]
    own = any(numbers & known for numbers, _ in stated)
    foreign = [address for numbers, address in stated if not numbers & known]
    return any(a.role is AddressRole.NEW or (own and (a.state or a.zip or a.city)) for a in foreign)


def is_on_file(address: str, voter: Voter | None) -> bool:
    """Whether mail to this address reaches the voter as far as the record says."""
    return bool(voter and address and voter.email.strip().lower() == address)


def _notices(letter: Letter, reading: Reading) -> tuple[Notice, ...]:
    found = []
    if letter.machine is None and letter.sender.check is SenderCheck.FAIL:
        found.append(Notice("sender_failed", "The sender failed authentication; the address may be forged."))
    elif letter.machine is None and letter.sender.check is SenderCheck.NONE:
        found.append(Notice("sender_unverified", "Nothing says whether the sender's address is genuine."))
    found += [Notice(flag.value, f"“{words}”") for flag, words in reading.flag_words]
    return tuple(found)


NO_REPLY = (Action.READ, Action.DROP)
