"""The list of requests to work down, filtered by links; and the search, by number, name, address and words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from replacements.people.permissions import Permission
from replacements.reading.types import Kind
from replacements.requests import listing, searching
from replacements.requests.holding import CAN_BE_HELD
from replacements.requests.listing import Filters, Key
from replacements.requests.upcoming import FOR_THE_MAILING, upcoming
from replacements.roll.types import Standing
from replacements.store.tables import OPEN_STATES, Look, Request
from replacements.web.colleagues import deciders
from replacements.web.guard import here, needs, office
from replacements.web.order import came_back, for_the_mailing, pressing
from replacements.web.pages.keys import with_keys
from replacements.web.unsettled import mailings
from replacements.words import words

blueprint = Blueprint("requests", __name__, url_prefix="/requests")
CAME_BACK = "came_back"  # those whose reply came back undelivered, whatever is proposed
FOR_MAILING = "for_mailing"  # what must be decided before the mailing closes, whichever of the proposals it is
MINE = "mine"  # in an address: of whoever opens it
# Entries of an address that narrow the list down, beside state and proposal; "yes" switches the last two on.
NARROWS = ("standing", "kind", "language", "whose", "held", "second", "missed")


@blueprint.get("/")
@needs(Permission.SEE_REQUESTS)
def page() -> Response:
    looker = here()
    whole = looker.several and not looker.chosen
    force = None if whole else looker.in_force
    asked = _asked()
    state, proposal = asked["state"], asked["proposal"]
    after, before = Key.read(request.args.get("after", "")), Key.read(request.args.get("before", ""))
    filters = _filters(asked)
    with office().database.read() as session:
        everything = _of_elections()
        chosen = [*everything, *filters.conditions(looker.at)]
        by_state, held = listing.counts(session, everything, looker.at)
        by_proposal = listing.by_proposal(session, chosen)
        where = [*chosen, *_proposed(proposal)]
        # Work that waits is done in the order of the day; what is over is looked up newest first.
        order = pressing() if state in OPEN_STATES else None
        found = listing.page(session, where, pressing=order, after=after, before=before)
        return with_keys(
            render_template(
                "requests.html",
                rows=found.rows,
                before=found.before,
                after=found.after,
                asked=asked,
                state=state,
                proposal=proposal,
                here_with=lambda **changed: _address({**asked, **changed}),
                first_page=after is None and before is None,
                groups=_groups(asked, deciders(session)),
                narrowed=[
                    name
                    for name in NARROWS
                    if asked[name] and not (name == "held" and asked[name] == _held(asked["state"]))
                ],
                by_state=by_state,
                held=sum(held.get(one, 0) for one in CAN_BE_HELD),
                held_of=held,
                by_proposal=by_proposal,
                for_mailing=sum(count for code, count in by_proposal.items() if code in FOR_THE_MAILING),
                FOR_MAILING=FOR_MAILING,
                closes_at=upcoming(session, force, looker.at, mailings=mailings(session)).closes_at if force else None,
                states=words("state"),
                elections={one.election_id: one.rules.election.name for one in looker.elections} if whole else {},
                total=_total(session, proposal, by_proposal, where),
            )
        )


def _total(session: Session, proposal: str, by_proposal: dict[str, int], where: Sequence[ColumnElement[bool]]) -> int:
    """How many there are in the list: counted by proposal already, but for those whose reply came back."""
    if proposal == CAME_BACK:
        return session.scalar(select(func.count()).select_from(Request).where(*where)) or 0
    if proposal == FOR_MAILING:
        return sum(count for code, count in by_proposal.items() if code in FOR_THE_MAILING)
    return by_proposal.get(proposal, 0) if proposal else sum(by_proposal.values())


def _of_elections() -> list[ColumnElement[bool]]:
    looker = here()
    if looker.election_id and (looker.chosen or not looker.several):
        return [Request.election_id == looker.election_id]
    if looker.several:  # all that are open
        return [Request.election_id.in_([force.election_id for force in looker.elections])]
    return []


def _proposed(proposal: str) -> list[ColumnElement[bool]]:
    if proposal == FOR_MAILING:
        return [for_the_mailing()]
    if proposal == CAME_BACK:
        return [came_back()]
    return [Request.proposal == proposal] if proposal else []


def _asked() -> dict[str, str]:
    """What the address asks for, by name; what it does not say, as the list is without it."""
    asked = {name: request.args.get(name, "") for name in ("proposal", *NARROWS)}
    state = request.args.get("state", "waiting")
    asked["state"] = "" if state == "all" else state
    if asked["held"] not in ("no", "only", "also"):
        asked["held"] = _held(asked["state"])
    return asked


def _held(state: str) -> str:
    """What a list of this state does about those on hold unless it is asked for otherwise."""
    return "no" if state in CAN_BE_HELD else "also"


def _address(asked: dict[str, str]) -> str:
    """The address of a list; what is as it would be anyway is left out of it."""
    kept = {name: value for name, value in asked.items() if value and name != "state"}
    if kept.get("held") in ("no", "also") and asked["held"] == _held(asked["state"]):
        del kept["held"]
    values: dict[str, Any] = {"state": asked["state"] or "all", **kept}
    return url_for("requests.page", **values)


def _filters(asked: dict[str, str]) -> Filters:
    looker = here()
    return Filters(
        state=asked["state"],
        standing=asked["standing"],
        kind=asked["kind"],
        language=asked["language"],
        whose=looker.name if asked["whose"] == MINE else asked["whose"],
        held=asked["held"],
        second=bool(asked["second"]),
        before=listing.last_cut_off(looker.in_force.rules, looker.at) if asked["missed"] and looker.in_force else None,
    )


def _groups(asked: dict[str, str], accounts: list[str]) -> list[tuple[str, str, list[tuple[str, str]]]]:
    """The filters: each with its name in the address, its heading, and what may be chosen with its words."""
    looker = here()
    found: list[tuple[str, str, list[tuple[str, str]]]] = [
        ("standing", "Standing", [(one.value, words("standing")[one.value]) for one in Standing]),
        ("kind", "Kind", [(one.value, words("kind").get(one.value, one.value)) for one in Kind]),
        ("language", "Language", list(words("language").items())),
    ]
    whose = [(MINE, "Mine")] if looker.may(Permission.DECIDE) else []
    whose += [(listing.NOBODY, "Nobody’s"), *((name, name) for name in accounts if name != looker.name)]
    found.append(("whose", "Whose", whose))
    if asked["state"] in CAN_BE_HELD or not asked["state"]:
        found.append(("held", "On hold", [("only", "Only those on hold"), ("also", "Those too")]))
    found.append(("second", "People", [("yes", "A second person is needed")]))
    if looker.in_force:
        found.append(("missed", "Age", [("yes", "Came before the last cut-off")]))
    return found


@blueprint.post("/search")
@needs(Permission.SEE_REQUESTS)
def search() -> Response | AnyResponse:
    """A form and not a link: what is searched for may be a name, and names stay out of addresses and logs."""
    looker, wanted = here(), request.form.get("wanted", "").strip()
    below = request.form.get("below", type=int)
    if len(wanted) > searching.LONGEST:
        abort(400, "What is searched for is too long. Search for a part of it.")
    if wanted.isascii() and wanted.isdecimal() and len(wanted) < 7:
        with office().database.read() as session:
            if session.get(Request, int(wanted)) is not None:
                return redirect(url_for("request.page", request_id=int(wanted)), 303)
    if not wanted:
        return with_keys(render_template("search.html", found=None, wanted=""))
    if looker.sees_personal:
        with office().database.write() as session:
            session.add(Look(account=looker.name, what="search", about="requests", why="search by name", at=looker.at))
    with office().database.read() as session:
        found = searching.search(session, wanted, personal=looker.sees_personal, below=below)
        several: dict[str, Any] = {one.election_id: one.rules.election.name for one in looker.every}
        return with_keys(
            render_template("search.html", elections=several if looker.several else {}, found=found, wanted=wanted)
        )
