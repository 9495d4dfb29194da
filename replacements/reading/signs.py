"""Everything in a letter that the learned weights are over, each sign with its place in the plain form of the text.

Groups, each scaled by how many signs it has, so that a long letter speaks no louder than a short one: words with
their pairs and pieces (`ngrams`), classes of words (`class_files`), the cues with their mood (`scanning`), and what the
letter looks like: a letter of three hundred words without one about voting is hardly from a voter.
"""

from __future__ import annotations

import re
from math import sqrt

from replacements.reading.class_files import class_signs
from replacements.reading.folding import Folded
from replacements.reading.ngrams import Place, features
from replacements.reading.scanning import Scan

Signs = tuple[dict[str, Place], ...]  # one dictionary a group
NOWHERE = (-1, -1)  # the place of what stands in no single words

_VOTING = ("ballot", "context")  # cues that a letter is about voting at all
_LENGTHS = (3, 8, 15, 30, 60, 120, 250)  # words
_LINK = re.compile(r"https?://|www\.")
_CODE = re.compile(r"[{}<>|\\_=]")
_SIGNS_OF_CODE = 4
_TIMES = ("no", "one", "more")


def signs_of(spoken: Folded, language: str, cues: Scan, heading: Scan | None, offset: int, told: list[str]) -> Signs:
    """The signs of a text. `cues` and `heading`: the cues of its text and of its subject; `offset`: where in the plain
    form the text begins; `told`: names of what its surroundings tell ("answers", "picture")."""
    return (
        *features(spoken),
        class_signs(spoken, language),
        _cue_signs(cues, offset) | ({} if heading is None else _heading_signs(heading)),
        _looks(spoken.text, cues, heading, language, told),
    )


def scale_of(group: dict[str, Place]) -> float:
    """What each sign of a group counts."""
    return 1 / sqrt(max(1, len(group)))


def is_technical(text: str) -> bool:
    """Whether a text holds links, code, tables: hardly anybody's own plain words."""
    return bool(_LINK.search(text)) or len(_CODE.findall(text)) > _SIGNS_OF_CODE


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


def _heading_signs(scan: Scan) -> dict[str, Place]:
    """`h:lost`: a cue in the subject. It may say otherwise than the text."""
    return {f"h:{concept}": NOWHERE for concept in scan.hits}


def _looks(text: str, cues: Scan, heading: Scan | None, language: str, told: list[str]) -> dict[str, Place]:
    words = len(text.split()) if language != "ko" else len(text) // 4
    length = f"l:{sum(words > n for n in _LENGTHS)}"
    voting = cues.has(*_VOTING) or (heading is not None and heading.has(*_VOTING))
    asked = sum(cues.asked)
    looks = [length, f"l:{language}", f"l:{_TIMES[min(2, asked)]} questions", *(f"l:{name}" for name in told)]
    looks += [f"{length} {name}" for name in told]
    if not voting:
        looks += ["l:no voting", f"{length} no voting"]
    if is_technical(text):
        looks.append("l:technical")
    return dict.fromkeys(looks, NOWHERE)
