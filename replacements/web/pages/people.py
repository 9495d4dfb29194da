"""Who works here: accounts made, given other roles, switched off and on."""

from __future__ import annotations

from collections.abc import Callable

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response

from replacements.people import accounts
from replacements.people.passwords import SHORTEST, PasswordRefused
from replacements.people.permissions import Permission, Role
from replacements.store.tables import Account
from replacements.web.guard import here, needs, office

blueprint = Blueprint("people", __name__, url_prefix="/people")


def _page(wrong: str = "") -> str:
    with office().database.read() as session:
        found = session.scalars(select(Account).order_by(Account.active.desc(), Account.name)).all()
        return render_template("people.html", accounts=found, roles=list(Role), shortest=SHORTEST, wrong=wrong)


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
    except (accounts.AccountTrouble, PasswordRefused) as trouble:
        return _page(str(trouble)), 400
    flash(f"The account {made.name} can sign in now.", "good")
    return redirect(url_for("people.page"), 303)


def _change(change: Callable[[Session], None], done: str) -> Response:
    try:
        with office().database.write() as session:
            change(session)
        flash(done, "good")
    except (accounts.AccountTrouble, PasswordRefused) as trouble:
        flash(f"{trouble} Nothing was changed.", "stop")
    return redirect(url_for("people.page"), 303)


@blueprint.post("/<int:account_id>/off")
@needs(Permission.MANAGE_PEOPLE)
def switch_off(account_id: int) -> Response:
    return _change(
        lambda session: accounts.switch_off(session, account_id),
        "The account is switched off and signed out everywhere.",
    )


@blueprint.post("/<int:account_id>/on")
@needs(Permission.MANAGE_PEOPLE)
def switch_on(account_id: int) -> Response:
    return _change(lambda session: accounts.switch_on(session, account_id), "The account can sign in again.")


@blueprint.post("/<int:account_id>/roles")
@needs(Permission.MANAGE_PEOPLE)
def roles(account_id: int) -> Response:
    chosen = request.form.getlist("roles")
    return _change(lambda session: accounts.set_roles(session, account_id, chosen), "The roles are changed.")


@blueprint.post("/<int:account_id>/password")
@needs(Permission.MANAGE_PEOPLE)
def password(account_id: int) -> Response:
    fresh = request.form.get("password", "")
    return _change(
        lambda session: accounts.set_password(session, account_id, fresh),
        "The account has a new password and is signed out everywhere. Hand it over in person.",
    )


@blueprint.post("/<int:account_id>/email")
@needs(Permission.MANAGE_PEOPLE)
def email(account_id: int) -> Response:
    address = request.form.get("email", "")
    return _change(lambda session: accounts.set_email(session, account_id, address), "The mail address is changed.")
