"""The pages' pictures on paper: the same SVG, drawn in black, so that page and PDF show one and the same."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from reportlab.lib import colors
from reportlab.platypus import Flowable

from replacements.summary.typefaces import PLAIN, runs, width


class Picture(Flowable):
    """One picture, as wide as `room` points. Knows what our own pictures are made of: rect, line, circle, text."""

    def __init__(self, svg: str, room: float) -> None:
        super().__init__()
        self._svg = ET.fromstring(svg)  # noqa: S314 (made here, a moment ago)
        _, _, wide, high = map(float, self._svg.get("viewBox", "0 0 1 1").split())
        self._high, self._scale = high, room / wide
        self.width, self.height = room, high * self._scale

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        canvas = self.canv
        canvas.saveState()
        canvas.scale(self._scale, self._scale)
        canvas.setLineWidth(0.8)
        canvas.setFillColor(colors.black)
        for element in self._svg.iter():
            kind = element.tag.rpartition("}")[2]
            if kind == "line":
                canvas.setDash(*_dashes(element))
                canvas.line(_at(element, "x1"), self._y(element, "y1"), _at(element, "x2"), self._y(element, "y2"))
                canvas.setDash()
            elif kind == "rect":
                high = _at(element, "height")
                corner = _at(element, "x"), self._y(element, "y") - high
                canvas.rect(*corner, _at(element, "width"), high, fill=_filled(element), stroke=1)
            elif kind == "circle":
                canvas.circle(_at(element, "cx"), self._y(element, "cy"), _at(element, "r"), fill=_filled(element))
            elif kind == "text":
                self._text(element)
        canvas.restoreState()

    def _text(self, element: ET.Element) -> None:
        text, size = element.text or "", float(element.get("font-size", "13"))
        back = {"middle": 0.5, "end": 1.0}.get(element.get("text-anchor", "start"), 0.0)
        x, y = _at(element, "x") - back * width(text, size), self._y(element, "y")
        for face, stretch in runs(text, PLAIN):
            self.canv.setFont(face, size)
            self.canv.drawString(x, y, stretch)
            x += width(stretch, size)

    def _y(self, element: ET.Element, name: str) -> float:
        return self._high - _at(element, name)


def _at(element: ET.Element, name: str) -> float:
    return float(element.get(name, "0"))


def _filled(element: ET.Element) -> int:
    return int(element.get("fill") != "none")


def _dashes(element: ET.Element) -> tuple[list[float], int]:
    return [float(part) for part in element.get("stroke-dasharray", "").split()], 0
