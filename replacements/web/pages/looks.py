"""Who looked at whose record, for those who manage people. What is looked for may be a voter's id, so that the form is
sent and not part of an address."""

from __future__ import annotations

import re

from flask import Blueprint, render_template, request

from replacements.people import looks
from replacements.people.permissions import Permission
from replacements.web.guard import leaf, needs, office

blueprint = Blueprint("looks", __name__, url_prefix="/looks")
A_PAGE = 100
_REQUEST = re.compile(r"request (\d{1,9})")


def _page(account: str = "", about: str = "", voter_id: str = "") -> str:
    number = leaf() if request.method == "GET" else 1
    with office().database.read() as session:
        found = looks.newest(
            session, account=account, about=about, voter_id=voter_id, skip=(number - 1) * A_PAGE, most=A_PAGE + 1
        )
        return render_template(
            "looks.html",
            looks=[(look, _request_of(look.about)) for look in found[:A_PAGE]],
            more=len(found) > A_PAGE,
            number=number,
            account=account,
            about=about,
            voter_id=voter_id,
        )


def _request_of(about: str) -> int | None:
    """The request that a look is about, where it is about one."""
    found = _REQUEST.fullmatch(about)
    return int(found[1]) if found else None


@blueprint.get("/")
@needs(Permission.SEE_LOOKS)
def page() -> str:
    return _page()


@blueprint.post("/")
@needs(Permission.SEE_LOOKS)
def search() -> str:
    form = request.form
    number = form.get("request", "").strip()
    return _page(
        account=form.get("account", "").strip().casefold(),
        about=f"request {number}" if number else "",
        voter_id=form.get("voter_id", "").strip(),
    )
