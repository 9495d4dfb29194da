"""HTML mail as the reader saw it: lines of visible text, with how deeply each is quoted.

Text that a person at a mail program could not see (not displayed, no size, the colour of its ground, off the page)
is no text of the message; that there was some is told, so that a person can look.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from bs4 import BeautifulSoup
from bs4.element import NavigableString, PreformattedString, Tag

from replacements.mail.charsets import tidy

MAX_HTML = 1024 * 1024  # characters
MAX_TAGS = 60_000
MAX_TAG = 20_000  # characters of one tag; longer ones are text that happens to hold "<"

_SKIPPED = {"script", "style", "title", "template", "noframes", "noembed", "svg", "math", "object", "meta", "link"}
_BLOCKS = {
    *("p", "div", "li", "tr", "table", "ul", "ol", "dl", "dt", "dd", "blockquote", "pre", "hr", "center", "address"),
    *("h1", "h2", "h3", "h4", "h5", "h6", "section", "article", "header", "footer", "form", "fieldset", "body"),
}
_SPACED = {"p", "table", "ul", "ol", "blockquote", "h1", "h2", "h3", "h4", "h5", "h6", "hr"}
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
_NEAR = 30  # difference over three channels below which nobody tells text from its ground
_QUOTE_CLASSES = re.compile(
    r"gmail_quote|yahoo_quoted|moz-cite|protonmail_quote|tutanota_quote|quoted|zmail_extra", re.I
)
_SIGNATURE_CLASSES = re.compile(r"gmail_signature|moz-signature|email-?signature|(?:^|[_-])signature", re.I)

Colour = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Line:
    """One visible line. `depth` is how many quotations it stands in; `signature`: inside a marked signature."""

    text: str
    depth: int = 0
    signature: bool = False


@dataclass(frozen=True, slots=True)
class _Look:
    """What reaches a piece of text from the elements around it. `ground` is None where it cannot be known."""

    colour: Colour = (0, 0, 0)
    ground: Colour | None = (255, 255, 255)
    hidden: bool = False
    tiny: bool = False
    depth: int = 0
    signature: bool = False
    pre: bool = False


@dataclass(slots=True)
class _Page:
    lines: list[Line] = field(default_factory=list)
    current: list[str] = field(default_factory=list)
    look: _Look = field(default_factory=_Look)
    hidden_characters: int = 0
    containers: int = 0  # of a quotation, known by their class, that were looked into

    def write(self, text: str, look: _Look) -> None:
        if (look.depth, look.signature) != (self.look.depth, self.look.signature):
            self.end_line()
        self.look = look
        if look.pre:
            first, *rest = text.split("\n")
            self.current.append(first)
            for line in rest:
                self.end_line(keep_blank=True)
                self.current.append(line)
        else:
            self.current.append(re.sub(r"\s+", " ", text))

    def end_line(self, *, keep_blank: bool = False) -> None:
        text = "".join(self.current)
        text = text.rstrip() if self.look.pre else re.sub(r" +", " ", text).strip()
        self.current.clear()
        if text or keep_blank:
            self.lines.append(Line(text, self.look.depth, self.look.signature))

    def blank(self, look: _Look) -> None:
        self.end_line()
        if self.lines and self.lines[-1].text:
            self.lines.append(Line("", look.depth, look.signature))


def visible_lines(html: str) -> tuple[list[Line], bool]:
    """The visible lines of an HTML body, and whether words were hidden in it."""
    soup = BeautifulSoup(_safe(html), "html.parser")
    sheet = _sheet("\n".join(style.get_text() for style in soup.find_all("style")))
    page = _Page()
    stack: list[tuple[Tag | None, object, _Look]] = [(None, soup, _Look())]
    while stack:
        closing, node, look = stack.pop()
        if closing is not None:
            _close(closing, page, look)
        elif isinstance(node, Tag):
            inner = look if node.name == "[document]" else _open(node, page, look, sheet)
            if inner is None:
                continue
            stack.append((node, None, inner))
            stack.extend((None, child, inner) for child in reversed(node.contents))
        elif isinstance(node, NavigableString) and not isinstance(node, PreformattedString):
            _text(str(node), page, look)
    page.end_line()
    return page.lines, page.hidden_characters >= 3


def _text(text: str, page: _Page, look: _Look) -> None:
    shown = tidy(text)
    if look.hidden or look.tiny or (look.ground is not None and _distance(look.colour, look.ground) <= _NEAR):
        page.hidden_characters += len("".join(shown.split()))
    elif shown.strip() or page.current or look.pre:
        page.write(shown, look)


def _open(tag: Tag, page: _Page, look: _Look, sheet: dict[str, dict[str, str]]) -> _Look | None:
    name = tag.name.lower()
    if name in _SKIPPED:
        return None
    if name == "br":
        page.end_line(keep_blank=True)
        return None
    style = _style(tag, name, sheet)
    inner = _inner_look(tag, name, look, style)
    if name in _SPACED and not _is_close_set(tag, name):
        page.blank(look)
    elif name in _BLOCKS:
        page.end_line()
    elif name in ("td", "th"):
        page.current.append(" ")
    if _is_quotation(tag, name, style, look, page):
        inner = replace(inner, depth=inner.depth + 1)
    return inner


def _close(tag: Tag, page: _Page, look: _Look) -> None:
    name = tag.name.lower()
    close_set = _is_close_set(tag, name)
    if (name in _SPACED and not close_set) or (close_set and _is_empty(tag)):
        page.blank(look)
    elif name in _BLOCKS:
        page.end_line()


def _is_close_set(tag: Tag, name: str) -> bool:
    """A paragraph without space around it: some programs set every line of an address as one."""
    if name != "p":
        return False
    style = _attribute(tag, "style").replace(" ", "").lower()
    return "msonormal" in _attribute(tag, "class").lower() or re.search(r"margin(?:-top|-bottom)?:0", style) is not None


def _is_empty(tag: Tag) -> bool:
    return len(tag.contents) <= 3 and not any(len(child.get_text(strip=True)) for child in tag.contents)


def _inner_look(tag: Tag, name: str, look: _Look, style: dict[str, str]) -> _Look:
    colour = _colour(style.get("color", "")) or _colour(_attribute(tag, "color") if name == "font" else "")
    if name == "a" and colour is None and tag.has_attr("href"):
        colour = (0, 0, 238)
    if name == "body" and colour is None:
        colour = _colour(_attribute(tag, "text"))
    tiny = look.tiny
    if "font-size" in style:
        tiny = _is_nothing(style["font-size"])
    return replace(
        look,
        colour=colour or look.colour,
        ground=_ground(tag, style, look.ground),
        tiny=tiny,
        hidden=look.hidden or _is_hidden(tag, style),
        signature=look.signature or bool(_SIGNATURE_CLASSES.search(_names(tag))),
        pre=look.pre or name == "pre" or "pre" in style.get("white-space", ""),
    )


def _is_hidden(tag: Tag, style: dict[str, str]) -> bool:
    off = r"-\d{3,}(?:\.\d+)?(?:px|em|pt|%)?"
    return (
        tag.has_attr("hidden")
        or (tag.name == "input" and _attribute(tag, "type").lower() == "hidden")
        or style.get("display", "") == "none"
        or style.get("visibility", "") in ("hidden", "collapse")
        or style.get("mso-hide", "") == "all"
        or style.get("color", "") == "transparent"
        or bool(re.fullmatch(r"0*(?:\.0+|0(?:\.0+)?%?)", style.get("opacity", "1")))
        or any(
            re.fullmatch(off, style.get(key, "")) is not None for key in ("text-indent", "left", "top", "margin-left")
        )
        or (
            "hidden" in style.get("overflow", "")
            and any(
                _is_nothing(style.get(key, "1"))
                for key in ("height", "max-height", "width", "max-width", "line-height")
            )
        )
    )


def _is_nothing(length: str) -> bool:
    """A length of nothing, or of one point or less: nobody reads that."""
    match = re.fullmatch(r"(\d*\.?\d+)\s*(px|pt|em|rem|ex|mm|cm|in|%|vw|vh)?", length)
    if match is None:
        return False
    value, unit = float(match[1]), match[2] or "px"
    return value == 0 or (unit in ("px", "pt") and value <= 1) or (unit in ("em", "rem") and value < 0.1)


def _is_quotation(tag: Tag, name: str, style: dict[str, str], look: _Look, page: _Page) -> bool:
    """Whether this element quotes an earlier message: by its kind, its class, or a bar drawn at its left."""
    if name == "blockquote":
        return _quotes(tag, style, page)
    if look.signature or _SIGNATURE_CLASSES.search(_names(tag)):
        return False
    if name in ("div", "section") and look.depth == 0 and _QUOTE_CLASSES.search(_names(tag)):
        # Where it holds blockquotes those tell, and what stands between them may be an answer.
        page.containers += 1
        return page.containers <= 20 and tag.find("blockquote") is None
    if name in ("div", "section", "p", "table"):
        return _has_bar(style) and any(key.startswith(("padding", "margin")) for key in style)
    return name == "td" and _has_bar(style) and _is_announced(page)  # else a rule beside a contact block


def _quotes(tag: Tag, style: dict[str, str], page: _Page) -> bool:
    """Whether a blockquote quotes. Mail programs also use it to indent what is being written."""
    if _attribute(tag, "type").lower() == "cite" or tag.has_attr("cite"):
        return True
    parents = [tag, *list(tag.parents)[:12]]
    if any(_QUOTE_CLASSES.search(_names(p)) for p in parents):
        return True
    return _has_bar(style) or _is_announced(page)


def _is_announced(page: _Page) -> bool:
    before = next((line.text for line in reversed(page.lines) if line.text), "")
    return before.rstrip().endswith((":", "：", "wrote"))


def _has_bar(style: dict[str, str]) -> bool:
    """A line drawn at the left side alone."""
    bar = style.get("border-left") or style.get("border-left-width") or style.get("border-left-style", "")
    box = any(not _draws_nothing(style.get(key, "none")) for key in ("border", "border-right"))
    return bool(bar) and not _draws_nothing(bar) and not box


def _draws_nothing(border: str) -> bool:
    return re.match(r"(?:none|hidden|0(?:px|pt|em|in|cm)?|medium none|initial|inherit)\b", border) is not None


def _names(tag: Tag) -> str:
    return f"{_attribute(tag, 'class')} {_attribute(tag, 'id')}"


def _style(tag: Tag, name: str, sheet: dict[str, dict[str, str]]) -> dict[str, str]:
    found: dict[str, str] = {}
    if sheet:
        keys = [name, *(f"{p}.{c}" for c in _attribute(tag, "class").lower().split()[:20] for p in ("", name))]
        keys += [f"{p}#{_attribute(tag, 'id').lower()}" for p in ("", name)]
        for key in keys:
            found.update(sheet.get(key, {}))
    found.update(_declarations(_attribute(tag, "style")))
    return found


def _sheet(css: str) -> dict[str, dict[str, str]]:
    """Rules of a style sheet whose selector is one plain tag, class or id. Rules inside @media count too."""
    rules: dict[str, dict[str, str]] = {}
    css = css[:200_000].lower().replace("<!--", " ").replace("-->", " ")
    for piece in css.split("}")[:5000]:
        head, brace, body = piece.rpartition("{")
        if not brace:
            continue
        selectors = re.split(r"[{;]|\*/", head)[-1]
        for selector in selectors.split(","):
            plain = selector.strip()
            if re.fullmatch(r"[a-z0-9_-]*[.#]?[a-z0-9_-]+", plain):
                rules.setdefault(plain, {}).update(_declarations(body))
    return rules


def _declarations(text: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for declaration in text[:4000].lower().split(";"):
        key, colon, value = declaration.partition(":")
        if colon:
            found[key.strip()] = value.replace("!important", "").strip()
    return found


def _ground(tag: Tag, style: dict[str, str], around: Colour | None) -> Colour | None:
    said = style.get("background-color", "") or style.get("background", "")
    if "url(" in said or "gradient" in said or tag.has_attr("background"):
        return None
    if said in ("none", "transparent", "inherit", "initial", ""):
        return _colour(_attribute(tag, "bgcolor")) or around
    for word in (said, *said.split()):
        colour = _colour(word)
        if colour is not None:
            return colour
    return None if said else around


def _colour(said: str) -> Colour | None:
    word = said.strip().lower()
    if word in _COLOURS:
        return _COLOURS[word]
    if match := re.fullmatch(r"#?([0-9a-f]{6})(?:[0-9a-f]{2})?", word):
        return int(match[1][:2], 16), int(match[1][2:4], 16), int(match[1][4:], 16)
    if match := re.fullmatch(r"#([0-9a-f])([0-9a-f])([0-9a-f])[0-9a-f]?", word):
        return int(match[1] * 2, 16), int(match[2] * 2, 16), int(match[3] * 2, 16)
    if match := re.fullmatch(r"rgba?\(\s*(\d{1,3})[\s,]+(\d{1,3})[\s,]+(\d{1,3})(?:[\s,/]+[\d.%]+)?\s*\)", word):
        return min(int(match[1]), 255), min(int(match[2]), 255), min(int(match[3]), 255)
    return None


def _distance(one: Colour, other: Colour) -> int:
    return sum(abs(a - b) for a, b in zip(one, other, strict=True))


def _attribute(tag: Tag, name: str) -> str:
    value = tag.get(name)
    if value is None:
        return ""
    return value if isinstance(value, str) else " ".join(value)


def _safe(html: str) -> str:
    """HTML without comments and declarations, its endless or countless tags made plain text, in linear time:
    the parser looks for the end of each of those from its beginning, again and again where there is none."""
    html = html[:MAX_HTML].replace("\0", "")
    pieces: list[str] = []
    at = tags = 0
    while True:
        start = html.find("<", at)
        if start < 0:
            pieces.append(html[at:])
            return "".join(pieces)
        pieces.append(html[at:start])
        if html.startswith("<!--", start):
            end = html.find("-->", start + 4)
            at = len(html) if end < 0 else end + 3
            continue
        if not re.match(r"</?[A-Za-z]|<[!?]", html[start : start + 3]) or tags >= MAX_TAGS:
            pieces.append("&lt;")
            at = start + 1
            continue
        end = html.find(">", start, start + MAX_TAG)
        if html[start + 1] in "!?":
            at = start + MAX_TAG if end < 0 else end + 1
        elif end < 0:
            pieces.append("&lt;")
            at = start + 1
        else:
            tags += 1
            pieces.append(html[start : end + 1])
            at = end + 1
