"""The reply that goes with what was decided of a request: its words, and whether it goes at all."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.mail.composing import thread_headers
from replacements.proposals.types import Action
from replacements.replies import outbox, wording
from replacements.replies.html_part import html_page
from replacements.replies.sources import Texts
from replacements.replies.texts import NoText, Rendered, render
from replacements.requests import drafting
from replacements.requests.judging import NO_REPLY, UNDECIDED, is_on_file
from replacements.requests.office import InForce
from replacements.roll.types import Voter
from replacements.rules.transit import for_voter
from replacements.store.tables import Message, Reply, Request

WAITS_FOR_VOTER = (Action.ASK_IDENTITY, Action.STATEMENT_FIRST)
# What these say is new each time, or answers a new letter; any other reply goes once in the same words.
TELLS_NEWS = (Action.REISSUE, Action.SEND_MATERIALS, Action.STOP_REISSUE, *WAITS_FOR_VOTER)
LONGEST_REPLY = 4000  # characters that a clerk may write into a reply


class Refused(Exception):
    """It cannot be done; the text says why and what to do. Nothing has changed."""


def reply_to(
    session: Session,
    request: Request,
    message: Message,
    force: InForce,
    action: Action,
    voter: Voter | None,
    *,
    at: datetime,
    old_number: str,
    new_number: str,
    mailing_day: date | None,
    stopped: bool | None,
    own_text: str | None,
    texts: Texts | None,
) -> str:
    """Put the reply into the outbox. Returns a sentence about it, or why none goes; empty where nobody expects one.

    Raises Refused where the voter would be waited for who has not been asked."""
    rendered = words_of_reply(
        session,
        request,
        force,
        action,
        voter,
        old_number=old_number,
        new_number=new_number,
        mailing_day=mailing_day,
        stopped=stopped,
        texts=texts,
    )
    if rendered is None:
        return _not_asked(action)
    if own_text is not None and _changed(own_text, request):
        rendered = _edited(rendered, own_text)
    if action not in TELLS_NEWS and outbox.already_answered(
        session, to=message.sender, template=rendered.template, since=at - outbox.SAME_AGAIN, text=rendered.text
    ):
        days = outbox.SAME_AGAIN.days
        return f"No reply goes: the same words went to this address in the last {days} days."
    if action in WAITS_FOR_VOTER:
        _refuse_to_ask_again(session, message, rendered)
    seed = f"{request.id}/{request.version}"
    reply = queue_reply(session, request, force, message, rendered, seed=seed, at=at)
    return f"The reply “{rendered.subject}” goes out now." if reply is not None else _not_asked(action)


def _not_asked(action: Action) -> str:
    """What there is to say where no reply goes."""
    if action in WAITS_FOR_VOTER:
        raise Refused(
            "Nothing can be asked: no mail can go to whoever wrote this. Reach the voter another way, then mark the "
            "request as read; or file it."
        )
    return ""


def _refuse_to_ask_again(session: Session, message: Message, rendered: Rendered) -> None:
    """A mail that came twice, changed on one of its ways, is kept twice. It is asked about once: the answer to the
    question would go on with the first request, and the second would wait in vain."""
    if not message.message_id:
        return
    asked = session.scalar(
        select(Reply.request_id)
        .join(Request, Request.id == Reply.request_id)
        .join(Message, Message.id == Request.message_id)
        .where(Message.message_id == message.message_id, Message.id != message.id)
        .where(*outbox.answered_with(message.sender, rendered.template, rendered.text))
        .limit(1)
    )
    if asked is not None:
        raise Refused(
            f"The same question went to this address already: this mail came before under the same Message-ID, as "
            f"request {asked}. Read both; if they say the same, file this one."
        )


def words_of_reply(
    session: Session,
    request: Request,
    force: InForce,
    action: Action,
    voter: Voter | None,
    *,
    old_number: str = "",
    new_number: str = "",
    mailing_day: date | None = None,
    stopped: bool | None = None,
    language: str = "",
    texts: Texts | None = None,
) -> Rendered | None:
    """The reply that goes with an action, filled with these facts; None where none goes. Changes nothing.

    `language`: another than the message's, for whoever must read it first. `texts`: those in force, where this
    transaction asked for them already. Raises Refused where the office has no
    reviewed text for it.
    """
    message = session.get_one(Message, request.message_id)
    judged = request.judged
    if action in NO_REPLY or not judged.get("may_answer") or not message.sender:
        return None
    chance = for_voter(force.rules, mailing_day, voter) if mailing_day else None
    try:
        return render(
            action.value,
            language or request.language or "en",
            drafting.facts(
                voter=voter,
                on_file=is_on_file(message.sender, voter),
                rules=force.rules,
                adopted=force.adopted,
                in_time=chance,
                missing=tuple(judged.get("missing", ())),
                cause=request.cause or "",
                form=judged.get("form") or force.rules.address_change.form,
                old_number=old_number,
                new_number=new_number,
                mailing_day=mailing_day,
                stopped=stopped,
                names_election=force.several and request.judged.get("election_by") != UNDECIDED,
            ),
            topics=tuple(judged.get("topics", ())) if action is Action.ANSWER else (),
            texts=texts or wording.in_force(session),
        )
    except NoText as error:
        raise Refused(f"There is no reviewed text for this: {error}. Choose another action.") from error


def _changed(own_text: str, request: Request) -> bool:
    """Whether a clerk changed the draft. The untouched draft is filled anew, with the new ballot's facts."""
    draft = (request.reply_draft or {}).get("text", "")
    return bool(own_text.strip()) and own_text.split() != str(draft).split()


def _edited(rendered: Rendered, own_text: str) -> Rendered:
    text = own_text.replace("\r\n", "\n").strip()
    if len(text) > LONGEST_REPLY:
        raise Refused(f"The reply is longer than {LONGEST_REPLY} characters.")
    page = html_page(text, subject=rendered.subject, language=rendered.language)
    return Rendered(rendered.template, rendered.language, rendered.subject, text, page)


def queue_reply(
    session: Session,
    request: Request,
    force: InForce,
    message: Message,
    rendered: Rendered,
    *,
    seed: str,
    at: datetime,
) -> int | None:
    """Put a reply to a request's message into the outbox, in the message's thread; returns its number. None: no usable
    address."""
    thread = message.judgement or {}
    in_reply_to, references = thread_headers(
        message.message_id, tuple(thread.get("references", ())), tuple(thread.get("in_reply_to", ()))
    )
    try:
        return outbox.queue(
            session,
            election_id=force.election_id,
            request_id=request.id,
            rendered=rendered,
            to=message.sender,
            in_reply_to=in_reply_to,
            references=" ".join(references),
            domain=force.rules.office.address.rpartition("@")[2],
            seed=f"{seed}/{rendered.template}",
            at=at,
        )
    except outbox.UnusableAddress:
        # A request is never held up by an address that cannot be answered; the request shows that no reply went.
        return None
