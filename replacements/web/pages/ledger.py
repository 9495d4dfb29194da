"""The ledger: its head, its newest entries, and whether the chain holds."""

from __future__ import annotations

import json
from typing import Any

from flask import Blueprint, render_template
from sqlalchemy import select

from replacements.ballots import ledger
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


def _page(verdict: ledger.Verdict | None = None) -> str:
    with office().database.read() as session:
        entries = session.scalars(select(LedgerEntry).order_by(LedgerEntry.seq.desc()).limit(NEWEST)).all()
        rows = [(entry, _details(entry)) for entry in entries]
        return render_template("ledger.html", rows=rows, head=entries[0] if entries else None, verdict=verdict)


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
