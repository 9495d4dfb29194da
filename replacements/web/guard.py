"""The door: who is looking, what they may do, and the headers that every answer carries.

Every view says who may open it (`needs`, `for_staff`, `for_everybody`); a view that says nothing is closed to all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, TypeVar, cast

from flask import Flask, Response, abort, current_app, flash, g, redirect, request, url_for
from sqlalchemy import ColumnElement, Select, null, select
from werkzeug.routing import IntegerConverter, Map
from werkzeug.wrappers import Response as AnyResponse

from replacements.people import looks, sign_ins
from replacements.people.accounts import has_factor
from replacements.people.permissions import Permission, may
from replacements.people.sign_ins import Member
from replacements.requests.office import InForce, known, next_of, offered
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Account, Mailing, Packet, Request

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "style-src 'self'",
        "img-src 'self' data:",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
WITH_SCRIPT = f"{CONTENT_SECURITY_POLICY}; script-src 'self'; connect-src 'self'"  # for a page with a script of ours
HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # a form's own origin is checked where there is https
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
LARGEST = 2**31 - 1  # what a whole number in the database can hold
CHOICE = "election"  # the entry of an address that names the election it is about
# Pages that show one election at a time: their links and forms stay with it.
OF_ONE_ELECTION = ("cures", "front", "mailing", "public_report", "reissued", "rules", "week")
_NOT_OF_ONE = ("static", "style", "door", "second_factor")
_FOR_EVERYBODY = "everybody"
_FOR_STAFF = "staff"
_FOR_HALF = "who is signing in"
_LAST_LEAF = 1_000_000
View = TypeVar("View", bound=Callable[..., Any])


@dataclass(frozen=True, slots=True)
class Office:
    """What the pages are built on: the database, the settings, the clock."""

    database: Database
    settings: Settings
    now: Callable[[], datetime]


@dataclass(frozen=True, slots=True)
class Here:
    """This one look at a page: who, when, under which rules.

    `in_force`: of the election that the address is about (a request's, a mailing's, the one it names), else of the
    next one. `elections`: those that are open. `chosen`: the election that the address names, "" where it names none.
    `every`: all that are on record. `member`: who has given everything that is asked for at signing in; `sign_in`:
    the sign-in, also where a second factor is outstanding.
    """

    member: Member | None
    at: datetime
    in_force: InForce | None
    elections: tuple[InForce, ...] = ()
    chosen: str = ""
    every: tuple[InForce, ...] = ()
    sign_in: sign_ins.Found | None = None

    def may(self, permission: Permission) -> bool:
        return self.member is not None and may(self.member.roles, permission)

    @property
    def sees_personal(self) -> bool:
        return self.may(Permission.SEE_PERSONAL)

    @property
    def name(self) -> str:
        """The account's name, for the record. Only on pages for staff."""
        if self.member is None:
            abort(403)
        return self.member.name

    @property
    def roles(self) -> tuple[str, ...]:
        return self.member.roles if self.member else ()

    @property
    def several(self) -> bool:
        """Whether a page must say which election it is about: more than one is open, or an older one is looked at."""
        open_ = [force.election_id for force in self.elections]
        return len(open_) > 1 or (self.in_force is not None and self.in_force.election_id not in open_)

    @property
    def election_id(self) -> str:
        """The election that is looked at; empty before any rules are loaded."""
        return self.in_force.election_id if self.in_force else ""


def office() -> Office:
    return cast(Office, current_app.extensions["replacements"])


def here() -> Here:
    found = g.get("here")
    return found if isinstance(found, Here) else Here(None, office().now(), None)


def rules_or_stop() -> InForce:
    """The rules in force; a page that cannot do without them ends here while none are loaded."""
    found = here().in_force
    if found is None:
        abort(
            409,
            "The office's rules are not loaded yet. They are loaded on the command line, from the office's rules file.",
        )
    return found


def needs(permission: Permission) -> Callable[[View], View]:
    """This view is for those who have this permission."""

    def mark(view: View) -> View:
        view.__dict__["open_to"] = permission
        return view

    return mark


def for_staff(view: View) -> View:
    """This view is for everybody who is signed in."""
    view.__dict__["open_to"] = _FOR_STAFF
    return view


def while_signing_in(view: View) -> View:
    """This view is for everybody who is signed in, and for who has given a password and not the second factor yet.
    Nothing about any voter may be on it."""
    view.__dict__["open_to"] = _FOR_HALF
    return view


def for_everybody(view: View) -> View:
    """This view is for everybody, signed in or not. Nothing about any voter may be on it."""
    view.__dict__["open_to"] = _FOR_EVERYBODY
    return view


def before_the_door(view: View) -> View:
    """This view is for machines, and answers where the database is away too: nobody is looked up for it."""
    view.__dict__["before_the_door"] = True
    return view


def by_itself(view: View) -> View:
    """A page asks for this view without anybody touching it: nobody stays signed in by it."""
    view.__dict__["by_itself"] = True
    return view


def open_to(view: Callable[..., Any]) -> str | Permission | None:
    """Who may open a view; None: nobody."""
    return cast("str | Permission | None", getattr(view, "open_to", None))


def cookie_name(settings: Settings, name: str) -> str:
    return f"__Host-{name}" if settings.https else name


def token() -> str:
    return request.cookies.get(cookie_name(office().settings, "sign-in"), "")


class Number(IntegerConverter):
    """A number in an address. What no row can have as its number is not there."""

    def __init__(self, map: Map) -> None:
        super().__init__(map, max=LARGEST)


def leaf() -> int:
    """Which page of a list is asked for, from 1; what is none is the first."""
    return min(max(request.args.get("page", 1, type=int), 1), _LAST_LEAF)


def ends() -> sign_ins.Ends:
    """How long a sign-in lasts here."""
    settings = office().settings
    return sign_ins.Ends(timedelta(minutes=settings.sign_in_idle), timedelta(hours=settings.sign_in_longest))


def hand_over(answer: AnyResponse, fresh: str) -> None:
    """Give the browser the token of a sign-in that has begun."""
    settings = office().settings
    answer.set_cookie(
        cookie_name(settings, "sign-in"),
        fresh,
        max_age=int(ends().longest.total_seconds()),
        secure=settings.https,
        httponly=True,
        samesite="Lax",
        path="/",
    )


def inside(back: str | None) -> str:
    """Where to go after signing in: a page of this service, never another site."""
    safe = back is not None and back.startswith("/") and not back.startswith("//") and back.isprintable()
    return back if safe and back is not None and "\\" not in back else url_for("front.page")


def install(app: Flask) -> None:
    """Put the door in front of every view of the app. Before any page is registered."""
    app.url_map.converters["int"] = Number
    app.before_request(_at_the_door)
    app.before_request(_no_nothing)
    app.after_request(_headers)
    app.after_request(_on_record)
    app.url_defaults(_stay_with_the_election)


def _at_the_door() -> AnyResponse | None:
    if request.endpoint == "static":
        return None
    view = current_app.view_functions.get(request.endpoint or "")
    if getattr(view, "before_the_door", False):
        return None
    allowed = open_to(view) if view is not None else None
    place, at = office(), office().now()
    with place.database.read() as session:
        every = known(session, at=at)
        open_ = offered(session, at=at, among=every)
    named, asked = request.args.get(CHOICE, ""), _object(at)
    sign_in = sign_ins.find(
        place.database, token(), at=at, by_itself=getattr(view, "by_itself", False), beside=asked
    )  # fmt: skip
    of_object = None
    if sign_in is not None and sign_in.beside:
        of_object, g.about_voter, of_voter, of_number = sign_in.beside
        g.looked_lately = bool(of_voter if g.about_voter else of_number)
    if sign_in is not None and not sign_in.outstanding and not sign_in.second:
        more = _more_than_before(sign_in, open_ or every)
        sign_in = replace(sign_in, outstanding=more)
    member = sign_in.member if sign_in is not None and not sign_in.outstanding else None
    by_id = {force.election_id: force for force in every}
    # What the address names goes before the election it names: a request, a mailing is of one and no other.
    chosen = (of_object or named) if named in by_id else ""
    g.here = Here(member, at, by_id.get(of_object or named) or next_of(open_, at=at), open_, chosen, every, sign_in)
    if view is None or allowed == _FOR_EVERYBODY:
        return None  # an address that is none becomes "not found" further on
    if sign_in is not None and allowed == _FOR_HALF:
        return None
    if sign_in is not None and sign_in.outstanding:
        return redirect(url_for("second_factor.page"), 303)
    if member is None:
        if request.method not in ("GET", "HEAD", "OPTIONS"):
            flash("You are signed out, so nothing was saved. Sign in and do it again.", "stop")
            return redirect(url_for("door.sign_in"), 303)
        back = request.full_path.rstrip("?") if request.path != "/" else None
        return redirect(url_for("door.sign_in", back=back), 303)
    if named and not chosen:
        abort(404)
    if allowed == _FOR_STAFF or (isinstance(allowed, Permission) and may(member.roles, allowed)):
        return None
    abort(403)


def wants_second(member: Member, elections: tuple[InForce, ...]) -> bool:
    """Whether a role of this member must give a second factor, by the rules of any of these elections."""
    return any(role in force.rules.people.second_factor for force in elections for role in member.roles)


def outstanding(member: Member) -> str:
    """What somebody who gave the right password has to do still: give the second factor, set one up, or nothing."""
    with office().database.read() as session:
        if has_factor(session, member.account_id):
            return sign_ins.CODE
    looker = here()
    return sign_ins.SET_UP if wants_second(member, looker.elections or looker.every) else ""


def _more_than_before(sign_in: sign_ins.Found, elections: tuple[InForce, ...]) -> str:
    """What rules that came after somebody signed in ask for; the sign-in does nothing more until it was given."""
    if not wants_second(sign_in.member, elections):
        return ""
    with office().database.read() as session:
        more = sign_ins.CODE if has_factor(session, sign_in.member.account_id) else sign_ins.SET_UP
    sign_ins.hold(office().database, sign_in.sign_in_id, more)
    return more


def _object(at: datetime) -> tuple[ColumnElement[Any], ...]:
    """Of the request, mailing or packet that the address names: its election, its voter, and whether who is signed in
    looked at it lately, told by the voter and by its number. Nothing where it names none of these."""
    what, number = _named()
    voter: Select[str | None] | None = None
    if what == "request":
        of = select(Request.election_id).where(Request.id == number)
        voter = select(Request.voter_id).where(Request.id == number)
    elif what == "mailing":
        of = select(Mailing.election_id).where(Mailing.id == number)
    elif what == "packet":
        of = select(Mailing.election_id).join(Packet, Packet.mailing_id == Mailing.id).where(Packet.id == number)
        voter = select(Packet.voter_id).where(Packet.id == number)
    else:
        return ()
    whom = null() if voter is None else voter.scalar_subquery()
    by_voter = looks.lately(Account.name, what, at=at, voter_id=whom)
    return of.scalar_subquery(), whom, by_voter, looks.lately(Account.name, what, at=at, about=f"{what} {number}")


def _named() -> tuple[str, int]:
    """What the address names by its number; "" and 0 where it names nothing of which looks are kept."""
    asked = request.view_args or {}
    return next(
        ((what, asked[f"{what}_id"]) for what in ("request", "mailing", "packet") if f"{what}_id" in asked), ("", 0)
    )


def _stay_with_the_election(endpoint: str, values: dict[str, Any]) -> None:
    """Links and forms keep the election that was chosen; those of a page that shows one election stay with it."""
    looker = g.get("here")
    if not isinstance(looker, Here) or CHOICE in values or endpoint.split(".")[0] in _NOT_OF_ONE:
        return
    if looker.chosen:
        values[CHOICE] = looker.chosen
    elif looker.several and request.blueprint in OF_ONE_ELECTION:
        values[CHOICE] = looker.election_id


def _no_nothing() -> None:
    """No text that is typed holds the character NUL, and PostgreSQL takes none."""
    if any("\0" in text for texts in (request.args, request.form) for text in texts.values()):
        abort(400)


def _on_record(response: Response) -> Response:
    """Keep that somebody who sees names opened a request, a mailing or a packet, before the answer goes out: where that
    cannot be kept, nothing is shown. Lists show names too and are not looks at a record; a search keeps its own line.
    """
    looker, (what, number) = here(), _named()
    if response.status_code != 200 or not what or looker.member is None or not looker.sees_personal:
        return response
    if g.get("looked_lately"):
        return response
    looks.record(
        office().database,
        account=looker.name,
        what=what,
        about=f"{what} {number}",
        at=looker.at,
        voter_id=g.get("about_voter"),
    )
    return response


def _headers(response: Response) -> Response:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    if office().settings.https:
        response.headers.setdefault("Strict-Transport-Security", "max-age=31536000")
    if request.endpoint not in ("static", "style.bootstrap"):
        response.headers["Cache-Control"] = "no-store"
    return response
