"""One request: the message as written on the one side, the evidence and the decision on the other."""

from __future__ import annotations

from datetime import date

from flask import Blueprint, Response, abort, render_template
from markupsafe import Markup
from sqlalchemy import or_, select
from sqlalchemy.orm import Session, defer

from replacements.people.permissions import Permission
from replacements.proposals.types import Action
from replacements.replies import wording
from replacements.replies.texts import Rendered
from replacements.requests import own_words, waiting
from replacements.requests.assigning import steps
from replacements.requests.awaiting import OnHand, in_the_post, reply_now, second_person_since
from replacements.requests.carrying_out import Refused
from replacements.requests.choosing import MAY_STILL
from replacements.requests.deciding import awaited
from replacements.requests.gathering import ballots_of
from replacements.requests.holding import last_day
from replacements.requests.judging import UNDECIDED
from replacements.requests.office import InForce, version
from replacements.requests.upcoming import upcoming
from replacements.roll.index import as_voter
from replacements.rules.office import Rules
from replacements.rules.transit import back_for_voter, for_voter, last_day_back
from replacements.store.tables import (
    LIVE_STATES,
    OPEN_STATES,
    Correction,
    Mailing,
    Message,
    Packet,
    RawMail,
    Reply,
    Request,
    VoterRow,
)
from replacements.web.chance_picture import back_on_days
from replacements.web.colleagues import deciders
from replacements.web.evidence import comparison, full_name
from replacements.web.guard import here, needs, office
from replacements.web.letters import letter_of
from replacements.web.order import next_waiting
from replacements.web.pages.keys import with_keys
from replacements.web.showing import at_the_office
from replacements.web.unsettled import mailings

blueprint = Blueprint("request", __name__, url_prefix="/requests")
OFFICE_LANGUAGE = "en"  # of these pages: who approves a reply in another language can read here what it says
# What a clerk may choose instead of what is proposed, in the order of the list.
CHOICES = (
    Action.REISSUE,
    Action.STATEMENT_FIRST,
    Action.COME_IN,
    Action.ALREADY_BACK,
    Action.NO_BALLOT_OUT,
    Action.SEND_MATERIALS,
    Action.SEND_FORM,
    Action.ANSWER,
    Action.STOP_REISSUE,
    Action.READ,
    Action.DROP,
)


@blueprint.get("/<int:request_id>")
@needs(Permission.SEE_REQUESTS)
def page(request_id: int) -> Response:
    looker = here()
    with office().database.read() as session:
        # All that there is one of, at once. The raw mail is found again by `letter_of`.
        found = session.execute(
            select(
                Request,
                Message,
                VoterRow,
                RawMail,
                Correction,
                Packet,
                Mailing,
                waiting.answered(),
                in_the_post(),
                next_waiting(looker.election_id, at=looker.at, besides=request_id).scalar_subquery(),
            )
            .join(Message, Message.id == Request.message_id)
            .outerjoin(VoterRow, VoterRow.voter_id == Request.voter_id)
            .outerjoin(RawMail, RawMail.message_id == Request.message_id)
            .outerjoin(Correction, Correction.message_id == Request.message_id)
            .outerjoin(Packet, Packet.request_id == Request.id)
            .outerjoin(Mailing, Mailing.id == Packet.mailing_id)
            .where(Request.id == request_id)
            .order_by(Correction.id.desc(), Packet.id.desc())  # the newest of each
            .limit(1)
            .options(defer(Mailing.manifest))  # it has a line of each packet
        ).first()
        if found is None:
            abort(404)
        request, message, voter, _raw, correction, newest, its_mailing, answered, gone, waits_next = found
        packet = (newest, its_mailing) if newest is not None else None
        shown = comparison(session, request, personal=looker.sees_personal)
        ballots, present = ballots_of(session, request.election_id, request.voter_id)
        related = [Request.message_id == request.message_id, Request.continues == request.id]
        if request.continues is not None:
            related.append(Request.id == request.continues)
        if request.voter_id is not None:
            related.append(Request.voter_id == request.voter_id)
        others = session.scalars(
            select(Request).where(Request.id != request.id, or_(*related)).order_by(Request.id).limit(20)
        ).all()
        letter = letter_of(session, message, looker.in_force)
        written = [Reply.request_id == request.id]
        if letter is not None and (quoted := own_words.may_quote(letter)):
            written.append(Reply.message_id.in_(quoted))
        ours = session.scalars(select(Reply).where(or_(*written)).order_by(Reply.id)).all()
        replies = [reply for reply in ours if reply.request_id == request.id]
        if letter is not None:
            letter = own_words.told_apart(letter, {reply.message_id: reply.text for reply in ours})
        undecided = request.state in OPEN_STATES
        chance, picture, reply, in_english, cannot = None, "", None, None, ""
        since: tuple[str, ...] = ()
        old = next((ballot for ballot in ballots if ballot.state in LIVE_STATES), None)
        if looker.in_force:
            day = upcoming(session, looker.in_force, looker.at, mailings=mailings(session)).goes_on
            if request.judged.get("in_time") and (undecided or packet):
                goes_on = packet[1].goes_on if packet and not undecided else day
                rules = _rules_of(session, request, looker.in_force, undecided=undecided)
                chance = for_voter(rules, goes_on, voter)
                picture = back_on_days(
                    back_for_voter(rules, goes_on, voter),
                    last_day_back(rules, overseas=bool(voter and voter.overseas)),
                )
            if undecided:
                known = OnHand(as_voter(voter), old.number if old else "", wording.in_force(session), gone)
                reply, cannot = _reply(session, request, looker.in_force, day, known)
                if awaited(request) is Action.REISSUE and old is None:
                    cannot = "This voter has no live ballot that could be replaced. Choose something else."
                since = second_person_since(request, looker.in_force, present)
                if reply is not None and reply.language != OFFICE_LANGUAGE and looker.may(Permission.DECIDE):
                    in_english, _ = _reply(session, request, looker.in_force, day, known, OFFICE_LANGUAGE)
        open_packet = packet is not None and packet[1].state == "open"
        force = looker.in_force
        shown_page = render_template(
            "request.html",
            request_=request,
            message=message,
            letter=letter,
            shown=shown,
            voter=voter,
            ballots=ballots,
            packet=packet,
            others=others,
            replies=replies,
            undecided=undecided,
            full_name=full_name,
            awaited=awaited(request),
            old=old,
            reply_now=reply,
            in_english=in_english,
            cannot=cannot,
            since=since,
            waits_next=waits_next,
            chance=chance,
            picture=Markup(picture),  # noqa: S704
            judged_chance=request.judged.get("in_time"),
            choices=CHOICES,
            waits=waiting.standing(request, looker.in_force.rules, replies, answered=answered)
            if looker.in_force
            else None,
            correction=correction,
            which=_elections(request),
            steps=steps(session, request.id),
            colleagues=[name for name in deciders(session) if name not in (looker.name, request.assigned_to)],
            hold_until=last_day(force.rules, looker.at, overseas=bool(voter and voter.overseas)) if force else None,
            day_of=lambda moment: at_the_office(moment).date(),
            may_undo=request.state == "done"
            and bool(request.issued_ballot)
            and open_packet
            and looker.may(Permission.TAKE_BACK),
        )
    return with_keys(shown_page)


def _rules_of(session: Session, request: Request, force: InForce, *, undecided: bool) -> Rules:
    """The rules in force; of what is decided, those that it was decided by."""
    decided_by = None if undecided else request.judged.get("decided_by_rules")
    earlier = decided_by if decided_by != force.sha256 else None
    return (version(session, earlier) if earlier else None) or force.rules


def _elections(request: Request) -> list[InForce]:
    """The open elections that this request may be put under: those that fit where nobody can tell, else the others."""
    if request.state != MAY_STILL or len(here().elections) < 2:
        return []
    if request.judged.get("election_by") == UNDECIDED:
        return list(here().elections)
    return [force for force in here().elections if force.election_id != request.election_id]


def _reply(
    session: Session, request: Request, force: InForce, day: date, known: OnHand, language: str = ""
) -> tuple[Rendered | None, str]:
    """What approving would send now; or why it could not be approved."""
    try:
        return reply_now(session, request, force, mailing_day=day, language=language, known=known), ""
    except Refused as refused:
        return None, str(refused)
