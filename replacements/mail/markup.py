"""HTML mail as the reader saw it: lines of visible text, with how deeply each is quoted.

Text that a person at a mail program could not see (not displayed, no size, the colour of its ground, off the page)
is no text of the message; that there was some is told, so that a person can look.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from itertools import islice

from bs4 import BeautifulSoup
from bs4.element import NavigableString, PreformattedString, Tag

from replacements.mail.charsets import tidy
from replacements.mail.styles import (
    Colour,
    Sheet,
    Style,
    attribute,
    colour,
    ground,
    has_bar,
    is_hidden,
    is_tiny,
    sheet_of,
)

MAX_HTML = 1024 * 1024  # characters
MAX_TAGS = 20_000
MAX_TAG = 20_000  # characters of one tag; longer ones are text that happens to hold "<"

_SKIPPED = {
    "script",
    "style",
    "title",
    "template",
    "noframes",
    "noembed",
    "svg",
    "math",
    "object",
    "meta",
    "link",
    "datalist",
}
_BLOCKS = {
    *("p", "div", "li", "tr", "table", "ul", "ol", "dl", "dt", "dd", "blockquote", "pre", "hr", "center", "address"),
    *("h1", "h2", "h3", "h4", "h5", "h6", "section", "article", "header", "footer", "form", "fieldset", "body"),
}
_SPACED = {"p", "table", "ul", "ol", "blockquote", "h1", "h2", "h3", "h4", "h5", "h6", "hr"}
_NEAR = 30  # difference over three channels below which nobody tells text from its ground
_QUOTE_CLASSES = re.compile(
    r"gmail_quote|yahoo_quoted|moz-cite|protonmail_quote|tutanota_quote|quoted|zmail_extra", re.I
)
_SIGNATURE_CLASSES = re.compile(r"gmail_signature|moz-signature|email-?signature|(?:^|[_-])signature", re.I)


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
    sheet = sheet_of("\n".join(style.get_text() for style in soup.find_all("style")))
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


def _open(tag: Tag, page: _Page, look: _Look, sheet: Sheet) -> _Look | None:
    name = tag.name.lower()
    if name in _SKIPPED:
        return None
    if name == "br":
        page.end_line(keep_blank=True)
        return None
    style = sheet.style(tag)
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
    style = attribute(tag, "style").replace(" ", "").lower()
    return "msonormal" in attribute(tag, "class").lower() or re.search(r"margin(?:-top|-bottom)?:0", style) is not None


def _is_empty(tag: Tag) -> bool:
    return len(tag.contents) <= 3 and not any(len(child.get_text(strip=True)) for child in tag.contents)


def _inner_look(tag: Tag, name: str, look: _Look, style: Style) -> _Look:
    ink = colour(style.get("color", "")) or colour(attribute(tag, "color") if name == "font" else "")
    if name == "a" and ink is None and tag.has_attr("href"):
        ink = (0, 0, 238)
    if name == "body" and ink is None:
        ink = colour(attribute(tag, "text"))
    tiny = is_tiny(style)
    return replace(
        look,
        colour=ink or look.colour,
        ground=ground(tag, style, look.ground),
        tiny=look.tiny if tiny is None else tiny,
        hidden=look.hidden or is_hidden(tag, style),
        signature=look.signature or bool(_SIGNATURE_CLASSES.search(_names(tag))),
        pre=look.pre or name == "pre" or "pre" in style.get("white-space", ""),
    )


def _is_quotation(tag: Tag, name: str, style: Style, look: _Look, page: _Page) -> bool:
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
        return has_bar(style) and any(key.startswith(("padding", "margin")) for key in style)
    return name == "td" and has_bar(style) and _is_announced(page)  # else a rule beside a contact block


def _quotes(tag: Tag, style: Style, page: _Page) -> bool:
    """Whether a blockquote quotes. Mail programs also use it to indent what is being written."""
    if attribute(tag, "type").lower() == "cite" or tag.has_attr("cite"):
        return True
    parents = [tag, *islice(tag.parents, 12)]
    if any(_QUOTE_CLASSES.search(_names(p)) for p in parents):
        return True
    return has_bar(style) or _is_announced(page)


def _is_announced(page: _Page) -> bool:
    before = next((line.text for line in reversed(page.lines) if line.text), "")
    return before.rstrip().endswith((":", "：", "wrote"))


def _names(tag: Tag) -> str:
    return f"{attribute(tag, 'class')} {attribute(tag, 'id')}"


def _distance(one: Colour, other: Colour) -> int:
    return sum(abs(a - b) for a, b in zip(one, other, strict=True))


def _safe(html: str) -> str:
    """HTML without comments and declarations, its endless tags made plain text, up to its last tag that is read, in
    linear time:
    the parser looks for the end of each of those from its beginning, again and again where there is none."""
    html = html[:MAX_HTML].replace("\0", "")
    pieces: list[str] = []
    at = tags = 0
    sheets = True  # whether a style sheet may still end
    while True:
        start = html.find("<", at)
        if start < 0:
            pieces.append(html[at:])
            return "".join(pieces)
        pieces.append(html[at:start])
        if sheets and (sheet := re.compile(r"<style\b[^<>]{0,2000}>", re.IGNORECASE).match(html, start)):
            ending = re.compile(r"</style", re.IGNORECASE).search(html, sheet.end())
            sheets = ending is not None
            if ending is not None:  # what it holds may stand in a comment, and counts all the same
                rules = html[sheet.end() : ending.start()].replace("<!--", " ").replace("-->", " ")
                pieces.append(sheet[0] + rules.replace("<", " "))
                at = ending.start()
                continue
        if html.startswith("<!--", start):
            end = html.find("-->", start + 4)
            at = len(html) if end < 0 else end + 3
            continue
        if tags >= MAX_TAGS:
            return "".join(pieces)
        if not re.match(r"</?[A-Za-z]|<[!?]", html[start : start + 3]):
            pieces.append("&lt;")
            tags += 1
            at = start + 1
            continue
        end = html.find(">", start, start + MAX_TAG)
        if html[start + 1] in "!?":
            at = start + MAX_TAG if end < 0 else end + 1
        elif end < 0:
            pieces.append("&lt;")
            tags += 1
            at = start + 1
        else:
            tags += 1
            pieces.append(html[start : end + 1])
            at = end + 1
