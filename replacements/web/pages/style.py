"""The style sheet that the pages build on, served from here: nothing comes from elsewhere."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

from flask import Blueprint, Response, send_file

from replacements.web.guard import for_everybody

blueprint = Blueprint("style", __name__)
A_DAY = 24 * 60 * 60  # seconds


def _bootstrap() -> Path:
    found = find_spec("flask_bootstrap")
    if found is None or found.origin is None:
        raise FileNotFoundError("the package bootstrap-flask is not installed")
    return Path(found.origin).parent / "static" / "bootstrap5" / "css" / "bootstrap.min.css"


@blueprint.get("/style/bootstrap.css")
@for_everybody
def bootstrap() -> Response:
    return send_file(_bootstrap(), mimetype="text/css", max_age=A_DAY)
