"""When something fails: a page that says what failed, what was kept, and what to do next."""

from __future__ import annotations

import secrets
import traceback
from dataclasses import dataclass

import structlog
from flask import Flask, render_template, request
from flask_wtf.csrf import CSRFError
from sqlalchemy.exc import OperationalError
from sqlalchemy.exc import TimeoutError as NoConnection
from werkzeug.exceptions import HTTPException

from replacements.store.sealing import SealTrouble

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Trouble:
    """What a person is told."""

    title: str
    failed: str
    kept: str
    next: str


TROUBLES = {
    400: Trouble(
        "That could not be read",
        "Something on the form was missing, or not of the kind that is needed there.",
        "Nothing was changed.",
        "Go back, check what you entered, and send it again.",
    ),
    403: Trouble(
        "This page is not part of your work",
        "Your account does not have the permission that this page needs.",
        "Nothing was shown and nothing was changed.",
        "If you should have it, ask a supervisor: roles are given on the page People.",
    ),
    404: Trouble(
        "There is nothing here",
        "No page, request or mailing has this address.",
        "Nothing was changed. Requests and mailings are never deleted while their retention period runs.",
        "Check the number, or look it up under Requests.",
    ),
    405: Trouble(
        "That address only takes forms",
        "It was opened as a page.",
        "Nothing was changed.",
        "Go to the page that the form is on and send it from there.",
    ),
    409: Trouble(
        "Not now",
        "Something else has to be done before this.",
        "Nothing was changed.",
        "Do what is named above first, then come back to this page.",
    ),
    413: Trouble(
        "That is too long",
        "The form holds more than this service takes.",
        "Nothing was changed.",
        "Shorten the text and send it again.",
    ),
    500: Trouble(
        "Something broke on our side",
        "The page could not be made.",
        "A step is done whole or not at all: what was not confirmed to you was not done. "
        "No message and no decision was lost.",
        "Try once more. If it happens again, tell whoever looks after this service, with the number below.",
    ),
}
NO_DATABASE = Trouble(
    "The database does not answer",
    "Nothing can be looked up or written down at this moment: the database is away, full, or has too much to do.",
    "A step is done whole or not at all: what was not confirmed to you was not done. "
    "No message and no decision was lost; mail waits in the mailbox meanwhile.",
    "Wait a minute and open the page again; look whether your last step was done before you repeat it. "
    "If it lasts, tell whoever looks after this service.",
)
FORM_TOO_OLD = Trouble(
    "This form is too old",
    "The page was open for a long time, or you signed in again after opening it.",
    "Nothing was changed.",
    "Go back, load the page again, and repeat what you did.",
)


def _sealed(error: SealTrouble) -> tuple[str, int]:
    """What is said of the keys names no person."""
    log.error("mail_is_sealed", endpoint=request.endpoint)
    return _page(
        503,
        Trouble(
            "Stored mail cannot be opened",
            str(error),
            "Nothing was changed, and no message is lost.",
            "Tell whoever looks after this service. Requests and ballots can be worked on meanwhile.",
        ),
    )


def _no_database(error: OperationalError | NoConnection) -> tuple[str, int, dict[str, str]]:
    log.error("no_database", endpoint=request.endpoint, kind=type(getattr(error, "orig", None) or error).__name__)
    return *_page(503, NO_DATABASE), {"Retry-After": "60"}


def _page(code: int, trouble: Trouble, detail: str = "", reference: str = "") -> tuple[str, int]:
    return render_template("trouble.html", code=code, trouble=trouble, detail=detail, reference=reference), code


def _http(error: HTTPException) -> tuple[str, int]:
    code = error.code or 500
    said_by_us = error.description if error.description != type(error).description else ""
    return _page(code, TROUBLES.get(code, TROUBLES[400 if code < 500 else 500]), said_by_us or "")


def _form_too_old(_error: CSRFError) -> tuple[str, int]:
    return _page(400, FORM_TOO_OLD)


def _broken(error: Exception) -> tuple[str, int]:
    """The log gets where it broke, not what was in hand: an exception's own text may hold names or addresses."""
    reference = secrets.token_hex(4)
    log.error(
        "page_broken",
        reference=reference,
        kind=type(error).__name__,
        endpoint=request.endpoint,
        where=[f"{frame.filename}:{frame.lineno}" for frame in traceback.extract_tb(error.__traceback__)[-6:]],
    )
    return _page(500, TROUBLES[500], reference=reference)


def install(app: Flask) -> None:
    app.register_error_handler(CSRFError, _form_too_old)
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(SealTrouble, _sealed)
    for away in (OperationalError, NoConnection):  # it does not answer, or there is no connection left to it
        app.register_error_handler(away, _no_database)
    app.register_error_handler(Exception, _broken)
