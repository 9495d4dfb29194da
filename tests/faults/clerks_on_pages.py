"""Clerks who work on the pages over HTTP while programs fail: what each was told is noted, to be held against the
record afterwards."""

from __future__ import annotations

import html
import http.client
import random
import re
import threading
import urllib.error
import urllib.parse
import urllib.request
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from http.cookiejar import CookieJar
from typing import TypeVar

T = TypeVar("T")

_SECONDS = 30
_REQUEST = re.compile(r'href="/requests/(\d+)"')
_FORM = re.compile(r'<form method="post" action="(/requests/(\d+)/(approve|decline))">(.*?)</form>', re.DOTALL)
_FIELD = re.compile(r'<input type="hidden" name="([a-z_]+)" value="([^"]*)"')
_SAID = re.compile(r'<div class="say (good|stop)" role="[a-z]+"><p>(.*?)</p></div>', re.DOTALL)
_AWAY = (urllib.error.URLError, http.client.HTTPException, OSError, TimeoutError)
_ONCE_MORE = "Do what was proposed once more"
_LIST = ("/requests", "/requests?state=second")
DECLINED = 0.05  # of what a clerk decides
LEFT = 0.04  # of requests, which every clerk leaves for another day


def is_left(request_id: int) -> bool:
    """Whether this request is one of those that every clerk leaves."""
    return random.Random(request_id).random() < LEFT


@dataclass(frozen=True, slots=True)
class Told:
    """A page told a clerk that this was carried out, on this version of the request."""

    request_id: int
    version: int
    clerk: str
    what: str
    text: str


@dataclass
class Clerk:
    """One clerk at a browser of their own. `told`: what was carried out, as the pages said; `met`: what else came."""

    url: str
    name: str
    password: str
    seed: int
    told: list[Told] = field(default_factory=list)
    met: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self._chance = random.Random(self.seed)
        self._browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))

    def work(self, stopped: threading.Event) -> None:
        """Decide what the list shows, again and again."""
        while not stopped.is_set():
            decided = 0
            for request_id in self._open_requests():
                if stopped.is_set():
                    break
                decided += self._try(partial(self._decide, request_id)) or 0
            if not decided:
                stopped.wait(1.0)

    def _open_requests(self) -> Sequence[int]:
        found: set[int] = set()
        for address in _LIST:
            page = self._try(partial(self._page, address))
            found |= {int(number) for number in _REQUEST.findall(page or "")}
        left = sorted(number for number in found if not is_left(number))
        self._chance.shuffle(left)
        return left

    def _decide(self, request_id: int) -> int:
        page = self._page(f"/requests/{request_id}")
        forms = {what: (address, body) for address, _, what, body in _FORM.findall(page)}
        what = "decline" if self._chance.random() < DECLINED else "approve"
        if what not in forms:
            return 0
        address, body = forms[what]
        if _ONCE_MORE in body:  # somebody else has asked the voter already
            return 0
        fields = {name: html.unescape(value) for name, value in _FIELD.findall(body)}
        version = int(fields["version"])
        if what == "decline":
            fields["note"] = "Settled by telephone."
        answer = self._open(address, fields)
        for category, text in _SAID.findall(answer):
            plain = html.unescape(re.sub(r"<[^>]+>", "", text)).strip()
            if category == "good":
                self.told.append(Told(request_id, version, self.name, what, plain))
                return 1
            self.met[plain[:60]] += 1
        return 0

    def _page(self, address: str) -> str:
        """A page, signing in first where that is asked for."""
        page = self._open(address)
        if 'action="/sign-in"' in page or 'name="password"' in page:
            fields = {name: html.unescape(value) for name, value in _FIELD.findall(page)}
            self._open("/sign-in", fields | {"name": self.name, "password": self.password})
            self.met["signed in"] += 1
            page = self._open(address)
        return page

    def _open(self, address: str, fields: dict[str, str] | None = None) -> str:
        data = urllib.parse.urlencode(fields).encode() if fields is not None else None
        with self._browser.open(self.url + address, data, timeout=_SECONDS) as answer:
            return str(answer.read().decode("utf-8", "replace"))

    def _try(self, act: Callable[[], T]) -> T | None:
        """What the pages gave; None where they were away."""
        try:
            return act()
        except urllib.error.HTTPError as error:
            self.met[f"page answered {error.code}"] += 1
        except _AWAY as error:
            self.met[f"page away ({type(error).__name__})"] += 1
            threading.Event().wait(0.3)
        return None
