"""How pictures are drawn: SVG as elements, with a title and a description that says the numbers in words."""

from __future__ import annotations

from xml.etree import ElementTree as ET

WIDTH, HEIGHT = 560, 200
LEFT, RIGHT, TOP, BOTTOM = 40, 10, 22, 28


def canvas(name: str, title: str, description: str, height: int = HEIGHT) -> ET.Element:
    """An empty picture, WIDTH wide."""
    svg = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {WIDTH} {height}",
            "role": "img",
            "aria-labelledby": f"{name}-title {name}-desc",
            "class": "chart",
        },
    )
    ET.SubElement(svg, "title", {"id": f"{name}-title"}).text = title
    ET.SubElement(svg, "desc", {"id": f"{name}-desc"}).text = description
    return svg


def height_of(value: float, most: float) -> float:
    """Where a value stands on an axis from 0 to `most`."""
    return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * value / most


def line(svg: ET.Element, x1: float, y1: float, x2: float, y2: float, dashes: str = "") -> None:
    """A straight line; `dashes` as SVG has them."""
    ends = {"x1": short(x1), "y1": short(y1), "x2": short(x2), "y2": short(y2), "stroke": "currentColor"}
    ET.SubElement(svg, "line", ends | ({"stroke-dasharray": dashes} if dashes else {}))


def label(svg: ET.Element, x: float, y: float, text: str, size: int = 13, anchor: str = "middle") -> None:
    """Text at a place; `anchor`: start, middle or end."""
    how = {"x": short(x), "y": short(y), "text-anchor": anchor, "font-size": str(size), "fill": "currentColor"}
    ET.SubElement(svg, "text", how).text = text


def short(number: float) -> str:
    """A number as it stands in an attribute."""
    return f"{number:.1f}".removesuffix(".0")
