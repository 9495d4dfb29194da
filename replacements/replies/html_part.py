"""The HTML part of a reply, made from its text: headings, paragraphs and lists, nothing fetched from anywhere."""

from __future__ import annotations

import re
from html import escape

_PAGE = """<!DOCTYPE html>
<html lang="{language}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{subject}</title>
</head>
<body style="font-family: sans-serif; font-size: 1rem; line-height: 1.5; max-width: 40em; color: #1b1b1b; \
background: #ffffff">
<main>
<h1 style="font-size: 1.25rem">{subject}</h1>
{body}
</main>
</body>
</html>
"""
_ENTRY = re.compile(r"(-|\d+\.) (.*)")


def html_page(text: str, *, subject: str, language: str, headings: tuple[str, ...] = ()) -> str:
    """A whole page. `text`: paragraphs between blank lines; lines that begin `- ` or `1. ` are lists; a paragraph that
    is one of `headings` is a heading."""
    body = blocks_of(text, headings)
    return _PAGE.format(language=escape(language), subject=escape(subject), body=body)


def blocks_of(text: str, headings: tuple[str, ...] = ()) -> str:
    """What stands on the page under its subject: paragraphs and lists, everything escaped."""
    blocks = text.strip().split("\n\n")
    return "\n".join(_heading(block) if block in headings else _block(block.split("\n")) for block in blocks)


def _heading(line: str) -> str:
    return f'<h2 style="font-size: 1.1rem">{escape(line)}</h2>'


def _block(lines: list[str]) -> str:
    pieces: list[str] = []
    entries: list[str] = []
    kind = "ul"
    for line in lines:
        found = _ENTRY.fullmatch(line)
        if found:
            kind = "ul" if found[1] == "-" else "ol"
            entries.append(f"<li>{escape(found[2])}</li>")
        else:
            pieces.append(f"<p>{escape(line)}</p>")
    if entries:
        pieces.append(f"<{kind}>{''.join(entries)}</{kind}>")
    return "\n".join(pieces)
