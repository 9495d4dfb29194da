"""Words that the reader of an HTML letter could not see are none of its words, by whatever means they are hidden."""

from __future__ import annotations

import pytest

from replacements.mail.letter import Letter
from replacements.mail.parsing import parse


def _html(body: str) -> Letter:
    head = "From: Ada Fenn <ada@home.example>\nSubject: ballot\nContent-Type: text/html; charset=utf-8\n\n"
    return parse((head + body).encode())


STYLES = [
    "display:none",
    "display: none !important",
    "DISPLAY:NONE",
    "visibility:hidden",
    "visibility:collapse",
    "opacity:0",
    "opacity:0.0",
    "opacity:0%",
    "opacity:.01",
    "filter:opacity(0)",
    "filter: alpha(opacity=0)",
    "font-size:0",
    "font-size:0px",
    "font-size:1px",
    "font-size:.5pt",
    "font-size:0.01em",
    "font-size:1%",
    "font:0/0 a",
    "font: 1px/1 serif",
    "color:#fff",
    "color:#ffffff",
    "color:white",
    "color:rgb(255,255,255)",
    "color:rgb(255 255 255)",
    "color:rgba(0,0,0,0)",
    "color:rgba(10,10,10,0.0)",
    "color:#00000000",
    "color:hsl(0,0%,100%)",
    "color:hsl(120, 50%, 100%)",
    "color:transparent",
    "color:#fdfdfd",
    "-webkit-text-fill-color:transparent",
    "background:#123456;color:#123456",
    "background-color:rgb(1,2,3);color:rgb(1,2,3)",
    "position:absolute;left:-9999px",
    "position:absolute;top:-5000px",
    "position:fixed;right:-3000px",
    "position:absolute;bottom:-999em",
    "text-indent:-9999px",
    "text-indent:-100em",
    "margin-left:-9999px",
    "margin-top:-5000px",
    "transform:translateX(-9999px)",
    "transform: translate(-5000px, 0)",
    "transform:scale(0)",
    "transform:scale(0,0)",
    "width:0;overflow:hidden",
    "height:0;overflow:hidden",
    "max-height:0px;overflow:hidden",
    "max-width:0;overflow:hidden",
    "height:1px;width:1px;overflow:hidden",
    "clip:rect(0,0,0,0);position:absolute",
    "clip: rect(1px, 1px, 1px, 1px);position:absolute",
    "clip-path:inset(50%)",
    "clip-path: inset(100%)",
    "clip-path:circle(0)",
    "content-visibility:hidden",
    "mso-hide:all",
]


@pytest.mark.parametrize("style", STYLES)
def test_a_style_that_hides_hides(style: str) -> None:
    letter = _html(f'<p>My ballot is fine.</p><div style="{style}">VOID IT NOW</div><p>Ada</p>')
    assert "VOID" not in letter.text()
    assert letter.new_text.split() == ["My", "ballot", "is", "fine.", "Ada"]
    assert "hidden_text" in {notice.code for notice in letter.notices}


@pytest.mark.parametrize(
    "page",
    [
        "<style>.k{display:none}</style><p class=k>VOID IT</p>",
        "<style>P.k{display:none}</style><p class=k>VOID IT</p>",
        "<style>#k{display:none}</style><p id=k>VOID IT</p>",
        "<style>.a .k{display:none}</style><div class=a><p class=k>VOID IT</p></div>",
        "<style>div > .k{display:none}</style><div><p class=k>VOID IT</p></div>",
        "<style>table td.k{font-size:0}</style><table><tr><td class=k>VOID IT</td></tr></table>",
        "<style>.k.z{display:none}</style><p class='k z'>VOID IT</p>",
        "<style>[hidden]{display:none} .k{color:#fff}</style><p class=k>VOID IT</p>",
        "<style>p{color:black} .k{color:white !important}</style><p class=k style='color:black'>VOID IT</p>",
        "<style><!-- .k{display:none} --></style><p class=k>VOID IT</p>",
        "<style>/* .z{} */ .k{display:none}</style><p class=k>VOID IT</p>",
        "<style>body{background:#123} .k{color:#123}</style><body><p class=k>VOID IT</p></body>",
        "<style>.k{color:#fff}</style><div class=k><span>VOID IT</span></div>",
        "<style media=screen>.k{opacity:0}</style><p class=k>VOID IT</p>",
    ],
)
def test_a_style_sheet_hides_too(page: str) -> None:
    letter = _html(f"<html>{page}<p>My ballot is fine.</p></html>")
    assert letter.text() == "My ballot is fine."


@pytest.mark.parametrize(
    "hidden",
    [
        "<!-- VOID IT -->",
        "<!--[if mso]><p>VOID IT</p><![endif]-->",
        "<p hidden>VOID IT</p>",
        '<p hidden="until-found">VOID IT</p>',
        '<input type=hidden value="VOID IT">',
        "<script>document.write('VOID IT')</script>",
        "<template><p>VOID IT</p></template>",
        "<title>VOID IT</title>",
        "<noembed>VOID IT</noembed>",
        '<font color="#FFFFFF">VOID IT</font>',
        '<font color="white" size=1>VOID IT</font>',
        '<table bgcolor="#336699"><tr><td><font color="#336699">VOID IT</font></td></tr></table>',
        '<body text="white">VOID IT</body>',
        '<p style="display:none"><span style="display:inline">VOID IT</span></p>',
        '<datalist><option value="a">VOID IT</option></datalist>',
    ],
)
def test_what_a_page_keeps_back_is_no_text(hidden: str) -> None:
    assert "VOID" not in _html(f"<p>My ballot is fine.</p>{hidden}").text()


@pytest.mark.parametrize(
    "shown",
    [
        '<p aria-hidden="true">I tore it.</p>',
        '<p role="presentation">I tore it.</p>',
        '<p style="display:block">I tore it.</p>',
        '<p style="visibility:visible">I tore it.</p>',
        '<p style="opacity:0.8">I tore it.</p>',
        '<p style="opacity:1">I tore it.</p>',
        '<p style="font-size:9px">I tore it.</p>',
        '<p style="font-size:0.7em">I tore it.</p>',
        '<p style="font:12px/1.5 serif">I tore it.</p>',
        '<p style="font:bold 1em serif">I tore it.</p>',
        '<p style="color:hsl(0,0%,10%)">I tore it.</p>',
        '<p style="color:rgba(0,0,0,0.87)">I tore it.</p>',
        '<p style="color:#000000ff">I tore it.</p>',
        '<p style="overflow:hidden;width:400px">I tore it.</p>',
        '<p style="height:0">I tore it.</p>',
        '<p style="margin-left:-5px;text-indent:-18pt">I tore it.</p>',
        '<p style="position:relative;left:-2px">I tore it.</p>',
        '<p style="transform:translateX(5px)">I tore it.</p>',
        '<p style="transform:scale(1)">I tore it.</p>',
        '<p style="background:black;color:white">I tore it.</p>',
        '<div style="background:url(x.png)"><p style="color:white">I tore it.</p></div>',
        "<!--[if !mso]><!--><p>I tore it.</p><!--<![endif]-->",
        "<style>.a .k{display:none}</style><p class=k>I tore it.</p>",
        "<style>.k.z{display:none}</style><p class=k>I tore it.</p>",
        "<style>a:hover{display:none} p::before{display:none}</style><p>I tore it.</p>",
        "<noscript>I tore it.</noscript>",
        "<details><summary>I tore it.</summary></details>",
        '<p dir="rtl">I tore it.</p>',
        "<p>I t<span style='display:none'></span>ore it.</p>",
    ],
)
def test_what_is_seen_is_kept(shown: str) -> None:
    assert _html(shown).new_text == "I tore it."


def test_the_first_line_that_only_a_list_of_mails_shows_is_hidden() -> None:
    letter = _html('<div style="display:none;max-height:0;overflow:hidden">Big news!</div><p>I tore it.</p>')
    assert letter.new_text == "I tore it."
