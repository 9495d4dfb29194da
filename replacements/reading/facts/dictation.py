"""What people say to a machine that types: "period", "comma", and house numbers in words, made as if written.

Every stretch keeps its length, so that places in the text stay what they are.
"""

from __future__ import annotations

import re

from replacements.reading.facts.vocabulary import vocabulary

_MARKS = {"period": ".", "full stop": ".", "comma": ",", "question mark": "?", "new line": "\n", "new paragraph": "\n"}
_MARK = re.compile(r"[ \t](?:period|full stop|comma|question mark|new line|new paragraph)\b(?=[ \t\n]|$)", re.I)
_UNITS = "one|two|three|four|five|six|seven|eight|nine"
_WORD = (
    rf"(?:(?:twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety)(?:[\s-](?:{_UNITS})\b)?|ten|eleven|twelve"
    rf"|(?:thir|four|fif|six|seven|eigh|nine)teen|{_UNITS}|oh|zero|hundred|thousand)"
)
_NUMBER = rf"{_WORD}\b(?:[\s-](?:and\s)?{_WORD}\b){{0,5}}"
_BEHIND_A_NOUN = re.compile(
    rf"\b(?P<noun>route|rural route|r\.?r\.?|apartment|apt|unit|(?<!a )(?<!the )lot|suite"
    rf"|p\.?\s?o\.? box|post office box"
    rf"|(?:route|r\.?r\.?)\s+(?:\d+|{_WORD}),?\s+box)\s+(?P<number>{_NUMBER})",
    re.I,
)
_SPOKEN = 2  # marks said aloud that make a text a dictated one


def as_written(text: str) -> str:
    """The text with marks and numbers that were said aloud written as marks and digits, at the same places."""
    marks = list(_MARK.finditer(text))
    if len(marks) >= _SPOKEN:
        text = _MARK.sub(lambda m: _MARKS[m[0].strip().lower()].ljust(len(m[0])), text)
    if not re.search(_WORD, text, re.I):
        return text
    for _ in range(2):  # "route four box nine": the box behind the route
        text = _BEHIND_A_NOUN.sub(lambda m: m[0][: m.start("number") - m.start()] + _digits(m["number"]), text)
    return _before_a_street().sub(
        lambda m: f"{m['lead']}{_digits(m['number'])}{m['rest']}" if _houselike(m) else m[0], text
    )


_PATTERNS: list[re.Pattern[str]] = []


def _before_a_street() -> re.Pattern[str]:
    if not _PATTERNS:
        ways = "|".join(sorted((w for w in vocabulary("en").words["ways"] if len(w) > 3), key=len, reverse=True))
        _PATTERNS.append(
            re.compile(
                rf"(?P<lead>(?:^|[.,\n]|\b(?:at|is|address|on|to))\s+|^)(?P<number>{_NUMBER})"
                rf"(?P<rest>\s+(?:[\w'’]+\s+){{1,3}}?(?:{ways})\b)",
                re.I,
            )
        )
    return _PATTERNS[0]


def _houselike(m: re.Match[str]) -> bool:
    """ "one more street" and "two years on the road" tell no house number."""
    plain = vocabulary("en").words["plain_words"]
    return not any(w.lower() in plain for w in m["rest"].split()[:-1])


def _digits(said: str) -> str:
    """The number in digits, set to the right in as many characters: "twelve forty two" -> "            1242"."""
    values = vocabulary("en").maps["numbers_in_words"]
    groups: list[str] = []
    total = 0  # of a number with hundreds and thousands
    for group in re.findall(rf"{_WORD}\b", said, re.I):
        words = re.split(r"[\s-]+", group.lower())
        if words[0] in ("hundred", "thousand"):
            size = 100 if words[0] == "hundred" else 1000
            total += int("".join(groups) or "1") * size
            groups = []
        elif words[0] in ("oh", "zero"):
            groups.append("0")
        else:
            groups.append(str(sum(int(values.get(w, _TEENS.get(w, 0))) for w in words)))
    number = str(total + int("".join(groups) or "0")) if total else "".join(groups)
    return number.rjust(len(said)) if len(number) <= len(said) else said


_TEENS = {
    "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17,
    "eighteen": 18, "nineteen": 19,
}  # fmt: skip
