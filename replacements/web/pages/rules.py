"""The office's rules: which are loaded, who adopted them, and the form by which an official's adoption is recorded."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy import select
from werkzeug.wrappers import Response

from replacements.people.permissions import Permission
from replacements.requests import office as rules_office
from replacements.store.tables import AdoptedRules
from replacements.web.guard import here, needs, office

blueprint = Blueprint("rules", __name__, url_prefix="/rules")


@blueprint.get("/")
@needs(Permission.SEE_RULES)
def page() -> str:
    """The rules in force in an election; and, where others wait for their adoption, those."""
    force = here().in_force
    with office().database.read() as session:
        election_id = force.election_id if force else ""
        loaded = session.scalars(
            select(AdoptedRules)
            .where(AdoptedRules.election_id == election_id)
            .order_by(AdoptedRules.id.desc())
            .limit(20)
        ).all()
        newest = rules_office.loaded_last(session, election_id)
        waits = newest if newest is not None and not newest.adopted else None
        return render_template("rules.html", source=loaded[0].source if loaded else "", loaded=loaded, waits=waits)


@blueprint.post("/adopt")
@needs(Permission.ADOPT_RULES)
def adopt() -> Response:
    official, read = request.form.get("official", "").strip(), request.form.get("sha256", "")
    with office().database.write() as session:
        found = rules_office.loaded_last(session, here().election_id)
        if found is None or found.sha256 != read:
            flash(
                "Other rules were loaded meanwhile. Nothing was adopted: read the rules below, then adopt them.", "stop"
            )
        elif not official or not request.form.get("read"):
            flash("Name the official, and confirm that the rules were read. Nothing was adopted.", "stop")
        elif found.adopted:
            flash(f"These rules are in force already, adopted by {found.adopted_by}.", "note")
        else:
            rules_office.adopt(session, official=official, by=here().name, at=here().at, election_id=found.election_id)
            flash(f"The rules are in force, adopted by {official}.", "good")
    return redirect(url_for("rules.page"), 303)
