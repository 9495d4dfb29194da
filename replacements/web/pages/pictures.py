"""Pictures and raw messages: withheld until somebody gives a reason, which is recorded before anything is shown."""

from __future__ import annotations

from datetime import timedelta

from flask import Blueprint, Response, abort, flash, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from replacements.people.permissions import Permission
from replacements.store.tables import Look, Message, RawMail
from replacements.web.guard import here, needs, office
from replacements.web.letters import Picture, pictures_of

blueprint = Blueprint("pictures", __name__, url_prefix="/messages")
OPEN_FOR = timedelta(minutes=15)  # then the reason is asked for again
SHORTEST_REASON = 5  # characters


def _raw(session: Session, message_id: int) -> bytes:
    if session.get(Message, message_id) is None:
        abort(404)
    found = session.get(RawMail, message_id)
    if found is None:
        abort(404)
    return found.raw


def _pictures(message_id: int) -> list[Picture]:
    with office().database.read() as session:
        return pictures_of(_raw(session, message_id))


def _opened(message_id: int) -> bool:
    """Whether the one who looks gave a reason for this message lately."""
    with office().database.read() as session:
        look = select(Look.id).where(
            Look.account == here().name,
            Look.what == "picture",
            Look.about == f"message {message_id}",
            Look.at > here().at - OPEN_FOR,
        )
        return session.scalar(look.limit(1)) is not None


def _record(message_id: int, what: str) -> bool:
    """Keep who looks and why; False where no reason is given."""
    why = request.form.get("why", "").strip()
    if len(why) < SHORTEST_REASON:
        flash("Say why you need to look. Nothing was opened.", "stop")
        return False
    with office().database.write() as session:
        _raw(session, message_id)
        session.add(Look(account=here().name, what=what, about=f"message {message_id}", why=why, at=here().at))
    return True


@blueprint.get("/<int:message_id>/pictures")
@needs(Permission.OPEN_PICTURES)
def page(message_id: int) -> str:
    return render_template(
        "pictures.html", message_id=message_id, pictures=_pictures(message_id), opened=_opened(message_id)
    )


@blueprint.post("/<int:message_id>/pictures")
@needs(Permission.OPEN_PICTURES)
def open_them(message_id: int) -> AnyResponse:
    _record(message_id, "picture")
    return redirect(url_for("pictures.page", message_id=message_id), 303)


@blueprint.get("/<int:message_id>/pictures/<int:place>")
@needs(Permission.OPEN_PICTURES)
def one(message_id: int, place: int) -> Response:
    if not _opened(message_id):
        abort(403, "This picture is withheld until you give a reason for opening it.")
    picture = next((p for p in _pictures(message_id) if p.place == place and p.content_type), None)
    if picture is None:
        abort(404)
    return Response(picture.data, mimetype=picture.content_type, headers={"Content-Disposition": "inline"})


@blueprint.post("/<int:message_id>/raw")
@needs(Permission.OPEN_PICTURES)
def raw(message_id: int) -> AnyResponse:
    """The message's bytes as they came, to be kept as a file and looked at elsewhere."""
    if not _record(message_id, "raw message"):
        return redirect(url_for("pictures.page", message_id=message_id), 303)
    with office().database.read() as session:
        data = _raw(session, message_id)
    disposition = f'attachment; filename="message-{message_id}.eml"'
    return Response(data, mimetype="application/octet-stream", headers={"Content-Disposition": disposition})
