"""How a sender may dress up: a name that is another's address, turns its letters round, looks like another, hides some.

What is told is only a notice for a person. Names in any one writing are as good as any other; what is told of is a
mixture that nobody types. Source of the look-alikes: letters of other writings that common fonts draw as Latin ones.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from functools import lru_cache

from replacements.mail.charsets import decoded
from replacements.mail.cues import pattern
from replacements.mail.headers import MAX_LINE, addresses_in, decode_words
from replacements.mail.structure import Allowance

_TURNS = re.compile(r"[\u202a-\u202e\u2066-\u2069]")
# Between two letters of ours nothing invisible belongs; in other writings the joiners have their place.
_UNSEEN = re.compile(r"[\u200b\u2060-\u2064\ufeff\u00ad\u180e\u115f\u1160\u3164\uffa0]|(?<=[A-Za-z])[\u200c\u200d]")
_FANCY = re.compile(r"[\U0001d400-\U0001d7ff\uff21-\uff3a\uff41-\uff5a\u24b6-\u24e9\u1d00-\u1d2b]")
_LATIN_LIKE = dict(
    zip(
        "аеорсухіјѕԁԛԝһАВЕКМНОРСТХІЈЅԌΑΒΕΖΗΙΚΜΝΟΡΤΥΧορνɑɡℓ",
        "aeopcyxijsdqwhABEKMHOPCTXIJSGABEZHIKMNOPTYXopvagl",
        strict=True,
    )
)
_OURS = {"LATIN", "CYRILLIC", "GREEK", "ARMENIAN", "CHEROKEE", "COPTIC"}  # writings with look-alikes among each other
_MIN_DOMAIN = 6  # characters of a domain that is compared with the office's


def notice_guises(
    written: list[bytes],
    name: str,
    address: str,
    office_addresses: frozenset[str],
    office_name: str,
    allowance: Allowance,
) -> None:
    """Put a notice for each guise of the sender. `written`: the From fields as they came; `name` as it is shown."""
    raw = " ".join(decode_words(decoded(value[:MAX_LINE])[0]) for value in written)
    if _TURNS.search(raw):
        allowance.notice("name_turned", "The sender's name turns the direction of its letters: it reads as another.")
    if _UNSEEN.search(raw):
        allowance.notice("name_unseen", "The sender's name holds characters that nobody sees.")
    plain = unicodedata.normalize("NFKC", _UNSEEN.sub("", _TURNS.sub("", name)))
    if any(said != address for said in addresses_in(re.sub(r"\s*([@.])\s*", r"\1", plain))):
        allowance.notice(
            "display_name_trick", "The sender's name is written as another mail address than the one it is from."
        )
    if _FANCY.search(name) or any(_is_mixed(word) for word in _words(name)) or _passes_for_latin(name):
        allowance.notice("name_look_alike", "The sender's name holds letters of another writing that look like ours.")
    domain = address.rpartition("@")[2]
    ours = {one.rpartition("@")[2] for one in office_addresses}
    shown = _readable(domain)
    if any(_is_mixed(word) for word in _words(shown)) or _passes_for_latin(shown):
        allowance.notice(
            "address_look_alike", "The sender's address holds letters of another writing that look like ours."
        )
    if not ours or any(domain == one or domain.endswith(f".{one}") for one in ours):
        return
    if _poses(plain, office_name, office_addresses) or any(_resembles(shown, one) for one in ours):
        allowance.notice("poses_as_office", "The sender's name or address is made to look like an election office's.")


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W\d_]+", text[:1000])


@lru_cache(maxsize=4096)
def _writing(letter: str) -> str:
    return unicodedata.name(letter, "").partition(" ")[0]


def _is_mixed(word: str) -> bool:
    return len({_writing(letter) for letter in word} & _OURS) > 1


def _passes_for_latin(text: str) -> bool:
    """Whether a word among Latin ones is wholly made of another writing's look-alikes."""
    words = _words(text)
    kinds = [{_writing(letter) for letter in word} for word in words]
    latin = any("LATIN" in kind for kind in kinds)
    return latin and any(
        len(word) > 1 and not kind & {"LATIN"} and all(letter in _LATIN_LIKE for letter in word)
        for word, kind in zip(words, kinds, strict=True)
    )


def _plain(text: str) -> str:
    """Small Latin letters, digits and single spaces: what a hasty reader takes it for. Korean stays."""
    like = "".join(_LATIN_LIKE.get(letter, letter) for letter in unicodedata.normalize("NFKC", text)).casefold()
    bare = "".join(c for c in unicodedata.normalize("NFD", like) if not unicodedata.combining(c)).replace("đ", "d")
    return " ".join(re.findall(r"[^\W_]+", unicodedata.normalize("NFC", bare)))


def _poses(name: str, office_name: str, office_addresses: frozenset[str]) -> bool:
    said = _plain(name)
    if office_name and _plain(office_name) in said:
        return True
    if any(one in office_addresses for one in addresses_in(name)):
        return True
    return bool(pattern("sender", "office").search(said))


def _readable(domain: str) -> str:
    """A domain with its encoded labels (xn--) as they are shown."""

    def labels() -> Iterator[str]:
        for label in domain.split("."):
            try:
                yield label.encode("ascii").decode("idna") if label.startswith("xn--") else label
            except UnicodeError:
                yield label

    return ".".join(labels())


def _resembles(domain: str, ours: str) -> bool:
    """Whether a domain is made to be taken for the office's: look-alike letters, one letter off, or ours in front."""
    if len(ours) < _MIN_DOMAIN or domain == ours:
        return False
    if domain.startswith((f"{ours}.", f"{ours}-")) or domain.startswith(ours.replace(".", "-")):
        return True
    one, other = (_hasty(text) for text in (domain, ours))
    return one == other or _one_off(one, other)


def _hasty(domain: str) -> str:
    like = "".join(_LATIN_LIKE.get(letter, letter) for letter in domain.casefold())
    return like.replace("rn", "m").replace("vv", "w").replace("0", "o").replace("1", "l").replace("5", "s")


def _one_off(one: str, other: str) -> bool:
    """Whether two texts differ by one letter: another, one more, one less, or two neighbours changed."""
    if abs(len(one) - len(other)) > 1:
        return False
    start = next((at for at, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    a, b = one[start:], other[start:]
    return a[1:] == b[1:] or a[1:] == b or a == b[1:] or (a[:2] == b[1::-1] and a[2:] == b[2:])
