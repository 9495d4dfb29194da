"""Where somebody is signed in: everybody sees and ends their own, who manages people those of all (OWASP ASVS 5.0,
7.4.5, 7.5.2). Ending asks for the password of whoever ends, so that a screen left open is not enough."""

from __future__ import annotations

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from replacements.ballots import ledger
from replacements.people import accounts, sign_ins
from replacements.people.permissions import Permission
from replacements.store.tables import Account
from replacements.web.guard import for_staff, here, needs, office

blueprint = Blueprint("sessions", __name__)
ALL = "all"
WRONG = "The password is not right. Nothing was ended."


def _page(account_id: int, wrong: str = "") -> str:
    with office().database.read() as session:
        account = session.get(Account, account_id)
        if account is None:
            abort(404)
        return render_template(
            "sessions.html",
            account=account,
            own=account_id == _own(),
            found=sign_ins.of_account(session, account_id, at=here().at),
            this_one=here().sign_in,
            wrong=wrong,
        )


def _own() -> int:
    member = here().member
    if member is None:
        abort(403)
    return member.account_id


def _end(account_id: int, *, on_record: bool) -> str:
    """End what the form names. Returns what is wrong, or "" once it is done."""
    which, looker = request.form.get("which", ""), here()
    this_one = looker.sign_in.sign_in_id if looker.sign_in and account_id == _own() else None
    if not which.isdecimal() and which != ALL:
        return "Choose which sign-in to end. Nothing was ended."
    if accounts.check_password(office().database, looker.name, request.form.get("password", ""), at=looker.at) is None:
        return WRONG
    with office().database.write() as session:
        account = session.get(Account, account_id)
        if account is None:
            abort(404)
        if which == ALL:
            sign_ins.end_all(session, account_id, besides=this_one)
        elif not sign_ins.end_one(session, account_id, int(which)):
            return "That sign-in was over already. Nothing was ended."
        if on_record:
            ledger.append(
                session,
                event="account_signed_out",
                election_id=looker.election_id,
                by=looker.name,
                at=looker.at,
                details={"account": account.name, "everywhere": which == ALL},
            )
    return ""


@blueprint.get("/my-sign-ins")
@for_staff
def mine() -> str:
    return _page(_own())


@blueprint.post("/my-sign-ins")
@for_staff
def end_mine() -> tuple[str, int] | Response:
    wrong = _end(_own(), on_record=False)
    if wrong:
        return _page(_own(), wrong), 400
    flash("It is ended. Whoever used it has to sign in again.", "good")
    return redirect(url_for("sessions.mine"), 303)


@blueprint.get("/people/<int:account_id>/sign-ins")
@needs(Permission.MANAGE_PEOPLE)
def of_somebody(account_id: int) -> str:
    return _page(account_id)


@blueprint.post("/people/<int:account_id>/sign-ins")
@needs(Permission.MANAGE_PEOPLE)
def end_of_somebody(account_id: int) -> tuple[str, int] | Response:
    wrong = _end(account_id, on_record=True)
    if wrong:
        return _page(account_id, wrong), 400
    flash("It is ended, and that you ended it is on the record.", "good")
    return redirect(url_for("sessions.of_somebody", account_id=account_id), 303)
