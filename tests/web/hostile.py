"""Mail that tries to put a script of its own into a page: what is tried is common practice, the words are our own."""

from __future__ import annotations

import base64
from datetime import datetime
from email.header import Header
from itertools import product

from replacements.requests import intake
from replacements.store.database import Database

MARK = "xq7marks"  # is in every payload, and nowhere else: too long to come up in a nonce by chance
# What ends the place in which a text stands: text, an attribute in either quotes, and elements that hold only text.
ENDS = ("", '">', "'>", "</textarea>", "</title>", "</option></select>", "</style>", "</script>", "-->", "]]>")
# What then runs something, without a click or with one.
RUNS = (
    f"<script>alert('{MARK}')</script>",
    f"<img src=x onerror=alert('{MARK}')>",
    f"<svg/onload=alert('{MARK}')>",
    f"<iframe srcdoc=\"<script>parent.alert('{MARK}')</script>\"></iframe>",
    f"<details open ontoggle=alert('{MARK}')>",
    f"<input autofocus onfocus=alert('{MARK}')>",
    f"<a href=\"javascript:alert('{MARK}')\">{MARK}</a>",
    f"<form action=\"javascript:alert('{MARK}')\"><button>{MARK}</button></form>",
    f"<object data=\"data:text/html,<script>alert('{MARK}')</script>\"></object>",
    f'<base href="https://evil.example/{MARK}/">',
    f'<meta http-equiv="refresh" content="0;url=https://evil.example/{MARK}">',
    f'<link rel="stylesheet" href="https://evil.example/{MARK}.css">',
)
# What needs no element of its own, or hopes for a second decoding.
OTHERS = (
    f"\" autofocus onfocus=alert('{MARK}') x=\"",
    f"' onmouseover=alert('{MARK}') x='",
    f"` onclick=alert('{MARK}') `",
    f"javascript:alert('{MARK}')",
    f"&lt;script&gt;alert('{MARK}')&lt;/script&gt;",
    f"&#60;script&#62;alert('{MARK}')&#60;/script&#62;",
    f"%3Cscript%3Ealert('{MARK}')%3C/script%3E",
    f"+ADw-script+AD4-alert('{MARK}')+ADw-/script+AD4-",
    f"\\u003cscript\\u003ealert('{MARK}')\\u003c/script\\u003e",
    f"{{{{ 7*7 }}}}{MARK}{{% raw %}}",
    f"${{7*7}}{MARK}#{{7*7}}",
    f"<scr<script>ipt>alert('{MARK}')</scr</script>ipt>",
    f"<\u202escript>alert('{MARK}')</script>",
    f"<ſcript>alert('{MARK}')</ſcript>",
)
PAYLOADS = (*(end + run for end, run in product(ENDS, RUNS)), *OTHERS)


def _word(text: str) -> str:
    return Header(text, "utf-8", maxlinelen=10_000).encode()


def hostile_mail(payload: str, number: int) -> bytes:
    """A letter that asks for a ballot, with the payload in everything that a page may show of it."""
    quoted = payload.replace("\\", "\\\\").replace('"', '\\"')
    asks = f"I spilled coffee on my ballot. {payload} Please send another. Ottoline Brackwater, February 17, 1951"
    name = base64.b64encode(payload.encode()).decode()
    lines = [
        f'From: {_word(payload + " Brackwater")} <"{quoted if quoted.isascii() else MARK}"@post.example>',
        f"Subject: {_word(payload)}",
        f"Message-ID: <{number}.{MARK}@post.example>",
        f"Content-Language: {payload if payload.isascii() else MARK}",
        f"Reply-To: {_word(payload)} <back@post.example>",
        'Content-Type: multipart/mixed; boundary="zz"',
        "",
        "--zz",
        'Content-Type: multipart/alternative; boundary="yy"',
        "",
        "--yy",
        "Content-Type: text/plain; charset=utf-8",
        "",
        asks,
        "--yy",
        "Content-Type: text/html; charset=utf-8",
        "",
        f"<p>{asks}</p>",
        "--yy--",
        "--zz",
        f'Content-Type: image/png; name="=?utf-8?b?{name}?="',
        "Content-Transfer-Encoding: base64",
        f'Content-Disposition: attachment; filename="=?utf-8?b?{name}?="',
        "",
        "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==",
        "--zz--",
        "",
    ]
    return "\r\n".join(lines).encode()


def take_in(database: Database, payloads: tuple[str, ...], *, at: datetime) -> list[int]:
    """Keep and read a hostile mail for each payload, as any other; the messages' numbers."""
    numbers = []
    for place, payload in enumerate(payloads):
        kept = intake.keep(database, hostile_mail(payload, place), source="inbox", validity="1", uid=str(place), at=at)
        intake.read_one(database, kept.message_id, now=at)
        numbers.append(kept.message_id)
    return numbers
