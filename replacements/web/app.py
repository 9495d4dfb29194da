"""The web application, put together."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from flask import Flask
from flask_wtf.csrf import CSRFProtect

from replacements.folders import TEMPLATES
from replacements.people.openid import is_installed, is_safe
from replacements.settings import Settings, SettingTrouble
from replacements.store.database import Database
from replacements.web import compressing, guard, live, showing, troubles
from replacements.web.pages import (
    bulk,
    correcting,
    cures,
    deciding,
    desk_lists,
    door,
    front,
    health,
    keys,
    ledger,
    looks,
    mailing,
    metrics,
    openid,
    people,
    pictures,
    public_report,
    reissued,
    request,
    requests_list,
    return_desk,
    rules,
    second_factor,
    sessions,
    style,
    texts,
    week,
    working,
)

PAGES = (
    bulk,
    correcting,
    cures,
    deciding,
    desk_lists,
    door,
    front,
    health,
    keys,
    ledger,
    looks,
    mailing,
    metrics,
    openid,
    people,
    pictures,
    public_report,
    reissued,
    request,
    requests_list,
    return_desk,
    rules,
    second_factor,
    sessions,
    style,
    texts,
    week,
    working,
)


def check_service(settings: Settings) -> None:
    """Whether the office's sign-in service can be used as it is set."""
    if not settings.oidc_issuer:
        return
    if not is_safe(settings.oidc_issuer):
        raise SettingTrouble(f"REPLACEMENTS_OIDC_ISSUER is {settings.oidc_issuer!r}; an https address is expected.")
    if not settings.oidc_client:
        raise SettingTrouble("REPLACEMENTS_OIDC_ISSUER is set, but REPLACEMENTS_OIDC_CLIENT is not.")
    if not is_installed():
        raise SettingTrouble(
            "REPLACEMENTS_OIDC_ISSUER is set, but what signing in by it needs is not installed. Install the package "
            "with its extra sign-in: pip install 'replacements[sign-in]'."
        )


def create_app(database: Database, settings: Settings, *, now: Callable[[], datetime]) -> Flask:
    """The pages over this database. `now` gives aware datetimes. Raises SettingTrouble for a sign-in service that
    cannot be used."""
    check_service(settings)
    app = Flask("replacements.web", template_folder=str(TEMPLATES / "pages"), static_folder="static")
    app.config.update(
        SECRET_KEY=settings.secret(),
        SESSION_COOKIE_NAME=guard.cookie_name(settings, "form"),
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=settings.https,
        SESSION_COOKIE_PATH="/",
        WTF_CSRF_TIME_LIMIT=settings.sign_in_longest * 3600,  # seconds; a form lives as long as a sign-in can
        MAX_CONTENT_LENGTH=1_000_000,
        MAX_FORM_MEMORY_SIZE=500_000,
        MAX_FORM_PARTS=200,
    )
    app.extensions["replacements"] = guard.Office(database, settings, now)
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    guard.install(app)  # before the forms are checked, so that who is signed out is told that
    CSRFProtect(app)
    troubles.install(app)
    showing.install(app)
    compressing.install(app)
    live.install(app)
    for page in PAGES:
        app.register_blueprint(page.blueprint)
    return app
