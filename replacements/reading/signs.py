"""Everything in a letter that the learned weights are over, each sign with its place in the plain form of the text.

Three groups, each scaled by how many signs it has, so that a long letter speaks no louder than a short one: words with
their pairs and pieces (`ngrams`), classes of words (`class_files`), and the cues with their mood (`scanning`).
"""

from __future__ import annotations

from math import sqrt

from replacements.reading.class_files import Place, class_signs
from replacements.reading.folding import Folded
from replacements.reading.ngrams import features
from replacements.reading.scanning import Scan

Signs = tuple[dict[str, Place], ...]  # one dictionary a group


def signs_of(spoken: Folded, language: str, cues: Scan, offset: int) -> Signs:
    """The signs of a text. `offset`: where in the plain form the text begins that the cues were looked for in."""
    return features(spoken), class_signs(spoken, language), _cue_signs(cues, offset)


def scale_of(group: dict[str, Place]) -> float:
    """What each sign of a group counts."""
    return 1 / sqrt(max(1, len(group)))


def _cue_signs(scan: Scan, offset: int) -> dict[str, Place]:
    """`c:lost`, `c:lost:denied` and the like, and `c:ballot+lost` for two that stand in one sentence."""
    found: dict[str, Place] = {}
    within: dict[int, dict[str, Place]] = {}
    for concept, hits in scan.hits.items():
        for hit in hits:
            place = (hit.start + offset, hit.end + offset)
            asked = hit.sentence < len(scan.asked) and scan.asked[hit.sentence]
            mood = "denied" if hit.denied else "supposed" if hit.supposed else "asked" if asked else "said"
            found.setdefault(f"c:{concept}", place)
            found.setdefault(f"c:{concept}:{mood}", place)
            within.setdefault(hit.sentence, {}).setdefault(concept, place)
    for concepts in within.values():
        names = sorted(concepts)
        for i, one in enumerate(names):
            for other in names[i + 1 :]:
                found.setdefault(f"c:{one}+{other}", min(concepts[one], concepts[other]))
    return found
