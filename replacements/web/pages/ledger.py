"""The ledger: its head, its newest entries, whether the chain holds, and a signed head to print and to compare with."""

from __future__ import annotations

import json
from typing import Any

from flask import Blueprint, Response, render_template, request, stream_with_context
from sqlalchemy import select

from replacements.ballots import event_log, heads, ledger
from replacements.people.permissions import Permission
from replacements.store.tables import LedgerEntry
from replacements.web.guard import here, needs, office

blueprint = Blueprint("ledger", __name__, url_prefix="/ledger")
NEWEST = 50


def _details(entry: LedgerEntry) -> str:
    """The details in a line for people; withheld from those who see nothing personal."""
    if not here().sees_personal:
        return ""
    found: dict[str, Any] = json.loads(entry.details or "{}")
    return ", ".join(f"{name.replace('_', ' ')}: {value}" for name, value in found.items() if value not in (None, ""))


def _page(verdict: ledger.Verdict | None = None, *, continues: str = "", trouble: str = "") -> str:
    with office().database.read() as session:
        entries = session.scalars(select(LedgerEntry).order_by(LedgerEntry.seq.desc()).limit(NEWEST)).all()
        rows = [(entry, _details(entry)) for entry in entries]
        return render_template(
            "ledger.html",
            rows=rows,
            head=entries[0] if entries else None,
            verdict=verdict,
            continues=continues,
            trouble=trouble,
            has_key=office().settings.ledger_key.exists(),
        )


@blueprint.get("/")
@needs(Permission.SEE_LEDGER)
def page() -> str:
    return _page()


@blueprint.post("/verify")
@needs(Permission.SEE_LEDGER)
def verify() -> str:
    with office().database.read() as session:
        verdict = ledger.verify(session)
    return _page(verdict)


@blueprint.post("/head")
@needs(Permission.SEE_LEDGER)
def head() -> str | Response:
    """The signed head, to be printed; or as a file, with a rung for every entry that it can be compared by."""
    try:
        key = heads.read_key(office().settings.ledger_key)
    except heads.HeadTrouble as trouble:
        return _page(trouble=str(trouble))
    with office().database.read() as session:
        verdict = ledger.verify(session)
        if verdict.broken is not None:
            return _page(verdict)
        made = heads.sign(session, key, at=here().at)
    if request.form.get("as") == "file":
        name = f"ledger-head-{made.at[:10]}-{made.entries}.json"
        return Response(
            made.as_json(),
            mimetype="application/json",
            headers={"Content-Disposition": f'attachment; filename="{name}"'},
        )
    return render_template(
        "ledger_head.html",
        head=made,
        digest=heads.in_groups(made.hash),
        key=heads.fingerprint(made.key),
        signature=heads.in_groups(made.signature),
    )


@blueprint.post("/compare")
@needs(Permission.SEE_LEDGER)
def compare() -> str:
    """Against a head kept as a file, or typed from paper."""
    settings = office().settings
    file = request.files.get("file")
    try:
        with office().database.read() as session:
            if file is not None and file.filename:
                made = heads.read_head(file.read().decode("utf-8", "replace"), name="The file")
                key = heads.public_half(settings.ledger_key) if settings.ledger_key.exists() else None
                verdict = heads.compare(session, made, key=key)
                then = f"the head of {made.entries} entries that the key {heads.fingerprint(made.key)} signed"
            else:
                typed = request.form.get("entries", "").strip()
                entries, digest = heads.typed(
                    int(typed) if typed.isascii() and typed.isdecimal() and len(typed) < 12 else -1,
                    request.form.get("hash", ""),
                )
                verdict = ledger.verify(session, anchor=(entries, digest))
                then = f"the head of {entries} entries"
    except heads.HeadTrouble as trouble:
        return _page(trouble=str(trouble))
    return _page(verdict, continues=then)


@blueprint.get("/event-log.json")
@needs(Permission.SEE_LEDGER)
def download() -> Response:
    """The ledger as an election event log, without voters' ids, whoever asks: such a file is handed on."""
    at = here().at
    database = office().database

    def pieces() -> Any:
        with database.read() as session:
            yield from event_log.write(session, at=at, public=True, version="1")

    return Response(
        stream_with_context(pieces()),
        mimetype="application/json",
        headers={"Content-Disposition": 'attachment; filename="event-log.json"'},
    )
