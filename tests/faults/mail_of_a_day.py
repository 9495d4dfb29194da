"""The mail of a long day in an invented county: clear requests, requests without details, questions, withdrawals,
machine mail, and mail that means harm or is broken. The same seed gives the same mails."""

from __future__ import annotations

import random
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from email.message import EmailMessage
from email.utils import format_datetime

from replacements.demo.county import People, people, plain_letters
from replacements.demo.letters import SERVER
from replacements.demo.setting_up import ADDRESS
from replacements.roll.types import Voter
from tests.mail.mutations import mutated, seeds
from tests.web.hostile import PAYLOADS, hostile_mail

SHARES = {"clear": 45, "details missing": 14, "question": 15, "withdrawal": 8, "automatic": 9, "hostile": 9}
_ASKS_TWICE = 0.04  # of clear requests: the same voter, another mail

_MISHAPS = (
    "I filled in the wrong oval on my ballot and cannot undo it.",
    "I marked two candidates where only one is allowed.",
    "Coffee went all over my ballot and the ink ran.",
    "My toddler drew across the ballot with a crayon.",
    "The dog tore my ballot in half before I could mark it.",
    "I signed in the wrong place and then crossed half of the ballot out.",
)
_WISHES = (
    "Please send me another ballot.",
    "May I have a new one, please?",
    "Could you mail me a replacement ballot?",
    "I would like to get a fresh ballot by mail.",
)
_WITHOUT_DETAILS = (
    "I spoiled my ballot, please send me another one.",
    "My ballot got wet and cannot be used. Can I have a new one?",
    "I made a mistake on my ballot. Please mail a replacement.",
    "Need a new ballot, I marked the wrong box on mine.",
)
_QUESTIONS = (
    "By what day must my ballot be back with you?",
    "Where is the nearest drop box, and when is it open?",
    "Do I need a witness to sign my envelope?",
    "Which pen may I use to mark the ballot?",
    "Is postage paid on the return envelope?",
    "Do I have to vote in every contest, or may I skip some?",
    "What would I have to do if I spoiled my ballot?",
    "Are mailed ballots really counted?",
    "May my daughter help me fill in my ballot, and what does she have to sign?",
    "Has my ballot arrived at your office?",
)
_WITHDRAWALS = (
    "Please forget what I asked for: I have found a way to use the ballot that I have.",
    "I do not need the replacement any more, I will vote in person.",
    "Please cancel my request for a new ballot, the old one is fine after all.",
)


@dataclass(frozen=True, slots=True)
class Mail:
    """One mail as it is delivered."""

    kind: str
    raw: bytes


class _Writer:
    def __init__(self, inhabitants: People, voters: Sequence[Voter], now: datetime, seed: int) -> None:
        self.chance = random.Random(seed)
        self.voters = list(voters)
        self.chance.shuffle(self.voters)
        self.now = now
        self.asked: list[Voter] = []
        self.broken = mutated(seeds(), 1_000_000, seed)
        self.people = inhabitants

    def write(self, kind: str, number: int) -> bytes:
        writers: dict[str, Callable[[int], bytes]] = {
            "clear": self._clear,
            "details missing": self._details_missing,
            "question": self._question,
            "withdrawal": self._withdrawal,
            "automatic": self._automatic,
            "hostile": self._hostile,
        }
        return writers[kind](number)

    def _clear(self, number: int) -> bytes:
        again = self.asked and (self.chance.random() < _ASKS_TWICE or not self.voters)
        voter = self.chance.choice(self.asked) if again else self.voters.pop()
        self.asked.append(voter)
        words = f"Hello,\n\n{self.chance.choice(_MISHAPS)} {self.chance.choice(_WISHES)}\n\n{self._signed(voter)}"
        return self._letter(number, voter, "my ballot", words)

    def _details_missing(self, number: int) -> bytes:
        message = self._message(number, f"writer{number}@post.example", "ballot")
        message.set_content(f"{self.chance.choice(_WITHOUT_DETAILS)}\n")
        return message.as_bytes()

    def _question(self, number: int) -> bytes:
        voter = self.chance.choice(self.people.voters)
        words = (
            f"Good morning,\n\n{self.chance.choice(_QUESTIONS)}\n\nThank you\n{voter.first_name} {voter.last_name}\n"
        )
        return self._letter(number, voter, "a question", words)

    def _withdrawal(self, number: int) -> bytes:
        voter = self.chance.choice(self.asked or self.people.voters)
        return self._letter(number, voter, "my request", f"{self.chance.choice(_WITHDRAWALS)}\n\n{self._signed(voter)}")

    def _automatic(self, number: int) -> bytes:
        message = self._message(number, f"away{number}@post.example", "Automatic reply: your message")
        which = number % 3
        if which == 0:
            message["Auto-Submitted"] = "auto-replied"
            message.set_content("I am away until Monday and will answer then.\n")
        elif which == 1:
            message["Precedence"] = "bulk"
            message["List-Id"] = "<news.post.example>"
            message.set_content("Our newsletter of this week. To leave the list, write to us.\n")
        else:
            message.replace_header("From", "MAILER-DAEMON@post.example")
            message["Return-Path"] = "<>"
            message["Auto-Submitted"] = "auto-generated"
            message.set_content("Your message could not be delivered: there is no such mailbox.\n")
        return message.as_bytes()

    def _hostile(self, number: int) -> bytes:
        if self.chance.random() < 0.5:
            return hostile_mail(self.chance.choice(PAYLOADS), number)
        return b"X-Number: %d\n" % number + next(self.broken)

    def _signed(self, voter: Voter) -> str:
        place = ", ".join(part for part in (voter.street, voter.unit, voter.city) if part)
        name = f"{voter.first_name} {voter.last_name}"
        return f"{name}\n{place}\nborn {voter.birth_date}\nvoter id {voter.voter_id}\n"

    def _letter(self, number: int, voter: Voter, subject: str, words: str) -> bytes:
        address = voter.email or f"{plain_letters(voter.first_name)}.{plain_letters(voter.last_name)}@post.example"
        message = self._message(number, f"{voter.first_name} {voter.last_name} <{address}>", subject)
        message.set_content(words)
        return message.as_bytes()

    def _message(self, number: int, sender: str, subject: str) -> EmailMessage:
        at = format_datetime(self.now - timedelta(minutes=self.chance.randrange(240)))
        message = EmailMessage()
        message["Authentication-Results"] = f"{SERVER}; spf=pass; dkim=pass; dmarc=pass header.from=post.example"
        message["Received"] = f"from mail.post.example by {SERVER}; {at}"
        message["From"] = sender
        message["To"] = ADDRESS
        message["Subject"] = subject
        message["Date"] = at
        message["Message-ID"] = f"<day-{number}.{self.chance.getrandbits(40):x}@post.example>"
        return message


def mail_of_a_day(count: int, *, out: Collection[str], today: date, now: datetime, seed: int) -> list[Mail]:
    """So many mails in the order in which they come. `today`: the day that the county was written for; `out`: ids of
    the voters who have a ballot in their hands."""
    inhabitants = people(today)
    writer = _Writer(inhabitants, [v for v in inhabitants.voters if v.voter_id in out], now, seed)
    kinds = [kind for kind, share in SHARES.items() for _ in range(max(1, round(count * share / 100)))][:count]
    kinds += ["clear"] * (count - len(kinds))
    writer.chance.shuffle(kinds)
    return [Mail(kind, writer.write(kind, number)) for number, kind in enumerate(kinds)]
