"""Figures for the office's own monitoring. There is no such page until a token is set, and none without showing it."""

from __future__ import annotations

import hmac

from flask import Blueprint, abort, request
from werkzeug.wrappers import Response

from replacements.health.looking import measure
from replacements.health.metrics import MEDIA_TYPE, exposition
from replacements.web.guard import before_the_door, for_everybody, office

blueprint = Blueprint("metrics", __name__)


@blueprint.get("/metrics")
@for_everybody
@before_the_door
def page() -> Response:
    """For who shows the token of the settings as RFC 6750, section 2.1, has it."""
    place = office()
    if not place.settings.metrics_token:
        abort(404)
    scheme, _, shown = request.headers.get("Authorization", "").partition(" ")
    wanted = place.settings.metrics_token.encode()
    if scheme.lower() != "bearer" or not hmac.compare_digest(shown.strip().encode(), wanted):
        return Response("A token is needed.\n", 401, {"WWW-Authenticate": "Bearer"}, content_type="text/plain")
    figures = measure(place.database, place.settings, at=place.now(), whole=True)
    return Response(exposition(figures), content_type=MEDIA_TYPE)
