"""The style sheet that the pages build on, served from here: nothing comes from elsewhere."""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path

from flask import Blueprint, Response, send_file

from replacements.web.guard import for_everybody

blueprint = Blueprint("style", __name__)


@cache
def bootstrap_file() -> Path:
    """Where the style sheet lies. Raises FileNotFoundError where its package is not installed."""
    found = find_spec("flask_bootstrap")
    if found is None or found.origin is None:
        raise FileNotFoundError("the package bootstrap-flask is not installed")
    return Path(found.origin).parent / "static" / "bootstrap5" / "css" / "bootstrap.min.css"


@blueprint.get("/style/bootstrap.css")
@for_everybody
def bootstrap() -> Response:
    return send_file(bootstrap_file(), mimetype="text/css")
