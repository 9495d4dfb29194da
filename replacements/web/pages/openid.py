"""Signing in by the office's own sign-in service: there and back. Only accounts that were made here get in."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, abort, redirect, request, session, url_for
from sqlalchemy import select
from werkzeug.wrappers import Response

from replacements.people import openid
from replacements.people.sign_ins import member_of
from replacements.store.tables import Account
from replacements.web.guard import for_everybody, here, office
from replacements.web.pages.door import let_in, sign_in_page

blueprint = Blueprint("openid", __name__, url_prefix="/sign-in")
KEPT = "openid"  # in the signed cookie of forms, which this browser alone has
PROVIDER = "provider"  # the second factor was the service's
NO_ACCOUNT = (
    "The sign-in service knows you, but no account here carries the name it has for you. A supervisor enters that name "
    "on the page People. No account is made by itself."
)
BEGIN_ANEW = "Signing in by the office's sign-in service took too long, or was begun in another browser. Begin again."


def _provider() -> openid.Provider:
    settings = office().settings
    if not settings.oidc_issuer:
        abort(404)
    return openid.Provider(
        settings.oidc_issuer, settings.oidc_client, settings.oidc_secret, settings.oidc_claim, settings.ca_file
    )


def _back_here() -> str:
    scheme = "https" if office().settings.https else "http"
    return url_for("openid.answer", _external=True, _scheme=scheme)


def _refused(why: str) -> tuple[str, int]:
    return sign_in_page(wrong=why), 403


@blueprint.get("/service")
@for_everybody
def ask() -> tuple[str, int] | Response:
    """Begin, where the person asked for it: a link on another site begins nothing (OWASP ASVS 5.0, 7.6.2)."""
    provider = _provider()
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return redirect(url_for("door.sign_in"), 303)
    try:
        address, kept = openid.ask(provider, redirect_uri=_back_here())
    except openid.ProviderTrouble as trouble:
        return _refused(f"{trouble} You can sign in with your password.")
    session[KEPT] = {**kept, "back": request.args.get("back", ""), "at": here().at.isoformat()}
    return redirect(address, 303)


@blueprint.get("/answer")
@for_everybody
def answer() -> tuple[str, int] | Response:
    """Come back. What was kept is used once, whatever comes of it."""
    provider, kept = _provider(), session.pop(KEPT, None)
    if not isinstance(kept, dict) or here().at - datetime.fromisoformat(kept["at"]) > openid.ASKED_FOR:
        return _refused(BEGIN_ANEW)
    try:
        told = openid.answered(provider, kept, request.args, redirect_uri=_back_here(), at=here().at)
    except openid.ProviderTrouble as trouble:
        return _refused(f"{trouble} Nobody was signed in.")
    with office().database.read() as work:
        account = work.scalar(select(Account).where(Account.provider_name == told.name, Account.active))
    if account is None:
        return _refused(NO_ACCOUNT)
    return let_in(member_of(account), back=kept["back"], second=PROVIDER if told.multi_factor else "")
