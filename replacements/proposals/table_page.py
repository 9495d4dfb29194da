"""The decision table as a page for people who answer for it: an official, a lawyer, a court. Text or HTML, no facts of
any voter. With an office's rules its own figures stand in the sentences; without, the places for them are named."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

from replacements.proposals.rows import ROWS
from replacements.proposals.situation import SURE_ENOUGH_TO_VOID
from replacements.proposals.types import Action
from replacements.proposals.words import ACTION, CAUSE
from replacements.rules.office import Rules

_OPEN: Mapping[str, str] = {
    "relation": "",
    "language": "[the language]",
    "standing": "[how many voters fit, and how well]",
    "earlier_open": "[its number]",
    "state": "[what became of it]",
    "cause": "[what happened to it]",
    "reason": "[reason]",
    "last_request": "[the day and hour]",
    "mailed_on": "[the day]",
    "wait_days": "[so many]",
}
# Besides what the row itself says. `{…}` as in `_figures`.
_TWO_PEOPLE = (
    ("reasons.[reason].two_people", "The office wants two people for this reason{two_people_reasons}."),
    ("replacements.two_people_from", "It would be replacement number {two_people_from} or more for this voter."),
    ("replacements.most_per_voter", "The voter has had {most_per_voter} replacements already."),
    ("trade.already_replaced", "The message names a ballot that was already replaced, or it was replaced meanwhile."),
    ("address_change.by_email", "The replacement is to go to a new address, where the office takes that by mail."),
    ("trade.against_the_proposal", "Something else was proposed, and a person chose to replace the ballot."),
)
HEADINGS = ("No.", "When", "What is proposed", "It rests on", "The reason as it is shown")
INTRODUCTION = (
    "For each person that a message is about, the rows are tried in this order. The first whose condition holds "
    "decides, and only that one: a row holds only where none above it does. The table itself carries nothing out.",
    "A ballot is voided by one row only. The second list says when two people must agree to that; the second is never "
    "the first, and sees the evidence afresh.",
    "What rests on “trade” is the custom of the trade and the same for every office. Everything else is an entry of "
    "the office's rules, which go before this table, as local law goes before those rules.",
)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the page, in words."""

    number: int
    condition: str
    action: str
    rule: str
    text: str
    voids: bool  # a ballot is voided by what is proposed here


def lines(rules: Rules | None = None) -> list[Line]:
    """Every row of the table, in order."""
    told = dict(_OPEN)
    if rules is not None:
        told |= {
            "last_request": rules.last_request_text(overseas=False),
            "wait_days": str(rules.reason("not_received").wait_days),
        }
    return [
        Line(
            number,
            row.condition,
            ACTION[row.action],
            row.rule.format(**told),
            row.text.format(**told),
            row.action is Action.REISSUE,
        )
        for number, row in enumerate(ROWS, start=1)
    ]


def two_people(rules: Rules | None = None) -> list[tuple[str, str]]:
    """When two people must agree to a reissue: (rule, condition)."""
    return [(rule, text.format(**_figures(rules))) for rule, text in _TWO_PEOPLE]


def statements(rules: Rules) -> list[str]:
    """What this office asks for each reason, a sentence each."""
    found = []
    for cause, words in CAUSE.items():
        reason = rules.reason(cause.value)
        wanted = "a signed statement comes first" if reason.statement else "no statement is asked for"
        agreed = ", and two people must agree" if reason.two_people else ""
        waits = f"; it counts so from {reason.wait_days} days after its mailing" if reason.wait_days else ""
        found.append(f"A ballot that {words}: {wanted}{agreed}{waits}.")
    return found


def _figures(rules: Rules | None) -> dict[str, str]:
    if rules is None:
        return {"two_people_reasons": "", "two_people_from": "[so many]", "most_per_voter": "[so many]"}
    named = [words for cause, words in CAUSE.items() if rules.reason(cause.value).two_people]
    return {
        "two_people_reasons": f": the ballot {' or '.join(named)}" if named else "; this office names none",
        "two_people_from": str(rules.replacements.two_people_from),
        "most_per_voter": str(rules.replacements.most_per_voter),
    }


def title(rules: Rules | None) -> str:
    return f"What is proposed, and when: {rules.office.name}" if rules else "What is proposed, and when"


def as_text(rules: Rules | None = None) -> str:
    """The page for a terminal or a file: a paragraph a row."""
    blocks = [title(rules), *INTRODUCTION]
    blocks += [
        f"{line.number}. {line.condition}.\n   → {line.action}\n   {line.text}\n   (rests on: {line.rule})"
        for line in lines(rules)
    ]
    blocks.append("Two people must agree to a replacement where:")
    blocks += [f"- {text}\n  (rests on: {rule})" for rule, text in two_people(rules)]
    if rules is not None:
        blocks += ["What this office asks, by reason:", "\n".join(f"- {text}" for text in statements(rules))]
    return "\n\n".join(blocks) + "\n"


VOIDS = ' class="voids"'
_STYLE = """
body { font: 16px/1.45 Georgia, "Times New Roman", serif; color: #111; background: #fff; margin: 2rem auto;
  max-width: 70rem; padding: 0 1rem; }
table { border-collapse: collapse; width: 100%; margin: 1rem 0; }
caption { text-align: left; font-weight: bold; padding: .4rem 0; }
th, td { border: 1px solid #777; padding: .4rem .5rem; text-align: left; vertical-align: top; }
thead th { background: #eee; } tr.voids > * { border-width: 3px; }
code { font-size: .9em; overflow-wrap: anywhere; }
@media print { body { font-size: 10pt; margin: 0; } tr { break-inside: avoid; } thead { display: table-header-group; } }
"""


def as_html(rules: Rules | None = None, *, sha256: str = "") -> str:
    """The page as one HTML file that loads nothing and prints in black and white. `sha256`: of the rules' text."""
    heads = "".join(f'<th scope="col">{escape(heading)}</th>' for heading in HEADINGS)
    rows = "\n".join(
        f'<tr{VOIDS if line.voids else ""}><td>{line.number}</td><th scope="row">{escape(line.condition)}</th>'
        f"<td>{escape(line.action)}{' <strong>(a ballot is voided)</strong>' if line.voids else ''}</td>"
        f"<td><code>{escape(line.rule)}</code></td><td>{escape(line.text)}</td></tr>"
        for line in lines(rules)
    )
    seconds = "\n".join(f"<li>{escape(text)} <code>{escape(rule)}</code></li>" for rule, text in two_people(rules))
    own = ""
    if rules is not None:
        asked = "\n".join(f"<li>{escape(text)}</li>" for text in statements(rules))
        mark = f"<p>SHA-256 of the rules' text: <code>{escape(sha256)}</code></p>" if sha256 else ""
        own = f"<h2>What this office asks, by reason</h2>\n<ul>\n{asked}\n</ul>\n{mark}"
    heading = escape(title(rules))
    introduction = "\n".join(f"<p>{escape(text)}</p>" for text in INTRODUCTION)
    return f"""<!DOCTYPE html>
<html lang="en">
<head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{heading}</title><style>{_STYLE}</style></head>
<body><main>
<h1>{heading}</h1>
{introduction}
<table>
<caption>The rows, in the order in which they are tried</caption>
<thead><tr>{heads}</tr></thead>
<tbody>
{rows}
</tbody>
</table>
<h2>When two people must agree to a replacement</h2>
<ul>
{seconds}
</ul>
<p>A ballot is voided only on a message that is read with at least {SURE_ENOUGH_TO_VOID:.0%} certainty.</p>
{own}
</main></body>
</html>
"""
