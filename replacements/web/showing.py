"""How things are shown: times in the office's zone, names of the trade for codes, the words that decided marked."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from flask import Flask, request, url_for

from replacements.people.permissions import Permission
from replacements.requests.office import InForce, is_over
from replacements.rules.calendar import local
from replacements.store.tables import Message
from replacements.web.guard import CHOICE, OF_ONE_ELECTION, Here, here
from replacements.web.unsettled import unsigned_mailings
from replacements.words import change, with_capital, word, words

WITHHELD = "withheld"


def noteworthy(message: Message) -> list[str]:
    """The notices on a message that a person should know of before opening it, by code."""
    found = [notice["code"] for notice in (message.judgement or {}).get("notices", [])]
    return [code for code in found if code in words("notice_short")]


def at_the_office(at: datetime) -> datetime:
    """This moment on the office's clock; UTC before its rules are loaded."""
    found = here().in_force
    return local(found.rules, at) if found else at.astimezone(UTC)


def day(value: date | str | None) -> str:
    """`Mon, Sep 28, 2026`; an ISO date may come as text."""
    if not value:
        return "–"
    found = date.fromisoformat(value[:10]) if isinstance(value, str) else value
    return f"{found:%a, %b} {found.day}, {found.year}"


def short_day(value: date | str | None) -> str:
    """`Mon, Sep 28`; with the year only where it is not the office's present one."""
    if not value:
        return "–"
    found = date.fromisoformat(value[:10]) if isinstance(value, str) else value
    return f"{found:%a, %b} {found.day}" if found.year == at_the_office(here().at).year else day(found)


def short_moment(value: datetime | None) -> str:
    """`Mon, Sep 28, 11:05 am`, for lists."""
    if value is None:
        return "–"
    found = at_the_office(value)
    return f"{short_day(found.date())}, {clock(found)}"


def left(value: datetime) -> str:
    """How long until then, as one would say it: `4 h 40 min`."""
    minutes = max(int((value - here().at).total_seconds() // 60), 0)
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return f"{minutes // 60} h {minutes % 60} min"
    return f"{minutes // (24 * 60)} days"


def moment(value: datetime | None) -> str:
    """`Mon, Sep 28, 2026, 11:05 am` on the office's clock."""
    if value is None:
        return "–"
    found = at_the_office(value)
    zone = "" if here().in_force else " UTC"
    return f"{day(found.date())}, {clock(found)}{zone}"


def moment_text(value: str) -> str:
    """The same for a time that is kept as ISO text."""
    return moment(datetime.fromisoformat(value))


def clock(value: datetime) -> str:
    return f"{value.hour % 12 or 12}:{value:%M} {'am' if value.hour < 12 else 'pm'}"


def age(value: datetime | None) -> str:
    """How long ago, as one would say it."""
    if value is None:
        return "–"
    gone = max(here().at - value, timedelta())
    if gone < timedelta(hours=1):
        return f"{gone.seconds // 60} min"
    if gone < timedelta(days=2):
        return f"{int(gone.total_seconds() // 3600)} h"
    return f"{gone.days} days"


def hours(value: float | None) -> str:
    """A length of time given in hours, as one would say it."""
    if value is None:
        return "–"
    return f"{value:.0f} h" if value < 48 else f"{value / 24:.1f} days"


def percent(value: float | None) -> str:
    """`98 %`; never rounded up to certainty or down to none."""
    if value is None:
        return "–"
    if 0 < value < 0.01:
        return "under 1 %"
    if 0.99 < value < 1:
        return "over 99 %"
    return f"{round(value * 100)} %"


def chance(value: float | None) -> str:
    """A chance that was worked out; never said as a certainty."""
    return percent(value if value is None else min(max(value, 0.001), 0.999))


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of text; `decided` marks words that the reading rests on."""

    text: str
    decided: bool = False


def _pattern(phrase: str) -> str:
    """The phrase as whole words where its script has spaces; any white space between them."""
    before = r"(?<!\w)" if phrase.strip()[0].isascii() else ""
    after = r"(?!\w)" if phrase.strip()[-1].isascii() else ""
    return before + r"\s+".join(map(re.escape, phrase.split())) + after


def marked(text: str, phrases: Iterable[str]) -> list[Stretch]:
    """The text cut into stretches, the given phrases marked wherever they stand, line breaks between words or not."""
    patterns = [_pattern(phrase) for phrase in phrases if phrase.strip()]
    if not patterns:
        return [Stretch(text)]
    found = re.compile("|".join(sorted(patterns, key=len, reverse=True)), re.IGNORECASE)
    stretches, end = [], 0
    for match in found.finditer(text):
        stretches += [Stretch(text[end : match.start()]), Stretch(match.group(), decided=True)]
        end = match.end()
    return [s for s in [*stretches, Stretch(text[end:])] if s.text]


def language_tag(code: str | None) -> str:
    """What goes into `lang`: nothing where the language is not known."""
    return code if code and code != "und" and re.fullmatch(r"[a-z]{2,3}(-[A-Za-z0-9]+)*", code) else ""


@dataclass(frozen=True, slots=True)
class Link:
    """An entry of the page's menu."""

    endpoint: str
    text: str
    current: bool


_MENU: dict[str, tuple[tuple[str, str, Permission | None], ...]] = {
    "Work": (
        ("front.page", "Today", None),
        ("requests.page", "Requests", Permission.SEE_REQUESTS),
        ("mailing.next_one", "Mailing", Permission.SEE_MAILING),
        ("return_desk.page", "Return desk", Permission.USE_RETURN_DESK),
    ),
    "Record": (
        ("reissued.page", "Reissued", Permission.SEE_REQUESTS),
        ("week.page", "Week", Permission.SEE_WEEK),
        ("ledger.page", "Ledger", Permission.SEE_LEDGER),
    ),
    "Office": (
        ("rules.page", "Rules", Permission.SEE_RULES),
        ("texts.page", "Reply texts", Permission.SEE_TEXTS),
        ("people.page", "People", Permission.MANAGE_PEOPLE),
        ("health.page", "Health", Permission.SEE_HEALTH),
    ),
}


def menu(looker: Here) -> dict[str, list[Link]]:
    """What the person may open, in groups: the day's work, the record of it, the office. No group is empty."""
    if looker.member is None:
        return {}
    at = (request.endpoint or "").split(".")[0]
    at = "requests" if at in ("request", "deciding", "pictures", "bulk", "working", "keys") else at
    at = "return_desk" if at in ("desk_lists", "cures") else at
    groups = {
        group: [
            Link(endpoint, text, endpoint.split(".")[0] == at)
            for endpoint, text, permission in links
            if permission is None or looker.may(permission)
        ]
        for group, links in _MENU.items()
    }
    return {group: links for group, links in groups.items() if links}


@dataclass(frozen=True, slots=True)
class Choice:
    """An election to look at instead of this one."""

    text: str
    url: str
    current: bool


def elections_to_choose(looker: Here) -> list[Choice]:
    """The elections that the page can show; empty where there is nothing to choose."""
    at = request.blueprint or ""
    whole_list, rules = request.endpoint == "requests.page", at == "rules"
    listed = looker.every if rules else looker.elections
    if looker.member is None or not (whole_list or at in OF_ONE_ELECTION) or not (looker.several or len(listed) > 1):
        return []
    shown = looker.chosen if whole_list else looker.election_id
    if shown and shown not in [force.election_id for force in listed] and looker.in_force is not None:
        listed = (*listed, looker.in_force)  # an older one that is looked at
    found = [
        Choice(_election(force, looker), _other(force.election_id), shown == force.election_id)
        for force in sorted(listed, key=lambda force: (force.rules.election.date, force.election_id))
    ]
    return [Choice("All elections", _other(None), not shown), *found] if whole_list else found


def _election(force: InForce, looker: Here) -> str:
    standing = ""
    if force.closed is not None:
        standing = " (closed)"
    elif is_over(force.rules, at=looker.at):
        standing = " (over)"
    elif not force.adopted:
        standing = " (not adopted)"
    return f"{force.rules.election.name}, {day(force.rules.election.date)}{standing}"


def _other(election_id: str | None) -> str:
    """This page's address for another election; a mailing's is that of the mailings, since each is of one."""
    asked = dict(request.view_args or {})
    endpoint = request.endpoint or "front.page"
    if {"mailing_id", "packet_id"} & asked.keys() or request.method != "GET":
        endpoint, asked = {"mailing": "mailing.next_one"}.get(request.blueprint or "", "front.page"), {}
    kept = {name: value for name, value in request.args.items() if name not in (CHOICE, "page")}
    return url_for(endpoint, **{**kept, **asked, CHOICE: election_id})


def install(app: Flask) -> None:
    app.jinja_env.filters.update(
        change=change,
        word=word,
        noteworthy=noteworthy,
        day=day,
        short_day=short_day,
        short_moment=short_moment,
        left=left,
        chance=chance,
        moment=moment,
        moment_text=moment_text,
        age=age,
        hours=hours,
        percent=percent,
        marked=marked,
        language_tag=language_tag,
        with_capital=with_capital,
    )

    @app.context_processor
    def on_every_page() -> dict[str, Any]:
        looker = here()
        return {
            "here": looker,
            "menu": menu(looker),
            "elections_to_choose": elections_to_choose,
            "Permission": Permission,
            "words": words,
            "unsigned_mailings": unsigned_mailings,
            "WITHHELD": WITHHELD,
        }
