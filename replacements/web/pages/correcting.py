"""The form “the reading was wrong”: kept to teach by, nothing else is changed."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, request, url_for
from werkzeug.wrappers import Response

from replacements.people.permissions import Permission
from replacements.requests.correcting import NotCorrected, correct
from replacements.web.guard import here, needs, office

blueprint = Blueprint("correcting", __name__, url_prefix="/requests")


@blueprint.post("/<int:request_id>/reading")
@needs(Permission.DECIDE)
def keep(request_id: int) -> Response:
    """What the message really asks."""
    looker = here()
    try:
        kept = correct(
            office().database,
            request_id,
            kinds=request.form.getlist("kinds"),
            cause=request.form.get("cause", ""),
            by=looker.name,
            at=looker.at,
        )
    except NotCorrected as why:
        flash(f"{why} Nothing was kept.", "stop")
    else:
        dropped = bool(request.form.get("cause")) and kept.cause is None
        left_out = " The cause was left out, since no ballot is wanted." if dropped else ""
        flash(f"Kept, to teach the reading.{left_out} The request stands as it was.", "good")
    return redirect(url_for("request.page", request_id=request_id), 303)
