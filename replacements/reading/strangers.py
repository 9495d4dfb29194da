"""Mail that comes from no voter: adverts, reporters, job seekers, threats, club news, and text meant for machines."""

from __future__ import annotations

from replacements.reading.evidence import STRANGE, Weight
from replacements.reading.scanning import Scan
from replacements.reading.types import Kind


def strangers(body: Scan) -> tuple[list[Weight], int]:
    """The evidence, and in how many ways more than one phrase of a kind was found."""
    found: list[Weight] = []
    context = body.has("context", "ballot")
    for concept, weight in STRANGE.items():
        hits = body.real(concept)
        if concept == "bulk" and context and not body.has("junk"):
            weight = 0.8
        # One stray word of an advertisement in a voter's own request is no advertisement.
        stray = len(hits) == 1 and concept in ("junk", "job", "complaint") and body.has("own_ballot")
        found.extend(Weight(Kind.OTHER, hit, body, weight * (0.6 if stray else 1.0)) for hit in hits)
    # A firm speaks of offices and savings, a voter of a ballot of their own.
    trade = body.real("corporate")
    if len({body.words(h).lower() for h in trade}) >= 2 and not body.has("own_ballot"):
        found.append(Weight(Kind.OTHER, trade[0], body, 2.2))
    return found, sum(1 for c in ("junk", "press", "commands", "threat") if len(body.real(c)) > 1)
