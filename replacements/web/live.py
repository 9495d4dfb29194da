"""A page that keeps itself up to date: server-sent events (WHATWG HTML, 9.2) over a WSGI server with few threads.

Every open stream holds one thread of the server. So only a few may stay open at a time, and each for a few minutes; one
that finds no place says what there is to say and ends, and the browser comes back after a while by itself. Whoever
looks is up to date in either case, and the pages never wait for a stream.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from threading import BoundedSemaphore
from typing import TYPE_CHECKING

from flask import Flask, Response, current_app, g, request

from replacements.people.accounts import signed_in
from replacements.web.guard import Here, here, office, token

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIEnvironment

MOST_OPEN = 3  # streams at a time; the server of `serve` has eight threads
LONGEST = 150.0  # seconds that a stream stays open
LOOK_EVERY = 4.0  # seconds between two looks at the database
BACK_SOON, BACK_LATER = 2_000, 20_000  # milliseconds until a browser asks again


def install(app: Flask) -> None:
    """Make the places for open streams. An app has its own."""
    app.extensions["live"] = BoundedSemaphore(MOST_OPEN)


def stream(look: Callable[[], dict[str, str]]) -> Response:
    """What `look` gives, now and whenever it has changed. It is called anew for each look, on the moment's clock."""
    app = current_app._get_current_object()  # type: ignore[attr-defined]
    answer = Response(_events(app, request.environ, here(), look), mimetype="text/event-stream")
    answer.headers["X-Accel-Buffering"] = "no"  # a proxy in front that gathers answers would hold it back
    return answer


def _events(app: Flask, asked: WSGIEnvironment, looker: Here, look: Callable[[], dict[str, str]]) -> Iterator[str]:
    places: BoundedSemaphore = app.extensions["live"]
    stays = places.acquire(blocking=False)
    try:
        yield f"retry: {BACK_SOON if stays else BACK_LATER}\n\n"
        end, seen = time.monotonic() + LONGEST, str(asked.get("HTTP_LAST_EVENT_ID", ""))
        seen_at_the_door = True
        while True:
            # A request's surroundings for each look alone: nothing is held while the stream waits.
            with app.request_context(asked):
                if seen_at_the_door:
                    g.here, seen_at_the_door = looker, False
                elif not _still_here(looker):
                    return
                said = json.dumps(look())
            mark = hashlib.sha256(said.encode()).hexdigest()[:16]
            # A comment where nothing has changed: it is by writing that a server learns that nobody listens any more.
            yield f"id: {mark}\ndata: {said}\n\n" if mark != seen else ": the same\n\n"
            seen = mark
            if not stays or time.monotonic() + LOOK_EVERY > end:
                return
            time.sleep(LOOK_EVERY)
    finally:
        if stays:
            places.release()


def _still_here(looker: Here) -> bool:
    """Set the moment anew. False once the person is signed out or has other roles: the page must be asked anew."""
    at = office().now()
    member = signed_in(office().database, token(), at=at, by_itself=True)
    if member is None or member.roles != looker.roles:
        return False
    g.here = replace(looker, at=at, member=member)
    return True
