"""What an office must answer for when the faults are over: every mail, every decision, every reply, and the books."""

from __future__ import annotations

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import and_, func, or_, select
from sqlalchemy.orm import Session

from replacements.ballots import rebuilding
from replacements.ballots.ledger import verify
from replacements.ballots.reconciling import reconcile
from replacements.replies.outbox import NOT_FILED
from replacements.requests import office as offices
from replacements.requests.judging import NO_REPLY
from replacements.store.database import Database
from replacements.store.tables import (
    LIVE_STATES,
    OPEN_STATES,
    Ballot,
    LedgerEntry,
    Message,
    RawMail,
    Reply,
    Request,
    Sighting,
)
from tests.faults.clerks_on_pages import Told
from tests.faults.office_under_faults import Office
from tests.faults.striking import Striker
from tests.servers.smtp import Delivered

MOST_DOUBLED = 0.005  # of the replies that went
READ = ("read", "failed")  # understood, or set aside for a person
_SETTLED = ("sent", "held", "cancelled")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the account. `bar` in words; `fault`: it is missed."""

    what: str
    found: str
    bar: str
    fault: bool


def how_far(database: Database) -> tuple[int, int, int]:
    """How many places in the mailbox are known, how many messages nobody has read yet, and how many replies are still
    to go, or their copies to the folder of sent mail."""
    to_go = or_(Reply.state.in_(("queued", "sending")), and_(Reply.state == "sent", Reply.error == NOT_FILED))
    with database.read() as session:
        places = session.scalar(select(func.count()).select_from(Sighting)) or 0
        unread = session.scalar(select(func.count()).select_from(Message).where(Message.state == "stored")) or 0
        unsent = session.scalar(select(func.count()).select_from(Reply).where(to_go)) or 0
        return places, unread, unsent


def account(office: Office, told: Sequence[Told], *, mails: int, striker: Striker) -> list[Line]:
    """Hold the mailbox, what the mail server got, what clerks were told and the database against each other."""
    database = Database(office.postgres.url)
    try:
        with database.read() as session:
            lines = [*_mail(office, session, mails), *_decisions(session, told), *_replies(office, session, striker)]
            lines += _books(session)
    finally:
        database.close()
    for name, words in (("ledger verify", ("ledger", "verify")), ("reconcile", ("reconcile",))):
        status, said = office.command(*words)
        said = said.strip().splitlines()[-1][:60] if said else ""
        lines.append(Line(f"replacements {name}", said, "ends with 0", status != 0))
    return [*lines, _logs(office)]


def _mail(office: Office, session: Session, mails: int) -> list[Line]:
    """Each place in the mailbox has its message, whole, read or set aside, with a request."""
    places: dict[int, bytes] = {}
    with office.dovecot.client() as client:
        validity = str(client.select_folder("INBOX", readonly=True)[b"UIDVALIDITY"])
        uids = client.search(["ALL"])
        for start in range(0, len(uids), 200):
            fetched = client.fetch(uids[start : start + 200], ["BODY.PEEK[]"])
            places |= {uid: hashlib.sha256(found[b"BODY[]"]).digest() for uid, found in fetched.items()}
    kept = {
        int(uid): number
        for uid, number in session.execute(
            select(Sighting.uid, Sighting.message_id).where(Sighting.validity == validity)
        )
    }
    sightings = Counter(kept.values())
    raws = session.execute(select(RawMail.message_id, RawMail.raw))
    digests = {number: hashlib.sha256(raw).digest() for number, raw in raws}
    # A mail that came twice is one message; its second copy may have travelled another way.
    whole = sum(
        uid in kept and (digests.get(kept[uid]) == digest or sightings[kept[uid]] > 1) for uid, digest in places.items()
    )
    states = dict(session.execute(select(Message.id, Message.state)).all())
    requests: dict[int, list[Request]] = defaultdict(list)
    for request in session.scalars(select(Request)):
        requests[request.message_id].append(request)
    lost = [uid for uid in places if uid not in kept or states[kept[uid]] not in READ or not requests[kept[uid]]]
    waiting = sum(any(r.state in ("waiting", "second") for r in requests[m]) for m in kept.values())
    aside = sum(state == "failed" for state in states.values())
    answered = mails - len(lost) - waiting
    in_words = f"{answered} answered or filed, {waiting} in front of a person ({aside} of them set aside unread)"
    return [
        Line("mails delivered and in the mailbox", f"{len(places)} of {mails}", f"{mails}", len(places) != mails),
        Line("stored, byte for byte", f"{whole} of {mails}", f"{mails}", whole != mails),
        Line("lost (not stored, not read, or without a request)", f"{len(lost)}", "0", bool(lost)),
        Line("what became of them", in_words, "", False),
    ]


def _decisions(session: Session, told: Sequence[Told]) -> list[Line]:
    """No request decided twice, no voter with two ballots that count, and nothing shown as done that is not there."""
    times = Counter((one.request_id, one.version) for one in told)
    twice = [key for key, count in times.items() if count > 1]
    reissued: Counter[int] = Counter()
    taken_back: Counter[str] = Counter()
    for details in session.scalars(select(LedgerEntry.details).where(LedgerEntry.event == "reissued")):
        reissued[json.loads(details)["request"]] += 1
    taken_back.update(session.scalars(select(LedgerEntry.event).where(LedgerEntry.event == "reinstated")))
    twice_on_ledger = [number for number, count in reissued.items() if count > 1]
    two = session.execute(
        select(Ballot.voter_id).where(Ballot.state.in_(LIVE_STATES)).group_by(Ballot.voter_id).having(func.count() > 1)
    ).all()
    versions = dict(session.execute(select(Request.id, Request.version)).all())
    gone = [one for one in told if versions.get(one.request_id, 0) <= one.version]
    replaced = f"{sum(reissued.values())} reissues, {taken_back['reinstated']} taken back"
    return [
        Line("decisions that pages told clerks of", f"{len(told)} ({replaced})", "some", not told),
        Line("decisions made twice", f"{len(twice) + len(twice_on_ledger)}", "0", bool(twice or twice_on_ledger)),
        Line("decisions shown as done and gone", f"{len(gone)}", "0", bool(gone)),
        Line("voters with two live ballots", f"{len(two)}", "0", bool(two)),
    ]


def _replies(office: Office, session: Session, striker: Striker) -> list[Line]:
    """Every reply went, to whom it is meant; what went twice went under one Message-ID."""
    delivered = office.sink.delivered
    went = Counter(one.message_id for one in delivered)
    rows = list(session.scalars(select(Reply)))
    missing = [row for row in rows if row.state not in _SETTLED or (row.state == "sent" and not went[row.message_id])]
    never_queued = _without_reply(session, rows)
    known = {row.message_id for row in rows}
    strangers = [name for name in went if name not in known]
    doubled = Counter({name: count - 1 for name, count in went.items()})
    by_aim = sum(doubled.pop(name, 0) for name in set(striker.aimed))
    share = doubled.total() / max(1, len(went))
    named = {row.message_id: row for row in rows}
    under_two = [sorted(names) for names in _under_several_names(delivered, _mails_answered(session))]
    other_name = sum(len(names) - 1 for names in under_two)
    which = [_told(row) for row in missing] + [f"none of request {number}" for number in never_queued]
    twice_told = [" and ".join(_told(named[name]) for name in names if name in named) for names in under_two]
    copies = _copies(office)
    unfiled = sum(1 for row in rows if row.state == "sent" and not copies[row.message_id])
    twice_filed = sum(count - 1 for count in copies.values())
    states = ", ".join(f"{count} {state}" for state, count in sorted(Counter(r.state for r in rows).items()))
    return [
        Line("replies in the outbox", states, "", False),
        Line("replies missing (not sent, or never written)", f"{len(missing) + len(never_queued)}", "0",
             bool(missing or never_queued)),
        *([Line("… which", "; ".join(which), "", False)] if which else []),
        Line("mails at the server that no reply stands for", f"{len(strangers)}", "0", bool(strangers)),
        Line("replies doubled, under the same Message-ID", f"{doubled.total()} of {len(went)} ({share:.2%})",
             f"at most {MOST_DOUBLED:.1%}", share > MOST_DOUBLED),
        Line("… while acceptances were lost", f"{striker.window}", "", False),
        Line("… and by kills aimed at the acceptance", f"{by_aim} by {len(striker.aimed)}", "one each",
             by_aim > len(striker.aimed)),
        Line("replies doubled under another Message-ID", f"{other_name}", "0", other_name > 0),
        *([Line("… which", "; ".join(twice_told), "", False)] if twice_told else []),
        Line("copies missing among sent mail", f"{unfiled} (and {twice_filed} there twice)", "0", unfiled > 0),
    ]  # fmt: skip


def _without_reply(session: Session, rows: Sequence[Reply]) -> list[int]:
    """Requests that were decided so that a reply is due, and that have none. The same words to the same address within
    a week are no reply due."""
    answered = {row.request_id for row in rows}
    said = {(row.to.lower(), row.template.partition("/")[0]) for row in rows}
    found = []
    decided = select(Request, Message).join(Message).where(Request.state.in_(("done", "asked")))
    for request, message in session.execute(decided):
        due = request.decision not in {action.value for action in NO_REPLY} and request.judged.get("may_answer")
        if not due or request.id in answered or not message.sender:
            continue
        if (message.sender.lower(), request.decision) not in said:
            found.append(request.id)
    return found


def _told(row: Reply) -> str:
    return (
        f"reply {row.id} ({row.template}, request {row.request_id}), queued {row.queued_at}, {row.state} after "
        f"{row.attempts} tries: {row.error}"
    )


def _mails_answered(session: Session) -> dict[str, str]:
    """By the names of replies, the digests of the mails that they answer: not every mail has a Message-ID."""
    answered = select(Reply.message_id, RawMail.raw).join(Request, Request.id == Reply.request_id)
    rows = session.execute(answered.join(RawMail, RawMail.message_id == Request.message_id))
    return {name: hashlib.sha256(raw).hexdigest() for name, raw in rows}


def _under_several_names(delivered: Sequence[Delivered], answered: Mapping[str, str]) -> list[set[str]]:
    """Mails to one address, in answer to one mail and of one text, that bear different names: these names."""
    names: dict[tuple[object, ...], set[str]] = defaultdict(set)
    for one in delivered:
        mail = one.message
        body = mail.get_body(("plain",))
        words = body.get_content() if body is not None else ""
        what = mail["In-Reply-To"] or answered.get(one.message_id)
        names[one.recipients, str(what), str(words)].add(one.message_id)
    return [several for several in names.values() if len(several) > 1]


def _copies(office: Office) -> Counter[str]:
    """Message-IDs in the folder of sent mail."""
    with office.dovecot.client() as client:
        if not client.folder_exists("Sent"):
            return Counter()
        client.select_folder("Sent", readonly=True)
        fetched = client.fetch(client.search(["ALL"]), ["BODY.PEEK[HEADER.FIELDS (MESSAGE-ID)]"])
    key = b"BODY[HEADER.FIELDS (MESSAGE-ID)]"
    return Counter(found[key].decode().partition(":")[2].strip() for found in fetched.values())


def _books(session: Session) -> list[Line]:
    force = offices.in_force(session)
    if force is None:
        return [Line("rules in force", "none", "some", True)]
    verdict = verify(session)
    books = reconcile(session, force.election_id)
    differs = list(rebuilding.compare(session, force.election_id, rebuilding.rebuild(session, force.election_id)))
    still_open = session.scalar(select(func.count()).select_from(Request).where(Request.state.in_(OPEN_STATES)))
    broken = verdict.broken.text if verdict.broken else "whole"
    return [
        Line("the ledger's chain", f"{verdict.entries} entries, {broken}", "whole", verdict.broken is not None),
        Line("differences in the books", f"{len(books.differences)}", "0", not books.agrees),
        Line("ballots that differ from the ledger", f"{len(differs)}", "0", bool(differs)),
        Line("requests still open", f"{still_open}", "", False),
    ]


def _logs(office: Office) -> Line:
    """No log of a program says whom a mail is from."""
    named = sum(office.log(name).count("@post.example") for name in ("worker", "schedule", "pages"))
    return Line("mail addresses of voters in the programs' logs", f"{named}", "0", named > 0)
