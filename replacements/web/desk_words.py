"""How the return desk's answers are shown: a headline that can be read across a table, told by sign and word."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from flask import url_for

from replacements.ballots.desk import DeskRules
from replacements.requests.office import InForce
from replacements.store.tables import DeskScan
from replacements.web.guard import here
from replacements.web.showing import moment

HEADLINES: Mapping[str, str] = MappingProxyType(
    {
        "live": "✓ LIVE – accept for checking",
        "again": "! LIVE – but taken in before",
        "stop": "■ STOP – do not accept",
        "unknown": "? NOT ONE OF OURS",
        "misread": "↻ READ IT AGAIN – mistyped or misread",
        "brought_back": "↩ BROUGHT BACK – recorded",
    }
)
SCANNED_TWICE = "! SCANNED TWICE – already taken in"
# The answer in a few words, for lists and counts.
WORDS: Mapping[str, str] = MappingProxyType(
    {
        "live": "Live, taken in",
        "again": "Taken in before",
        "stop": "Stop",
        "brought_back": "Brought back by the post",
        "unknown": "Not one of ours",
        "misread": "Mistyped or misread",
    }
)
NOT_POSSIBLE = "Nothing was recorded: set the envelope aside."


def desk_rules(force: InForce) -> DeskRules:
    """What the desk needs of the rules in force, and the other elections whose ballots come back now."""
    mailing = force.rules.mailing
    return DeskRules(
        zone=force.rules.office.time_zone,
        mailer_id=mailing.mailer_id,
        service_type=mailing.service_type,
        prefix=mailing.number_prefix,
        also_open=tuple(one.election_id for one in here().elections if one.election_id != force.election_id),
    )


def shown(answer: Mapping[str, Any], *, scan: DeskScan | None = None, only_look: bool = False) -> dict[str, Any]:
    """An answer as the page shows it, and as its script reads it: kind, headline, word, number, lines; of what was
    recorded also when, and where it is undone."""
    kind = str(answer["kind"])
    return {
        "kind": kind,
        "headline": SCANNED_TWICE if answer.get("twice") else HEADLINES[kind],
        "word": WORDS[kind],
        "number": answer["number"],
        "lines": list(answer["lines"]),
        "only_look": only_look,
        "when": moment(scan.at) if scan is not None else "",
        "undo": url_for("return_desk.undo", scan_id=scan.id) if scan is not None else "",
        "undone": scan is not None and scan.undone_seq is not None,
    }


def refused(number: str, why: str) -> dict[str, Any]:
    """A number that could not be recorded: for the desk it is a stop, whatever it is."""
    return shown({"kind": "stop", "number": number, "lines": [why, NOT_POSSIBLE]})
