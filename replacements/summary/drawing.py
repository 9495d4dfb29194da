"""How pictures are drawn: SVG with a title and a description that says the numbers in words.

The SVG library writes words as they are given to it: whatever comes from outside goes through `label` or `picture`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import svg

WIDTH, HEIGHT = 560, 200
LEFT, RIGHT, TOP, BOTTOM = 40, 10, 22, 28
INK = "currentColor"  # the page's

Anchor = Literal["start", "middle", "end"]


def picture(name: str, title: str, description: str, parts: Iterable[svg.Element], height: int = HEIGHT) -> str:
    """The SVG of all `parts`, WIDTH wide. `name`: that of its ids, one's own on a page."""
    return svg.SVG(
        viewBox=svg.ViewBoxSpec(0, 0, WIDTH, height),
        class_=["chart"],
        extra={"role": "img", "aria-labelledby": f"{name}-title {name}-desc"},
        elements=[
            svg.Title(id=f"{name}-title", text=svg.escape(title)),
            svg.Desc(id=f"{name}-desc", text=svg.escape(description)),
            *parts,
        ],
    ).as_str()


def height_of(value: float, most: float) -> float:
    """Where a value stands on an axis from 0 to `most`."""
    return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * value / most


def line(x1: float, y1: float, x2: float, y2: float, *dashes: int) -> svg.Line:
    """A straight line; `dashes`: how long they and the gaps between them are."""
    return svg.Line(
        x1=short(x1), y1=short(y1), x2=short(x2), y2=short(y2), stroke=INK, stroke_dasharray=[*dashes] or None
    )


def bar(
    x: float, y: float, width: float, height: float, *, fill: str | None = INK, stroke: str | None = None, of: str = ""
) -> svg.Rect:
    """A rectangle from its upper left corner. `of`: a class, by which the page's style sheet fills it."""
    return svg.Rect(
        x=short(x),
        y=short(y),
        width=short(width),
        height=short(height),
        fill=None if of else fill,
        stroke=stroke,
        class_=[of] if of else None,
    )


def dot(x: float, y: float, *, ring: bool) -> svg.Circle:
    """A dot, or a ring about as large."""
    return svg.Circle(cx=short(x), cy=short(y), r=6 if ring else 4, fill="none" if ring else INK, stroke=INK)


def label(x: float, y: float, text: str, size: int = 13, anchor: Anchor = "middle") -> svg.Text:
    """Text at a place."""
    return svg.Text(x=short(x), y=short(y), text=svg.escape(text), text_anchor=anchor, font_size=size, fill=INK)


def short(number: float) -> float:
    """A number as it stands in an attribute: whole, or with one decimal."""
    rounded = round(number, 1)
    return int(rounded) if rounded == int(rounded) else rounded
