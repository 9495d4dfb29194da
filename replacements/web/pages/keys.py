"""Single keys for the pages where a clerk spends the day: which there are, the page that lists them, and the switch.

A letter alone does something only where nobody types, and can be switched off for good (WCAG 2.2, 2.1.4). A letter
never decides anything: it leads to the button, and Enter presses it.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from flask import Blueprint, Response, flash, g, make_response, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from replacements.web.guard import CONTENT_SECURITY_POLICY, cookie_name, for_staff, inside, office

blueprint = Blueprint("keys", __name__, url_prefix="/keys")
COOKIE, OFF = "keys", "off"
A_YEAR = 365 * 24 * 3600  # seconds

# By page: what is reached, its key, and what it does in words. A test looks that no key of a page has two meanings.
KEYS: Mapping[str, Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "The list": {
            "open": ("o", "Open the request in focus, or the first one"),
            "row_down": ("n", "To the next request in the list"),
            "row_up": ("p", "To the one before"),
            "search": ("s", "To the search"),
            "filters": ("f", "To the filters"),
            "together": ("c", "Clear cases together"),
            "further": (".", "Further down the list"),
            "back": (",", "Back up the list"),
            "list": ("l", "The list from its beginning"),
        },
        "One request": {
            "approve": ("a", "To the approval; Enter approves"),
            "else": ("e", "Do something else"),
            "ask": ("i", "Ask the writer who they are"),
            "decline": ("d", "Decline"),
            "undo": ("u", "Undo: take the reissue back"),
            "take": ("t", "Take it, or lay it back; Enter does it"),
            "give": ("g", "Give it to somebody"),
            "hold": ("h", "Put it on hold, or end that"),
            "next": ("n", "The next one that waits"),
            "list": ("l", "Back to the list"),
            "message": ("m", "To the message"),
            "who": ("w", "To whom it is about"),
            "reply": ("r", "The reply that goes"),
            "pictures": ("b", "Pictures and attachments (a reason is asked for)"),
            "wrong": ("x", "The reading was wrong"),
            "history": ("y", "What was done so far"),
        },
        "Clear cases together": {
            "approve": ("a", "To the approval; Enter approves those that are ticked"),
            "list": ("l", "Back to the list"),
        },
    }
)
PANEL = "?"
ROW_KEYS = {"open", "row_down", "row_up"}  # of the rows of a list, and of no one place


def with_keys(page: str) -> Response:
    """A page that runs our script for its keys."""
    answer = make_response(page)
    if _on():
        answer.headers["Content-Security-Policy"] = f"{CONTENT_SECURITY_POLICY}; script-src 'nonce-{_nonce()}'"
    return answer


def _nonce() -> str:
    """What tells our one script from any other, once for each answer. These pages show strangers' mail: nothing else
    runs on them, not even another script of ours."""
    if "keys_nonce" not in g:
        g.keys_nonce = secrets.token_urlsafe(16)
    return str(g.keys_nonce)


def _on() -> bool:
    return request.cookies.get(cookie_name(office().settings, COOKIE)) != OFF


@blueprint.app_context_processor
def _for_templates() -> dict[str, Any]:
    on = _on()

    def key(page: str, name: str) -> Markup:
        """The attributes of what a key leads to; nothing while keys are switched off."""
        led.add(name)
        return Markup('aria-keyshortcuts="{0}"').format(KEYS[page][name][0]) if on else Markup("")

    def keys_led(page: str, rows: bool) -> list[tuple[str, str]]:
        """Of a page's keys those that lead somewhere on it as it was drawn so far, each with what it does."""
        there = led | (ROW_KEYS if rows else set())
        return [means for name, means in KEYS[page].items() if name in there]

    led: set[str] = set()
    return {"KEYS": KEYS, "PANEL": PANEL, "keys_on": on, "keys_nonce": _nonce, "key": key, "keys_led": keys_led}


@blueprint.get("/")
@for_staff
def page() -> str:
    """The same as the panel, for who has no script or wants to read it in peace; and the switch."""
    return render_template("keys.html", back=inside(request.args.get("back")))


@blueprint.post("/")
@for_staff
def switch() -> AnyResponse:
    on = request.form.get("keys") == "on"
    flash("Single keys are on." if on else "Single keys are off: no letter does anything by itself.", "good")
    answer = redirect(url_for("keys.page", back=inside(request.form.get("back"))), 303)
    settings = office().settings
    name = cookie_name(settings, COOKIE)
    if on:
        answer.delete_cookie(name, path="/", secure=settings.https, samesite="Lax")
    else:
        answer.set_cookie(name, OFF, max_age=A_YEAR, secure=settings.https, httponly=True, samesite="Lax", path="/")
    return answer
