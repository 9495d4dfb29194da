"""Write the invented county to a folder: what an office hands over, and a mailbox full of mail."""

from __future__ import annotations

import csv
import hashlib
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from datetime import date, datetime, timedelta
from pathlib import Path
from string import Template

from replacements.demo.ballots import BallotLine, ballots
from replacements.demo.county import people
from replacements.demo.letters import letters
from replacements.roll.types import Voter

ADDRESS = "ballots@saltmarrow.example"
_OFFICE = Path(__file__).parent / "office.toml.txt"
_STAFF = (
    ("clerk", "Cleo Ashdown", ("clerk",)),
    ("clerk2", "Mateo Linden", ("clerk",)),
    ("supervisor", "Sunniva Park", ("supervisor", "clerk")),
    ("mailroom", "Desmond Quill", ("mail_room",)),
    ("mailroom2", "Halia Brook", ("mail_room",)),
    ("desk", "Rory Fenwick", ("return_desk",)),
    ("observer", "Imani Sloane", ("observer",)),
)


@dataclass(frozen=True, slots=True)
class DemoAccount:
    """A member of the invented office's staff. The password is made anew each time and stands nowhere but here."""

    name: str
    full_name: str
    roles: tuple[str, ...]
    password: str


@dataclass(frozen=True, slots=True)
class County:
    """Where everything was written. `mailbox` and `sent` are Maildirs; `official` adopts the rules."""

    roll: Path
    ballots: Path
    office: Path
    mailbox: Path
    sent: Path
    accounts: tuple[DemoAccount, ...]
    official: str
    mails: int


@dataclass(frozen=True, slots=True)
class _Days:
    """The election's days, as they lie around today."""

    packets: date
    election: date
    request: date
    overseas: date
    in_person: date


def write_county(folder: Path, today: date, at: datetime) -> County:
    """Write roll, ballots, rules and mail. The same day gives the same county; `at` (aware) is when the mail ends.

    Writing again into the same folder replaces the files and adds no mail twice.
    """
    folder.mkdir(parents=True, exist_ok=True)
    days = _days(today)
    inhabitants = people(today)
    lines = ballots(inhabitants, mailed=days.packets, today=today)
    roll, ballot_file, office = folder / "roll.csv", folder / "ballots.csv", folder / "office.toml"
    _write_csv(roll, [field.name for field in fields(Voter)], (asdict(voter) for voter in inhabitants.voters))
    _write_csv(ballot_file, [field.name for field in fields(BallotLine)], (asdict(line) for line in lines))
    office.write_text(rules_text(today), encoding="utf-8")
    mails = letters(inhabitants, lines, to=ADDRESS, at=at)
    mailbox = _maildir(folder / "mailbox")
    for mail in mails:
        key = hashlib.sha256(mail.name.encode()).hexdigest()[:16]
        name = f"{int(mail.at.timestamp())}.{key}.saltmarrow"
        if not any(found for part in ("new", "cur") for found in (mailbox / part).glob(f"*.{key}.saltmarrow*")):
            (mailbox / "new" / name).write_bytes(mail.raw)
    accounts = tuple(
        DemoAccount(name, full_name, roles, secrets.token_urlsafe(12)) for name, full_name, roles in _STAFF
    )
    return County(
        roll=roll,
        ballots=ballot_file,
        office=office,
        mailbox=mailbox,
        sent=_maildir(folder / "sent"),
        accounts=accounts,
        official="Sunniva Park, County Clerk",
        mails=len(mails),
    )


def _days(today: date) -> _Days:
    """A Tuesday about three weeks ahead; packets out about three weeks ago."""
    election = today + timedelta(days=19)
    election += timedelta(days=(1 - election.weekday()) % 7)
    packets = today - timedelta(days=21)
    while packets.weekday() > 4:
        packets -= timedelta(days=1)
    return _Days(
        packets=packets,
        election=election,
        request=election - timedelta(days=7),
        overseas=election - timedelta(days=4),
        in_person=election - timedelta(days=1),
    )


def rules_text(today: date) -> str:
    """The office's rules, with the election about three weeks after `today`."""
    days = _days(today)
    return Template(_OFFICE.read_text(encoding="utf-8")).substitute(
        address=ADDRESS,
        packets=days.packets,
        election=days.election,
        request=days.request,
        overseas=days.overseas,
        in_person=days.in_person,
    )


def _write_csv(path: Path, headings: list[str], rows: Iterable[Mapping[str, object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(headings)
        for row in rows:
            writer.writerow([_cell(row[heading]) for heading in headings])


def _cell(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)


def _maildir(path: Path) -> Path:
    for part in ("new", "cur", "tmp"):
        (path / part).mkdir(parents=True, exist_ok=True)
    return path
