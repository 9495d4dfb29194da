"""Today: how the promise stands, what waits, the next mailing, and what is not in order; kept up to date by itself."""

from __future__ import annotations

from flask import Blueprint, Response, make_response, render_template

from replacements.web import live
from replacements.web.guard import WITH_SCRIPT, by_itself, for_staff, office
from replacements.web.today import today

blueprint = Blueprint("front", __name__)


@blueprint.get("/")
@for_staff
def page() -> Response:
    with office().database.read() as session:
        answer = make_response(render_template("front.html", **today(session)))
    answer.headers["Content-Security-Policy"] = WITH_SCRIPT
    return answer


@blueprint.get("/now")
@for_staff
@by_itself
def now() -> Response:
    """The parts of the front page that change, as server-sent events: HTML, and a sentence to be read out."""
    return live.stream(_parts)


def _parts() -> dict[str, str]:
    with office().database.read() as session:
        found = today(session)
        return {
            "html": render_template("front_now.html", **found),
            "said": render_template("front_said.txt", **found).strip(),
        }
