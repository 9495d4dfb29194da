"""In which language somebody writes.

Scripts that belong to one language decide by themselves; small words decide between the languages that have a cue file;
the compact language detector (CLD2, n-gram statistics) decides the rest. Names, addresses, numbers and e-mail words say
nothing about a language and are left out.
"""

from __future__ import annotations

import re

import pycld2

from replacements.reading.cue_files import cue_file, languages
from replacements.reading.folding import fold

_OLD_CODES = {"iw": "he", "in": "id", "ji": "yi", "jw": "jv"}  # ISO 639-1 as it was before 1989
_URL = re.compile(r"\S+@\S+|https?://\S+|www\.\S+|\S*\d\S*")
_WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?")
_MAIL_WORDS = frozenset(
    [
        "re",
        "fw",
        "fwd",
        "subject",
        "from",
        "to",
        "sent",
        "date",
        "cc",
        "dob",
        "st",
        "ave",
        "rd",
        "dr",
        "ln",
        "ct",
        "apt",
        "email",
        "mail",
        "iphone",
        "inc",
        "llc",
        "ballot",
        "vote",
    ]
)
_VIETNAMESE = re.compile("[ăđơưạảấầẩẫậắằẳẵặẹẻẽếềểễệỉịọỏốồổỗộớờởỡợụủứừửữựỳỵỷỹ]", re.IGNORECASE)
_SPANISH = re.compile("[ñ¿¡]", re.IGNORECASE)
# A script with the code of the language that it belongs to; None: several languages share it.
_SCRIPTS: tuple[tuple[re.Pattern[str], str | None], ...] = (
    (re.compile("[\uac00-\ud7a3\u1100-\u11ff\u3130-\u318f]"), "ko"),
    (re.compile("[\u3040-\u30ff]"), "ja"),
    (re.compile("[\u4e00-\u9fff\u3400-\u4dbf]"), "zh"),
    (re.compile("[\u0e00-\u0e7f]"), "th"),
    (re.compile("[\u0370-\u03ff]"), "el"),
    (re.compile("[\u0590-\u05ff]"), "he"),
    (re.compile("[\u0530-\u058f]"), "hy"),
    (re.compile("[\u10a0-\u10ff]"), "ka"),
    (re.compile("[\u1780-\u17ff]"), "km"),
    (re.compile("[\u0e80-\u0eff]"), "lo"),
    (re.compile("[\u0a80-\u0aff]"), "gu"),
    (re.compile("[\u0a00-\u0a7f]"), "pa"),
    (re.compile("[\u0b80-\u0bff]"), "ta"),
    (re.compile("[\u0c00-\u0c7f]"), "te"),
    (re.compile("[\u0980-\u09ff]"), "bn"),
    (re.compile("[\u0900-\u097f]"), None),
    (re.compile("[\u0400-\u04ff]"), None),
    (re.compile("[\u0600-\u06ff]"), None),
)


def language_of(text: str) -> tuple[str, float]:
    """The ISO 639-1 code of the language of a text and how sure that is (0 to 1). Very short text counts as English
    unless it holds clear evidence of another language."""
    bare = _URL.sub(" ", text[:4000])
    by_script = _by_script(bare)
    if by_script:
        return by_script
    words = _WORD.findall(bare)
    # A capital inside a sentence is a name more often than not; all capitals is a way of shouting.
    shouted = sum(w.isupper() for w in words) > len(words) / 2
    plain = [w for w in words if shouted or not w[:1].isupper() or w.isupper()] or words
    folded = [w for w in fold(" ".join(words)).text.split() if w not in _MAIL_WORDS]
    if not folded:
        return "en", 0.3
    marks = len(_VIETNAMESE.findall(" ".join(plain)))
    shares = {code: sum(w in cue_file(code).words for w in folded) / len(folded) for code in languages()}
    if marks >= 2 or (marks and shares.get("vi", 0) > shares.get("en", 0)):
        shares["vi"] = shares.get("vi", 0) + min(0.6, marks / len(folded))
    if _SPANISH.search(" ".join(plain)) or "¿" in bare or "¡" in bare:
        shares["es"] = shares.get("es", 0) + 0.15
    ranked = sorted(shares.items(), key=lambda item: (-item[1], item[0] != "en"))
    (best, share), (_, second) = ranked[0], ranked[1]
    if share >= 0.2 and share - second >= 0.1:
        return best, min(0.99, 0.6 + share - second)
    if len(folded) < 4:
        return (best, 0.5 + share / 2) if share > second and share >= 0.3 else ("en", 0.4)
    code, p = _by_statistics(" ".join(plain) if len(plain) >= 4 else " ".join(words))
    if len(folded) < 8 and (p < 0.9 or code not in ("en", "es", "vi")):
        return (best, 0.5) if share > second else ("en", 0.4)
    if p < 0.6 or (shares.get(best, 0) >= 0.25 and share > second):
        return best if share else "en", 0.5
    return code, p


def _by_script(text: str) -> tuple[str, float] | None:
    letters = sum(c.isalpha() for c in text)
    if not letters or text.isascii():
        return None
    for pattern, code in _SCRIPTS:
        n = len(pattern.findall(text))
        # A syllable or a sign says as much as two or three Latin letters; a name in brackets is not a language.
        dense = code in ("ko", "ja", "zh")
        if n >= 2 and n * (2.5 if dense else 1.2) >= letters - n:
            return (code, 0.99) if code else _by_statistics(text)
    return None


def _by_statistics(text: str) -> tuple[str, float]:
    """By the compact language detector (CLD2). Control characters and broken pairs are no text to it."""
    clean = "".join(c if c.isprintable() or c.isspace() else " " for c in text)
    try:
        _, _, found = pycld2.detect(clean.encode("utf-8", "ignore"), bestEffort=True)
    except pycld2.error:  # it knows fewer characters than Unicode has
        return "en", 0.3
    _, code, share, _ = found[0]
    if code == "un":
        return "en", 0.3
    code = code.partition("-")[0]
    return _OLD_CODES.get(code, code), share / 100
