"""What styles do to text, as far as it decides whether a reader sees it: style sheets, colours, sizes, places.

Style sheets are read for selectors of tags, classes and ids, also one within another; other selectors (states,
neighbours, attributes) hide nothing here. Limits keep the work linear in the size of the page.
"""

from __future__ import annotations

import colorsys
import re
from dataclasses import dataclass, field
from itertools import islice

from bs4.element import Tag

MAX_CSS = 200_000  # characters of style sheets that are read
_MAX_RULES = 5000
_MAX_WITHIN = 6  # rules for one key that look at what is around the element
_MAX_AROUND = 8  # elements around it that are looked at

Colour = tuple[int, int, int]
Style = dict[str, str]

_COLOURS = {
    "white": (255, 255, 255), "black": (0, 0, 0), "red": (255, 0, 0), "green": (0, 128, 0), "blue": (0, 0, 255),
    "yellow": (255, 255, 0), "gray": (128, 128, 128), "grey": (128, 128, 128), "silver": (192, 192, 192),
    "navy": (0, 0, 128), "maroon": (128, 0, 0), "purple": (128, 0, 128), "teal": (0, 128, 128),
    "ivory": (255, 255, 240),
    "snow": (255, 250, 250), "whitesmoke": (245, 245, 245), "ghostwhite": (248, 248, 255),
    "floralwhite": (255, 250, 240),
    "mintcream": (245, 255, 250), "azure": (240, 255, 255), "orange": (255, 165, 0), "lightgray": (211, 211, 211),
    "lightgrey": (211, 211, 211), "seashell": (255, 245, 238), "beige": (245, 245, 220), "linen": (250, 240, 230),
}  # fmt: skip
_SIMPLE = re.compile(r"([a-z][a-z0-9-]*|\*)?((?:[.#][a-z0-9_-]+)*)")
_NUMBER = r"(\d*\.?\d+)"
_OFF_PAGE = re.compile(r"-(?:\d{3,}(?:\.\d+)?(?:px|pt|%)?|\d{2,}(?:\.\d+)?(?:em|rem|ex|vw|vh|in|cm))")
_OFF_KEYS = ("text-indent", "left", "top", "right", "bottom", "margin-left", "margin-top")


@dataclass(frozen=True, slots=True)
class _Rule:
    """A rule for elements that match `parts`: the last one the element itself, those before it around it, in order."""

    parts: tuple[tuple[str, frozenset[str]], ...]  # (tag or "", its classes and id, with their marks)
    normal: Style
    important: Style
    weight: tuple[int, int]  # how exact it is, and its place


@dataclass(slots=True)
class Sheet:
    """The rules of a page's style sheets, by one class, id or tag that an element must have."""

    rules: dict[str, list[_Rule]] = field(default_factory=dict)

    def style(self, tag: Tag) -> Style:
        """What the sheets and the element itself say, the important last."""
        normal, important = declarations(attribute(tag, "style"))
        if not self.rules:
            return normal | important
        marks = _marks(tag)
        found = [
            r for key in (tag.name.lower(), *marks, "*") for r in self.rules.get(key, ()) if _matches(tag, marks, r)
        ]
        style: Style = {}
        found.sort(key=lambda rule: rule.weight)
        for rule in found:
            style.update(rule.normal)
        style.update(normal)
        for rule in found:
            style.update(rule.important)
        return style | important


def sheet_of(css: str) -> Sheet:
    """Read style sheets. Rules inside @media count too."""
    sheet = Sheet()
    css = _without_comments(css[:MAX_CSS].lower().replace("<!--", " ").replace("-->", " "))
    place = 0
    for piece in css.split("}")[:_MAX_RULES]:
        head, brace, body = piece.rpartition("{")
        if not brace:
            continue
        normal, important = declarations(body)
        for selector in re.split(r"[{;]", head)[-1].split(",")[:50]:
            place += 1
            parts = _parts(selector)
            if not parts or not (normal or important) or place > _MAX_RULES:
                continue
            tag, marks = parts[-1]
            rules = sheet.rules.setdefault(min(marks, default=tag or "*"), [])
            if len(parts) > 1 and sum(len(rule.parts) > 1 for rule in rules[:200]) >= _MAX_WITHIN:
                continue
            exact = sum(100 * (mark[0] == "#") + 10 * (mark[0] == ".") for _, ms in parts for mark in ms)
            exact += sum(bool(name) for name, _ in parts)
            if len(rules) < 200:
                rules.append(_Rule(parts, normal, important, (exact, place)))
    return sheet


def _without_comments(css: str) -> str:
    pieces: list[str] = []
    at = 0
    while (start := css.find("/*", at)) >= 0:
        pieces.append(css[at:start])
        end = css.find("*/", start + 2)
        if end < 0:
            return "".join(pieces)
        at = end + 2
    return "".join([*pieces, css[at:]])


def _parts(selector: str) -> tuple[tuple[str, frozenset[str]], ...]:
    """The simple selectors of one selector; none where it holds anything else."""
    words = selector.replace(">", " ").split()
    found: list[tuple[str, frozenset[str]]] = []
    for word in words[:6]:
        match = _SIMPLE.fullmatch(word)
        if match is None:
            return ()
        name = match[1] or ""
        found.append(("" if name == "*" else name, frozenset(re.findall(r"[.#][a-z0-9_-]+", match[2]))))
    return tuple(found) if len(words) <= 6 else ()


def _marks(tag: Tag) -> set[str]:
    marks = {f".{name}" for name in attribute(tag, "class").lower().split()[:20]}
    identity = attribute(tag, "id").lower()
    return marks | {f"#{identity}"} if identity else marks


def _matches(tag: Tag, marks: set[str], rule: _Rule) -> bool:
    name, wanted = rule.parts[-1]
    if (name and name != tag.name.lower()) or not wanted <= marks:
        return False
    waiting = list(rule.parts[:-1])
    for around in islice(tag.parents, _MAX_AROUND) if waiting else ():
        name, wanted = waiting[-1]
        if (not name or name == around.name.lower()) and wanted <= _marks(around):
            waiting.pop()
            if not waiting:
                break
    return not waiting


def declarations(text: str) -> tuple[Style, Style]:
    """The declarations of a style attribute or a rule: the plain ones, and those marked important."""
    normal: Style = {}
    important: Style = {}
    for declaration in text[:4000].lower().split(";"):
        key, colon, value = declaration.partition(":")
        if colon:
            kept = important if "!important" in value.replace(" ", "") else normal
            kept[key.strip()] = re.sub(r"!\s*important", "", value).strip()
    return normal, important


def attribute(tag: Tag, name: str) -> str:
    """An attribute's text, empty where there is none."""
    value = tag.get(name)
    if value is None:
        return ""
    return value if isinstance(value, str) else " ".join(value)


def is_hidden(tag: Tag, style: Style) -> bool:
    """Whether an element is not shown at all: not displayed, without size, see-through, off the page, clipped away."""
    return (
        tag.has_attr("hidden")
        or (tag.name == "input" and attribute(tag, "type").lower() == "hidden")
        or style.get("display", "") == "none"
        or style.get("visibility", "") in ("hidden", "collapse")
        or style.get("content-visibility", "") == "hidden"
        or style.get("mso-hide", "") == "all"
        or any(is_see_through(style.get(key, "")) for key in ("color", "-webkit-text-fill-color"))
        or _is_faint(style)
        or any(_OFF_PAGE.match(style.get(key, "")) for key in _OFF_KEYS)
        or _is_moved_away(style.get("transform", ""))
        or _is_clipped(style)
    )


def is_tiny(style: Style) -> bool | None:
    """Whether text is too small to be read; None where the style does not say how big it is."""
    said = style.get("font-size", "")
    if not said and "font" in style:
        size = re.search(rf"(?:^|\s)(?:{_NUMBER}(?:px|pt|em|rem|ex|mm|cm|in|%)|0)(?=[\s/])", style["font"])
        said = size[0].strip() if size else ""
    return is_nothing(said) if said else None


def is_nothing(length: str) -> bool:
    """A length of nothing, or of one point or less: nobody reads that."""
    match = re.fullmatch(rf"{_NUMBER}\s*(px|pt|em|rem|ex|mm|cm|in|%|vw|vh)?", length)
    if match is None:
        return False
    value, unit = float(match[1]), match[2] or "px"
    return value == 0 or value <= {"px": 1, "pt": 1, "em": 0.1, "rem": 0.1, "%": 9}.get(unit, 0)


def _is_faint(style: Style) -> bool:
    for said in (style.get("opacity", ""), style.get("filter", "").replace("alpha(opacity=", "opacity(")):
        match = re.fullmatch(rf"\s*(?:.*opacity\(\s*)?{_NUMBER}\s*(%?)\s*\)?.*", said[:200])
        if match and float(match[1]) < (5 if match[2] else 0.05):
            return True
    return False


def _is_moved_away(transform: str) -> bool:
    if re.search(r"translate\w*\([^)]*-\d{3,}", transform[:200]):
        return True
    return re.search(r"scale\w*\(\s*0*\.?0*\s*[,)]", transform[:200]) is not None


def _is_clipped(style: Style) -> bool:
    clip, path = style.get("clip", ""), style.get("clip-path", "")
    if clip.startswith("rect("):
        numbers = [float(n) for n in re.findall(_NUMBER, clip[:200])]
        if len(numbers) == 4 and max(numbers) <= 1:
            return True
    if (inset := re.match(rf"inset\(\s*{_NUMBER}%", path)) and float(inset[1]) >= 50:
        return True
    if re.match(r"(?:circle|ellipse)\(\s*0", path):
        return True
    sizes = ("height", "max-height", "width", "max-width", "line-height")
    return "hidden" in style.get("overflow", "") and any(is_nothing(style.get(key, "")) for key in sizes)


def has_bar(style: Style) -> bool:
    """A line drawn at the left side alone, as quotations have it."""
    bar = style.get("border-left") or style.get("border-left-width") or style.get("border-left-style", "")
    box = any(not _draws_nothing(style.get(key, "none")) for key in ("border", "border-right"))
    return bool(bar) and not _draws_nothing(bar) and not box


def _draws_nothing(border: str) -> bool:
    return re.match(r"(?:none|hidden|0(?:px|pt|em|in|cm)?|medium none|initial|inherit)\b", border) is not None


def ground(tag: Tag, style: Style, around: Colour | None) -> Colour | None:
    """The colour behind an element's text; None where it cannot be known, as with a picture."""
    said = style.get("background-color", "") or style.get("background", "")
    if "url(" in said or "gradient" in said or tag.has_attr("background"):
        return None
    if said in ("none", "transparent", "inherit", "initial", "") or is_see_through(said):
        return colour(attribute(tag, "bgcolor")) or around
    for word in (said, *said.split()):
        found = colour(word)
        if found is not None:
            return found
    return None if said else around


def is_see_through(said: str) -> bool:
    """A colour with no substance."""
    word = said.strip().lower()
    if word == "transparent" or re.fullmatch(r"#[0-9a-f]{6}0[0-9a-f]|#[0-9a-f]{3}0", word):
        return True
    match = re.fullmatch(rf"(?:rgb|hsl)a?\([^()]{{1,60}}?[,/]\s*{_NUMBER}\s*(%?)\s*\)", word)
    return match is not None and _has_alpha(word) and float(match[1]) < (5 if match[2] else 0.05)


def _has_alpha(word: str) -> bool:
    return "/" in word or word.count(",") == 3


def colour(said: str) -> Colour | None:
    """A colour by its name, number or function; None where it is none that is known."""
    word = said.strip().lower()
    if word in _COLOURS:
        return _COLOURS[word]
    if match := re.fullmatch(r"#?([0-9a-f]{6})(?:[0-9a-f]{2})?", word):
        return int(match[1][:2], 16), int(match[1][2:4], 16), int(match[1][4:], 16)
    if match := re.fullmatch(r"#([0-9a-f])([0-9a-f])([0-9a-f])[0-9a-f]?", word):
        return int(match[1] * 2, 16), int(match[2] * 2, 16), int(match[3] * 2, 16)
    if match := re.fullmatch(r"rgba?\(\s*(\d{1,3})[\s,]+(\d{1,3})[\s,]+(\d{1,3})(?:[\s,/]+[\d.%]+)?\s*\)", word):
        return min(int(match[1]), 255), min(int(match[2]), 255), min(int(match[3]), 255)
    if match := re.fullmatch(
        rf"hsla?\(\s*{_NUMBER}(?:deg)?[\s,]+{_NUMBER}%[\s,]+{_NUMBER}%(?:[\s,/]+[\d.%]+)?\s*\)", word
    ):
        hue, full, light = (min(float(match[n]), top) / top for n, top in ((1, 360.0), (2, 100.0), (3, 100.0)))
        red, green, blue = colorsys.hls_to_rgb(hue, light, full)
        return round(red * 255), round(green * 255), round(blue * 255)
    return None
