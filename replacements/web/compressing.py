"""Files of our own under an address that holds their content's hash, and compression of what may be compressed.

A browser keeps such a file for a year and asks for it once. Compressed (gzip, RFC 1952) are these files, and the pages
in `NOTHING_FROM_OUTSIDE`. No other page is: one that holds a secret (a form's token, a voter's record) beside words
that somebody outside the office chose, in a mail or an address, would tell by its compressed length how alike the two
are (the attack known as BREACH, 2013). The pages that are listed show numbers, times and the office's own texts only.
"""

from __future__ import annotations

import gzip
import hashlib
from functools import lru_cache
from pathlib import Path
from typing import Any

from flask import Flask, Response, current_app, request

from replacements.web.pages.style import bootstrap_file

SMALLEST = 1_000  # bytes; below, compression gains nothing
LEVEL = 6
A_YEAR = 365 * 24 * 60 * 60  # seconds
NOTHING_FROM_OUTSIDE = ("front.page", "rules.page", "texts.page")
FILES = ("static", "style.bootstrap")
_TEXT = ("text/", "application/javascript", "application/json", "image/svg+xml")


def install(app: Flask) -> None:
    """Before any page is registered."""
    app.url_defaults(_with_hash)
    app.after_request(_kept)
    app.after_request(_compressed)


def _file(endpoint: str, values: dict[str, Any]) -> Path | None:
    if endpoint == "style.bootstrap":
        return bootstrap_file()
    folder = current_app.static_folder
    if endpoint != "static" or folder is None:
        return None
    found = Path(folder, str(values.get("filename", "")))
    return found if found.is_file() else None


@lru_cache(maxsize=64)
def _hash(file: Path, _changed: int) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()[:12]


def content_hash(file: Path) -> str:
    """Twelve hexadecimal digits that are others once the file is another."""
    return _hash(file, file.stat().st_mtime_ns)


def _with_hash(endpoint: str, values: dict[str, Any]) -> None:
    if endpoint in FILES and "v" not in values:
        file = _file(endpoint, values)
        if file is not None:
            values["v"] = content_hash(file)


def _kept(answer: Response) -> Response:
    """Kept for a year under the hash of what is sent; under any other address it is asked for again each time."""
    if request.endpoint in FILES and answer.status_code in (200, 304):
        file = _file(request.endpoint, request.view_args or {})
        right = file is not None and request.args.get("v") == content_hash(file)
        answer.headers["Cache-Control"] = f"public, max-age={A_YEAR}, immutable" if right else "no-cache"
    return answer


def _compressed(answer: Response) -> Response:
    if request.endpoint not in (*FILES, *NOTHING_FROM_OUTSIDE) or not (answer.mimetype or "").startswith(_TEXT):
        return answer
    answer.vary.add("Accept-Encoding")
    if answer.status_code != 200 or not request.accept_encodings["gzip"] or "Content-Encoding" in answer.headers:
        return answer
    answer.direct_passthrough = False  # a file is read here, once for each of its contents
    plain = answer.get_data()
    if len(plain) >= SMALLEST:
        answer.set_data(_packed(plain) if request.endpoint in FILES else gzip.compress(plain, LEVEL, mtime=0))
        answer.headers["Content-Encoding"] = "gzip"
        etag, _ = answer.get_etag()
        if etag:
            answer.set_etag(etag, weak=True)  # the same content, in other bytes
    return answer


@lru_cache(maxsize=32)
def _packed(plain: bytes) -> bytes:
    return gzip.compress(plain, 9, mtime=0)
