"""What is taken for what, as an SVG: a table of shaded cells, F1 by language, how well probabilities keep their word.

Every number stands in words or digits beside its shade, so that it reads the same in black and white, and a text before
it all says the whole to those who do not see it. The same messages and readings give the same bytes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Literal

import svg

from replacements.reading.language import language_of
from replacements.reading.measuring import BINS, KIND_WORDS, Measured, f1, judged
from replacements.reading.teaching import Example
from replacements.reading.types import Kind

_LANGUAGES = {"en": "English", "es": "Spanish", "vi": "Vietnamese", "ko": "Korean", "und": "not recognised"}
_CELL_WIDTH, _CELL_HEIGHT = 62, 34
_LEFT, _TOP = 250, 218  # where the cells begin
_ROW = 24  # of the lists beneath
_WIDTH = _LEFT + 10 * _CELL_WIDTH + 70
_BAR = 220  # pixels for 1
_PALEST, _DARKEST = 255, 40  # grey of a share of nothing and of all
_WHITE_TEXT_BELOW = 118  # white on this grey and black on the next lighter one both stand out by 4.5 to 1 or more


def by_language(known: Sequence[Example], found: Measured) -> dict[str, Counter[str]]:
    """Right, missed and extra kinds by language: that of the file's name where it begins with one (`es_mailbox`), else
    that of the text. `known`: the examples that were measured. Most messages first."""
    wrong = {id(example): got for example, got in found.misread}
    counts: dict[str, Counter[str]] = {}
    for example in known:
        named = example.source.split("_")[0]
        language = named if len(named) == 2 and named.isalpha() else language_of(example.letter.new_text)[0]
        count = judged(example, wrong.get(id(example), example.kinds))
        counts.setdefault(language, Counter()).update({**count, "messages": 1})
    return dict(sorted(counts.items(), key=lambda item: (-item[1]["messages"], item[0])))


def claims_kept(found: Measured) -> list[tuple[int, int, float, float]]:
    """(lower edge in percent, how many, mean claimed, share that came true) of each tenth of probabilities in use."""
    rows = []
    for at in range(BINS):
        row = [(p, right) for p, right in found.claims if min(BINS - 1, int(p * BINS)) == at]
        if row:
            rows.append(
                (at * 100 // BINS, len(row), sum(p for p, _ in row) / len(row), sum(r for _, r in row) / len(row))
            )
    return rows


def draw(known: Sequence[Example], found: Measured) -> str:
    """The picture as SVG. `known`: the examples that were measured as `found`."""
    kinds = [k for k in Kind if any(k in pair for pair in found.taken_for)] or list(Kind)
    singles = sum(found.taken_for.values())
    languages, claims = by_language(known, found), claims_kept(found)
    below = _TOP + len(kinds) * _CELL_HEIGHT + 64
    lists_end = below + 30 + _ROW * max(len(languages), len(claims) + 1)
    height = lists_end + 40
    title = "What messages ask, and what they were taken for"
    drawn = svg.SVG(
        viewBox=svg.ViewBoxSpec(0, 0, _WIDTH, height),
        width=_WIDTH,
        height=height,
        lang="en",
        extra={
            "role": "img",
            "aria-labelledby": "picture-title picture-description",
            "font-family": "sans-serif",
            "font-size": "14",
            "fill": "#000000",
        },
        elements=[
            svg.Title(id="picture-title", text=title),
            svg.Desc(id="picture-description", text=svg.escape(_in_words(found, kinds, languages))),
            svg.Rect(width=_WIDTH, height=height, fill="#ffffff"),
            _text(24, 36, title, size=20, weight="bold"),
            _text(24, 60, f"{found.messages} messages, F1 over all kinds {f1(found.by_source.get('', Counter())):.3f}. "
                  f"Below: the {singles} that ask one thing."),
            _text(24, 80, "A cell says how many messages; the darker, the larger its share of its row."),
            *_matrix(found.taken_for, kinds),
            *_languages(languages, 24, below),
            *_claims(claims, found.calibration_error, _WIDTH // 2 + 10, below),
        ],
    )  # fmt: skip
    return drawn.as_str().replace("><", ">\n<") + "\n"  # an element a line: changes are seen line by line


def _text(
    x: int,
    y: int,
    words: str,
    *,
    size: int | None = None,
    weight: Literal["bold"] | None = None,
    anchor: Literal["middle", "end"] | None = None,
    fill: str | None = None,
    turn: int = 0,
) -> svg.Text:
    return svg.Text(
        x=x,
        y=y,
        text=svg.escape(words),
        font_size=size,
        font_weight=weight,
        text_anchor=anchor,
        fill=fill,
        transform=[svg.Rotate(turn, x, y)] if turn else None,
    )


def _matrix(taken_for: Counter[tuple[Kind, Kind]], kinds: Sequence[Kind]) -> list[svg.Element]:
    parts: list[svg.Element] = [_text(_LEFT, 112, "What it was taken for", weight="bold")]
    middle = _TOP + len(kinds) * _CELL_HEIGHT // 2
    parts.append(_text(34, middle, "What the writer asks", weight="bold", anchor="middle", turn=-90))
    for column, kind in enumerate(kinds):
        at = _LEFT + column * _CELL_WIDTH + _CELL_WIDTH // 2
        parts.append(_text(at, _TOP - 10, KIND_WORDS[kind], turn=-40))
    parts.append(_text(_LEFT + len(kinds) * _CELL_WIDTH + 12, _TOP - 10, "right"))
    for row, want in enumerate(kinds):
        of_row = sum(taken_for[want, got] for got in kinds)
        y = _TOP + row * _CELL_HEIGHT
        parts.append(_text(_LEFT - 12, y + 22, f"{KIND_WORDS[want]} ({of_row})", anchor="end"))
        for column, got in enumerate(kinds):
            parts.extend(_cell(taken_for[want, got], of_row, _LEFT + column * _CELL_WIDTH, y, right=want is got))
        share = f"{100 * taken_for[want, want] / of_row:.0f} %" if of_row else "–"
        parts.append(_text(_LEFT + len(kinds) * _CELL_WIDTH + 12, y + 22, share))
    return parts


def _cell(count: int, of_row: int, x: int, y: int, *, right: bool) -> list[svg.Element]:
    """A cell; what is right has a thick frame, so that the diagonal is seen without its shade."""
    grey = round(_PALEST + (_DARKEST - _PALEST) * count / of_row) if of_row else _PALEST
    thick = 2 if right else 1
    frame = "#000000" if right else "#8a8a8a"
    fill = "#ffffff" if grey < _WHITE_TEXT_BELOW else "#000000" if count else "#6a6a6a"
    box = svg.Rect(
        x=x + thick - 0.5,
        y=y + thick - 0.5,
        width=_CELL_WIDTH - 2 * thick + 1,
        height=_CELL_HEIGHT - 2 * thick + 1,
        fill=f"#{grey:02x}{grey:02x}{grey:02x}",
        stroke=frame,
        stroke_width=thick,
    )
    digits = _text(
        x + _CELL_WIDTH // 2, y + 22, str(count), anchor="middle", fill=fill, weight="bold" if count else None
    )
    return [box, digits]


def _languages(languages: dict[str, Counter[str]], x: int, y: int) -> list[svg.Element]:
    parts: list[svg.Element] = [_text(x, y, "F1 by language", weight="bold")]
    for row, (code, count) in enumerate(languages.items()):
        at = y + 14 + row * _ROW
        parts.append(_text(x, at + 15, f"{_LANGUAGES.get(code, code)} ({count['messages']})"))
        parts += _bar(x + 150, at, f1(count))
        parts.append(_text(x + 158 + _BAR, at + 15, f"{f1(count):.3f}"))
    return parts


def _claims(claims: Sequence[tuple[int, int, float, float]], error: float, x: int, y: int) -> list[svg.Element]:
    parts: list[svg.Element] = [_text(x, y, f"Probabilities (off by {error:.3f} on average)", weight="bold")]
    parts.append(_text(x, y + 29, "said, how often", size=13))
    parts.append(_text(x + 150, y + 29, "came true (line: as often as was said)", size=13))
    for row, (low, many, claimed, true) in enumerate(claims, start=1):
        at = y + 14 + row * _ROW
        parts.append(_text(x, at + 15, f"{low} to {low + 100 // BINS} %, {many}"))
        parts += _bar(x + 150, at, true)
        said = round(x + 150 + claimed * _BAR, 1)
        for colour, thick in (("#ffffff", 5), ("#000000", 2)):
            parts.append(svg.Line(x1=said, y1=at - 1, x2=said, y2=at + 19, stroke=colour, stroke_width=thick))
        parts.append(_text(x + 158 + _BAR, at + 15, f"{100 * true:.0f} %"))
    return parts


def _bar(x: int, y: int, share: float) -> list[svg.Element]:
    return [
        svg.Rect(x=x, y=y + 2, width=_BAR, height=14, fill="#ffffff", stroke="#8a8a8a"),
        svg.Rect(x=x, y=y + 2, width=round(share * _BAR, 1), height=14, fill="#6a6a6a"),
    ]


def _in_words(found: Measured, kinds: Sequence[Kind], languages: dict[str, Counter[str]]) -> str:
    """All that the picture shows, for those who hear it."""
    said = [
        f"A table of {len(kinds)} rows and columns. Each row is what the writer asks, each column what the message was "
        f"taken for, over {sum(found.taken_for.values())} messages that ask one thing."
    ]
    for want in kinds:
        of_row = sum(found.taken_for[want, got] for got in kinds)
        if of_row:
            others = [
                (got, found.taken_for[want, got]) for got in kinds if got is not want and found.taken_for[want, got]
            ]
            others.sort(key=lambda pair: -pair[1])
            rest = ", ".join(f"{count} as {KIND_WORDS[got]}" for got, count in others)
            right = found.taken_for[want, want]
            said.append(f"{KIND_WORDS[want].capitalize()}: {right} of {of_row} right{'; ' + rest if rest else ''}.")
    said.append(
        "F1 by language: " + ", ".join(f"{_LANGUAGES.get(c, c)} {f1(n):.3f}" for c, n in languages.items()) + "."
    )
    for low, many, _, true in claims_kept(found):
        said.append(
            f"Of {many} kinds said with {low} to {low + 100 // BINS} percent, {100 * true:.0f} percent came true."
        )
    return " ".join(said)
