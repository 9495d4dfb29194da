"""What replies say: every text in every language, an office's own versions of it, and approval by a second person."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from markupsafe import Markup
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response

from replacements.ballots import ledger
from replacements.people.permissions import Permission
from replacements.replies import catalogue, sources, wording
from replacements.replies.checking import Checked, check
from replacements.replies.differences import differences
from replacements.replies.sources import Source
from replacements.replies.wording import NotKept, Version
from replacements.requests.text_preview import Shown, shown
from replacements.store.tables import ReplyText
from replacements.web.guard import here, needs, office, rules_or_stop

blueprint = Blueprint("texts", __name__, url_prefix="/texts")
_SLASH = "."  # in addresses, for the slash in a text's name


@dataclass(frozen=True, slots=True)
class _Draft:
    """What somebody has typed, and what was found wrong with it. `kept`: it was to be kept, and is not."""

    source: Source
    reason: str
    seen: int
    mistakes: tuple[str, ...]
    notes: tuple[str, ...]
    kept: bool


def slug(name: str) -> str:
    return name.replace("/", _SLASH)


@blueprint.app_template_filter("text_title")
def title(name: str) -> str:
    """A text's name as people read it: the words behind its last slash."""
    return name.rpartition("/")[2].replace("_", " ").capitalize()


@blueprint.get("/")
@needs(Permission.SEE_TEXTS)
def page() -> str:
    with office().database.read() as session:
        names = sources.names()
        groups = {
            "Replies to requests": [n for n in names if n in sources.PROPOSALS],
            "Answers to questions": [n for n in names if n.startswith("answer/")],
            "Around every reply": [sources.FRAME],
            "Phrases that replies share": [n for n in names if n.startswith("phrases/")],
        }
        return render_template(
            "texts.html",
            groups=groups,
            languages=sources.languages(),
            states=wording.states(session),
            waiting=wording.waiting(session),
            slug=slug,
            says=lambda name: catalogue.needed(name).says,
        )


@blueprint.get("/<language>/<slugged>")
@needs(Permission.SEE_TEXTS)
def text(language: str, slugged: str) -> str:
    name = _name(language, slugged)
    with office().database.read() as session:
        return _page(session, language, name)


@blueprint.post("/<language>/<slugged>")
@needs(Permission.EDIT_TEXTS)
def write(language: str, slugged: str) -> tuple[str, int] | str | Response:
    """Look at what was typed, or keep it for a second person."""
    name = _name(language, slugged)
    force, form = rules_or_stop(), request.form
    source = wording.as_kept(name, Source(form.get("subject", ""), form.get("body", "")))
    reason, seen = form.get("reason", ""), form.get("seen", 0, type=int)
    if form.get("do") != "keep":
        with office().database.read() as session:
            found = check(language, name, source, texts=wording.in_force(session), rules=force.rules)
            draft = _Draft(source, reason, seen, found.mistakes, (*found.notes, found.plain), kept=False)
            return _page(session, language, name, draft)
    try:
        with office().database.write() as session:
            row = wording.write(
                session,
                language=language,
                name=name,
                source=source,
                reason=reason,
                seen=seen,
                by=here().name,
                at=here().at,
                rules=force.rules,
            )
            _record(session, "reply_text_written", row)
    except NotKept as refused:
        with office().database.read() as session:
            draft = _Draft(source, reason, seen, refused.why, (), kept=True)
            return _page(session, language, name, draft), 400
    flash("The version is kept. It is used once another supervisor has approved it.", "good")
    return redirect(url_for("texts.text", language=language, slugged=slugged), 303)


@blueprint.post("/<language>/<slugged>/original")
@needs(Permission.EDIT_TEXTS)
def original(language: str, slugged: str) -> Response:
    """Back to the project's own text, once a second person has agreed."""
    name = _name(language, slugged)
    force = rules_or_stop()
    try:
        with office().database.write() as session:
            row = wording.write(
                session,
                language=language,
                name=name,
                source=None,
                reason=request.form.get("reason", ""),
                seen=request.form.get("seen", 0, type=int),
                by=here().name,
                at=here().at,
                rules=force.rules,
            )
            _record(session, "reply_text_written", row)
        flash("Kept: back to the project's own text, once another supervisor has approved it.", "good")
    except NotKept as refused:
        flash(f"{refused} Nothing was changed.", "stop")
    return redirect(url_for("texts.text", language=language, slugged=slugged), 303)


@blueprint.post("/versions/<int:text_id>")
@needs(Permission.APPROVE_TEXTS)
def decide(text_id: int) -> Response:
    """A second person approves a version, or says that it is not wanted."""
    force = rules_or_stop()
    approved = request.form.get("do") == "approve"
    with office().database.read() as session:
        row = session.get(ReplyText, text_id)
    if row is None:
        abort(404)
    try:
        with office().database.write() as session:
            wording.decide(
                session,
                text_id,
                approved=approved,
                by=here().name,
                at=here().at,
                rules=force.rules,
                note=request.form.get("note", ""),
            )
            _record(session, "reply_text_approved" if approved else "reply_text_declined", row)
        flash("Approved: replies are written with it from now on." if approved else "Declined. It is kept.", "good")
    except NotKept as refused:
        flash(f"{refused} Nothing was changed.", "stop")
    return redirect(url_for("texts.text", language=row.language, slugged=slug(row.name)), 303)


@blueprint.get("/<language>/<slugged>/<int:number>")
@needs(Permission.SEE_TEXTS)
def version(language: str, slugged: str, number: int) -> str:
    """One version, whole, and how it differs from the one in force."""
    name = _name(language, slugged)
    with office().database.read() as session:
        every = wording.versions(session, language, name)
    one = next((v for v in every if v.number == number), None)
    if one is None:
        abort(404)
    used = _used(every)
    return render_template(
        "text_version.html",
        language=language,
        name=name,
        slugged=slugged,
        version=one,
        used=used,
        subject_pieces=differences(used.source.subject, one.source.subject),
        body_pieces=differences(used.source.body, one.source.body),
    )


def _name(language: str, slugged: str) -> str:
    name = slugged.replace(_SLASH, "/")
    if language not in sources.languages() or sources.own(language, name) is None:
        abort(404)
    return name


def _used(every: list[Version]) -> Version:
    return next(v for v in every if v.state == "in force")


def _page(session: Session, language: str, name: str, draft: _Draft | None = None) -> str:
    force = rules_or_stop()
    every = wording.versions(session, language, name)
    used, waits = _used(every), every[0] if every[0].state == "waiting" else None
    looked_at = draft.source if draft else waits.source if waits else used.source
    texts = wording.in_force(session).but(language, name, looked_at)
    to_check = draft is None and looked_at != sources.own(language, name)  # the project's own is checked by its tests
    found = check(language, name, looked_at, texts=texts, rules=force.rules) if to_check else Checked(())
    preview: Shown | None = None
    why_none = ""
    if not (draft and draft.mistakes):
        try:
            preview = shown(session, force, language, name, texts, personal=here().sees_personal)
        except Exception as error:  # a version of an older program may name what is no more
            why_none = type(error).__name__
    need = catalogue.needed(name)
    return render_template(
        "text.html",
        language=language,
        name=name,
        slugged=slug(name),
        versions=every,
        used=used,
        waits=waits,
        draft=draft,
        found=found,
        looked_at=looked_at,
        changed=differences(used.source.body, waits.source.body) if waits else [],
        changed_subject=differences(used.source.subject, waits.source.subject) if waits else [],
        preview=preview,
        preview_blocks=Markup(preview.blocks) if preview else "",  # noqa: S704
        why_none=why_none,
        has_subject=sources.has_subject(name),
        has_body=sources.has_body(name),
        needs=[(catalogue.written(one), catalogue.called(one)) for one in need.needs],
        differs=[catalogue.called(one) for one in need.differs],
        says=need.says,
        facts=sorted((catalogue.written(one), catalogue.called(one)) for one in catalogue.known(name)),
        slug=slug,
    )


def _record(session: Session, event: str, row: ReplyText) -> None:
    """Who changed what voters are told is on the ledger."""
    ledger.append(
        session,
        event=event,
        election_id=here().election_id,
        by=here().name,
        at=here().at,
        details={"text": row.name, "language": row.language, "version": row.version},
    )
