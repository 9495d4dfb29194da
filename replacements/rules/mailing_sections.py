"""Sections about what the mail room prints and how packets go: label sheet, window envelope, voters overseas.

Lengths are inches, as on the boxes of labels and envelopes. Defaults are common practice (ten labels of 4 by 2 inches
on letter paper; the window of a business envelope): an office measures its own.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from replacements.rules.shapes import Said

PAPER_WIDTH, PAPER_HEIGHT = 8.5, 11.0  # letter paper, inches
LEAST_WIDTH, LEAST_HEIGHT = 3.4, 1.0  # inches: a postal barcode and its clear space; three lines of 8 points
SLACK = 0.001  # inches, for sums of decimals

Inches = Annotated[float, Field(ge=0, le=11, strict=False)]
_WIDTH = Said(f"inches, {LEAST_WIDTH} to {PAPER_WIDTH} (a postal barcode needs them)", "width = 4.0")
_HEIGHT = Said(f"inches, {LEAST_HEIGHT} to {PAPER_HEIGHT}", "height = 2.0")
Width = Annotated[float, Field(ge=LEAST_WIDTH, le=PAPER_WIDTH, strict=False), _WIDTH]
Height = Annotated[float, Field(ge=LEAST_HEIGHT, le=PAPER_HEIGHT, strict=False), _HEIGHT]


class Printing(BaseModel):
    """A section about the mail room, as strict as the others (`office.Section`)."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class LabelSheet(Printing):
    """`[mailing.label_sheet]`: where the labels are on a sheet of letter paper, in inches."""

    across: Annotated[int, Field(ge=1, le=2), Said("1 or 2 labels across", "across = 2")] = 2
    down: Annotated[int, Field(ge=1, le=10), Said("1 to 10 labels down", "down = 5")] = 5
    width: Width = 4.0
    height: Height = 2.0
    left: Annotated[Inches, Said("inches from the paper's left edge to the first label", "left = 0.156")] = 0.156
    top: Annotated[Inches, Said("inches from the paper's top edge to the first label", "top = 0.5")] = 0.5
    between_columns: Annotated[Inches, Said("inches between two labels side by side", "between_columns = 0.188")] = (
        0.188
    )
    between_rows: Annotated[Inches, Said("inches between two labels one below the other", "between_rows = 0.0")] = 0.0

    @model_validator(mode="after")
    def _fits_the_paper(self) -> Self:
        across = self.left + self.across * self.width + (self.across - 1) * self.between_columns
        down = self.top + self.down * self.height + (self.down - 1) * self.between_rows
        if across > PAPER_WIDTH + SLACK:
            raise ValueError(f"labels that fit on paper {PAPER_WIDTH} inches wide; these need {across:g}")
        if down > PAPER_HEIGHT + SLACK:
            raise ValueError(f"labels that fit on paper {PAPER_HEIGHT:g} inches high; these need {down:g}")
        return self


class EnvelopeWindow(Printing):
    """`[mailing.window]`: where the window of the envelope shows the folded sheet, in inches from its left and top."""

    left: Annotated[Inches, Said("inches from the sheet's left edge to the window", "left = 0.5")] = 0.5
    top: Annotated[Inches, Said("inches from the sheet's top edge to the window", "top = 2.1")] = 2.1
    width: Width = 4.5
    height: Height = 1.125

    @model_validator(mode="after")
    def _is_on_the_paper(self) -> Self:
        right, bottom = self.left + self.width, self.top + self.height
        if right > PAPER_WIDTH + SLACK or bottom > PAPER_HEIGHT + SLACK:
            size = f"{PAPER_WIDTH} by {PAPER_HEIGHT:g} inches"
            raise ValueError(f"a window on paper of {size}; this one ends at {right:g} and {bottom:g}")
        return self


class OverseasMailing(Printing):
    """`[mailing.overseas]`: by which channel packets go to voters marked overseas, military voters among them.

    Electronic: the office's own system sends the ballot, this one lists and counts it. A voter overseas whose record
    has no mail address is reached by post in any case.
    """

    channel: Annotated[Literal["post", "electronic"], Said('"post" or "electronic"', 'channel = "post"')] = "post"
    by_post_until: Annotated[
        date | None, Said("the last day of a mailing by post to them, a date", "by_post_until = 2026-10-20")
    ] = None
