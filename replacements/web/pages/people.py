"""Who works here: accounts made, given other roles, switched off and on."""

from __future__ import annotations

from collections.abc import Callable

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response

from replacements.ballots import ledger
from replacements.people import accounts, second_factor
from replacements.people.passwords import SHORTEST, PasswordRefused
from replacements.people.permissions import Permission, Role
from replacements.store.tables import Account
from replacements.web.guard import here, leaf, needs, office

blueprint = Blueprint("people", __name__, url_prefix="/people")


A_PAGE = 50  # each with the forms that change it
_ORDER = (Account.active.desc(), Account.name)


def _page(wrong: str = "") -> str:
    """Some of the accounts at a time: those whose name holds what the address asks for, or those beside the account
    that it names, which was changed just now."""
    name, asked = request.args.get("name", "").strip(), request.args.get("account", 0, type=int)
    fits = or_(*(column.icontains(name, autoescape=True) for column in (Account.name, Account.full_name)))
    wanted = [fits] if name else []
    with office().database.read() as session:
        place = func.row_number().over(order_by=_ORDER)
        places = session.execute(select(Account.id, place).where(*wanted)).all()
        number = next((-(-at // A_PAGE) for account_id, at in places if account_id == asked), leaf())
        found = session.scalars(
            select(Account).where(*wanted).order_by(*_ORDER).offset((number - 1) * A_PAGE).limit(A_PAGE)
        ).all()
        has = second_factor.standings(session, [account.id for account in found])
        return render_template(
            "people.html",
            accounts=found,
            has=has,
            roles=list(Role),
            shortest=SHORTEST,
            wrong=wrong,
            total=len(places),
            number=number,
            a_page=A_PAGE,
            name=name,
            changed=asked,
        )


@blueprint.get("/")
@needs(Permission.MANAGE_PEOPLE)
def page() -> str:
    return _page()


@blueprint.post("/")
@needs(Permission.MANAGE_PEOPLE)
def create() -> tuple[str, int] | Response:
    form = request.form
    try:
        with office().database.write() as session:
            made = accounts.create(
                session,
                name=form.get("name", ""),
                full_name=form.get("full_name", ""),
                email=form.get("email", ""),
                password=form.get("password", ""),
                roles=form.getlist("roles"),
                at=here().at,
            )
            account = session.get_one(Account, made.account_id)
            _record(session, "account_made", account, roles=list(account.roles))
    except (accounts.AccountTrouble, PasswordRefused) as trouble:
        return _page(str(trouble)), 400
    flash(f"The account {made.name} can sign in now.", "good")
    return _back(made.account_id)


def _record(session: Session, event: str, account: Account, **details: object) -> None:
    """Who changed whose account is on the ledger: two people must stay two people."""
    ledger.append(
        session,
        event=event,
        election_id=here().election_id,
        by=here().name,
        at=here().at,
        details={"account": account.name, **details},
    )


def _back(account_id: int) -> Response:
    """To the account, wherever in the list it stands."""
    return redirect(url_for("people.page", account=account_id), 303)


def _change(account_id: int, event: str, change: Callable[[Session], object], done: str) -> Response:
    with office().database.read() as session:
        if session.get(Account, account_id) is None:
            abort(404)
    try:
        with office().database.write() as session:
            change(session)
            account = session.get_one(Account, account_id)
            _record(session, event, account, roles=list(account.roles), active=account.active)
        flash(done, "good")
    except (accounts.AccountTrouble, PasswordRefused) as trouble:
        flash(f"{trouble} Nothing was changed.", "stop")
    return _back(account_id)


@blueprint.post("/<int:account_id>/off")
@needs(Permission.MANAGE_PEOPLE)
def switch_off(account_id: int) -> Response:
    return _change(
        account_id,
        "account_switched_off",
        lambda session: accounts.switch_off(session, account_id),
        "The account is switched off and signed out everywhere.",
    )


@blueprint.post("/<int:account_id>/on")
@needs(Permission.MANAGE_PEOPLE)
def switch_on(account_id: int) -> Response:
    return _change(
        account_id,
        "account_switched_on",
        lambda session: accounts.switch_on(session, account_id),
        "The account can sign in again.",
    )


@blueprint.post("/<int:account_id>/roles")
@needs(Permission.MANAGE_PEOPLE)
def roles(account_id: int) -> Response:
    chosen = request.form.getlist("roles")
    return _change(
        account_id,
        "account_roles_changed",
        lambda session: accounts.set_roles(session, account_id, chosen),
        "The roles are changed.",
    )


@blueprint.post("/<int:account_id>/password")
@needs(Permission.MANAGE_PEOPLE)
def password(account_id: int) -> Response:
    fresh = request.form.get("password", "")
    return _change(
        account_id,
        "account_password_set",
        lambda session: accounts.set_password(session, account_id, fresh),
        "The account has a new password and is signed out everywhere. Hand it over in person.",
    )


@blueprint.post("/<int:account_id>/email")
@needs(Permission.MANAGE_PEOPLE)
def email(account_id: int) -> Response:
    address = request.form.get("email", "")
    return _change(
        account_id,
        "account_address_changed",
        lambda session: accounts.set_email(session, account_id, address),
        "The mail address is changed.",
    )


@blueprint.post("/<int:account_id>/provider-name")
@needs(Permission.MANAGE_PEOPLE)
def provider_name(account_id: int) -> Response:
    name = request.form.get("provider_name", "")
    return _change(
        account_id,
        "account_provider_name_changed",
        lambda session: accounts.set_provider_name(session, account_id, name),
        "The name at the sign-in service is changed.",
    )


@blueprint.post("/<int:account_id>/second-factor/remove")
@needs(Permission.MANAGE_PEOPLE)
def remove_second_factor(account_id: int) -> Response:
    """A device is lost: the account sets up another one at its next sign-in where its role must have one. Whoever does
    this answers for knowing who asks (OWASP ASVS 5.0, 6.4.4, 6.5.6)."""
    if not request.form.get("known"):
        flash("Make sure in person who asks, and say so. Nothing was changed.", "stop")
        return _back(account_id)
    return _change(
        account_id,
        "account_second_factor_removed",
        lambda session: second_factor.lost(session, account_id),
        "The second factor and the recovery codes are taken off, and the account is signed out everywhere.",
    )
