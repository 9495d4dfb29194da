"""A mailbox on an IMAP server (RFC 3501, RFC 9051).

A message is named by the folder's UIDVALIDITY and its UID. Fetching never sets a flag (BODY.PEEK); what is kept gets a
keyword that carries the UIDVALIDITY, so that a folder that was made anew is read anew. \\Seen is not used to know what
is done: a person who looks into the mailbox must not make a request disappear. Where the office wants kept messages in
another folder, they move after they are stored and marked; one that cannot move stays, and stays marked.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

from imapclient.exceptions import IMAPClientAbortError, IMAPClientError, ProtocolError

from worker.mailbox.connection import ImapPlace, connect, disconnect, said_plainly
from worker.mailbox.source import Found, MailboxTrouble, Seen

# Common practice: mail servers take messages up to some 25 to 150 MB. Of a larger one only the beginning is read, which
# holds what the voter wrote; the whole stays in the mailbox.
MOST_BYTES = 160 * 1024 * 1024
BEGINNING = 1024 * 1024
_CHECKED_LATEST = 5
_IDLE_SECONDS = 2.0
_SLICE = 1.0  # seconds between two looks at whether to stop
_NOT_FOR_THIS = (IMAPClientAbortError, ProtocolError)  # the connection is of no use afterwards

# Messages at which a connection broke, by (source, validity, uid): tried last from then on, so that one broken message
# or one that the server chokes on holds up no other.
_broke_at: Counter[tuple[str, str, int]] = Counter()


class ImapSource:
    """One folder of an IMAP server, opened at once; `MailboxTrouble` where that is not possible."""

    def __init__(self, place: ImapPlace) -> None:
        self._place = place
        self._validity = ""
        self._keyword = b""
        self._known: set[int] = set()  # stored for certain, so that they need not be asked about at each look
        self._to_move: set[int] = set()
        self._told: dict[str, str] = {}
        self._client: Any = connect(place)
        try:
            self._select()
        except BaseException:
            self.close()
            raise

    @property
    def name(self) -> str:
        return f"imap:{self._place.user}@{self._place.host}/{self._place.folder}"

    @property
    def told(self) -> str:
        return " ".join(self._told.values())

    @property
    def can_idle(self) -> bool:
        """Whether the server can say at once that mail has come (RFC 2177)."""
        return bool(self._client.has_capability("IDLE"))

    def new_messages(self, seen: Seen) -> Iterator[Found]:
        self._told.clear()
        self._select()  # the server's present state, and whether the folder was made anew since
        unreachable, cut = [], []
        for uid in self._waiting(seen):
            if uid in self._known:
                continue
            if seen(self._validity, str(uid)):
                self._mark(uid)
                continue
            size = self._size(uid)
            raw = self._fetched(uid, size) if size is not None else None
            if raw is None and self._is_there(uid):
                unreachable.append(uid)
            elif raw is not None:
                if size is not None and size > MOST_BYTES:
                    cut.append(uid)
                yield Found(str(uid), self._validity, raw)
            # else it was deleted or moved away in this moment
        if unreachable:
            self._told["unreachable"] = (
                f"The mail server does not hand out {_messages(unreachable)} in the folder {self._place.folder}. "
                "They stay there and are tried again; look at them with a mail program."
            )
        if cut:
            self._told["cut"] = (
                f"Of {_messages(cut)} in the folder {self._place.folder} only the beginning was taken in, "
                f"since the whole is larger than {MOST_BYTES // 1024 // 1024} MB. The whole is in the mailbox."
            )

    def mark_done(self, found: Found) -> None:
        if found.validity == self._validity:
            self._mark(int(found.uid))

    def put_away(self) -> None:
        if not self._place.put_away:
            return
        waiting = set(self._to_move)
        if self._keyword:
            with said_plainly(self._place):
                waiting.update(self._client.search(["KEYWORD", self._keyword, "UNDELETED"]))
        for moved, uid in enumerate(sorted(waiting)):
            try:
                self._move(uid)
            except IMAPClientError as error:
                if isinstance(error, _NOT_FOR_THIS):
                    with said_plainly(self._place):
                        raise
                left = len(waiting) - moved
                self._told["put away"] = (
                    f"{left} stored {'message' if left == 1 else 'messages'} could not be moved to the folder "
                    f"{self._place.put_away}: {_why_not_moved(error)}. Nothing is lost: they stay in "
                    f"{self._place.folder}, are not taken in again, and are moved when it works."
                )
                return
            except OSError:
                with said_plainly(self._place):
                    raise
            self._to_move.discard(uid)

    def wait_for_news(self, seconds: float, stopped: Callable[[], bool]) -> bool:
        """Wait until the server says that the folder has changed, at most so long. Returns whether it said so.

        Without IDLE it is only the waiting. What the server says together with its first answer to IDLE shows only when
        that ends, so it is ended and begun again every two seconds.
        """
        if self._said_meanwhile():
            return True
        until = time.monotonic() + seconds
        if not self.can_idle:
            while time.monotonic() < until and not stopped():
                time.sleep(min(_SLICE, max(0.0, until - time.monotonic())))
            return False
        while not stopped() and (left := until - time.monotonic()) > 0:
            if self._idle(min(_IDLE_SECONDS, left), stopped) or self._said_meanwhile():
                return True
        return False

    def close(self) -> None:
        disconnect(self._client)

    def _said_meanwhile(self) -> bool:
        """Whether the server has announced mail since the folder was selected, along with its answers to what was asked
        while messages were fetched and marked: it announces each only once, and IDLE would say nothing of it."""
        _, said = self._client._imap.response("EXISTS")  # a method of the standard library's imaplib
        return any(said)

    def _idle(self, seconds: float, stopped: Callable[[], bool]) -> bool:
        until = time.monotonic() + seconds
        with said_plainly(self._place):
            self._client.idle()
            news: list[Any] = []
            while not news and not stopped() and (left := until - time.monotonic()) > 0:
                began, wait = time.monotonic(), min(_SLICE, left)
                news = self._client.idle_check(wait)
                if not news and time.monotonic() - began < wait / 2:
                    break  # the other side has closed; saying DONE shows it
            _, said_last = self._client.idle_done()
        return any(len(one) > 1 and one[1] in (b"EXISTS", b"RECENT") for one in [*news, *said_last])

    def _select(self) -> None:
        place = self._place
        with said_plainly(place):
            try:
                state = self._select_as_written_or_by_the_servers_sign(place.folder)
            except (IMAPClientError, ValueError) as error:
                if isinstance(error, _NOT_FOR_THIS):
                    raise
                raise MailboxTrouble(
                    f"The mail server {place.host} has no folder {place.folder} for {place.user}."
                ) from error
        self._said_meanwhile()  # how many there are is said at selecting, too
        validity = str(state.get(b"UIDVALIDITY", "0"))
        if validity != self._validity:
            self._known.clear()
            self._to_move.clear()
        self._validity = validity
        allowed = state.get(b"PERMANENTFLAGS", ())
        self._keyword = f"ReplacementsKept{self._validity}".encode() if b"\\*" in allowed else b""

    def _select_as_written_or_by_the_servers_sign(self, folder: str) -> Any:
        """Servers part the levels of folders by different signs; in the setting it may always be a slash."""
        try:
            return self._client.select_folder(folder)
        except IMAPClientError as error:
            if isinstance(error, _NOT_FOR_THIS) or "/" not in folder:
                raise
            levels = self._client.list_folders("", "")
            sign = levels[0][1] if levels else None
            if sign in (None, b"/"):
                raise
            return self._client.select_folder(folder.replace("/", sign.decode()))

    def _waiting(self, seen: Seen) -> list[int]:
        """UIDs to look at. Where the latest marked ones are not known to the caller (its database was put back to an
        earlier day), or where the server takes no marks, every message is looked at."""
        with said_plainly(self._place):
            found: list[int] | None = None
            if self._keyword:
                marked = sorted(self._client.search(["KEYWORD", self._keyword]))
                if all(seen(self._validity, str(uid)) for uid in marked[-_CHECKED_LATEST:]):
                    found = self._client.search(["UNKEYWORD", self._keyword])
            if found is None:
                found = self._client.search(["ALL"])
        return sorted(found, key=lambda uid: (_broke_at[self._key(uid)], uid))

    def _key(self, uid: int) -> tuple[str, str, int]:
        return (self.name, self._validity, uid)

    def _size(self, uid: int) -> int | None:
        """Bytes of the message; None where it is gone."""
        answer = self._asked(uid, "RFC822.SIZE")
        return None if answer is None else int(answer.get(b"RFC822.SIZE") or 0)

    def _fetched(self, uid: int, size: int) -> bytes | None:
        """The message's bytes; None where the server does not hand them out."""
        part = f"BODY.PEEK[]<0.{BEGINNING}>" if size > MOST_BYTES else "BODY.PEEK[]"
        answer = self._asked(uid, part)
        if answer is None:
            return None
        raw = next((value for key, value in answer.items() if key.startswith(b"BODY[]")), None)
        return None if raw is None else bytes(raw)

    def _asked(self, uid: int, what: str) -> dict[bytes, Any] | None:
        with said_plainly(self._place):
            try:
                answer: dict[bytes, Any] | None = self._client.fetch([uid], [what]).get(uid)
                return answer
            except (*_NOT_FOR_THIS, OSError):
                _broke_at[self._key(uid)] += 1
                raise
            except IMAPClientError:  # the server says no to this one message
                return None
            except (ValueError, TypeError, LookupError, AssertionError) as error:  # its answer is no answer at all
                _broke_at[self._key(uid)] += 1
                raise ProtocolError(type(error).__name__) from error

    def _is_there(self, uid: int) -> bool:
        with said_plainly(self._place):
            return uid in self._client.search(["UID", str(uid)])

    def _mark(self, uid: int) -> None:
        self._known.add(uid)
        if self._keyword:
            with said_plainly(self._place):
                self._client.add_flags([uid], [self._keyword], silent=True)
        elif self._place.put_away:
            self._to_move.add(uid)

    def _move(self, uid: int) -> None:
        """By MOVE (RFC 6851), else as its section 3.3 says: copy, and only then remove the first. Without UIDPLUS it is
        left marked as deleted, since a plain EXPUNGE would remove what other people have marked."""
        move = self._client.move if self._client.has_capability("MOVE") else self._client.copy
        try:
            move([uid], self._place.put_away)
        except IMAPClientError as error:
            if isinstance(error, _NOT_FOR_THIS) or "TRYCREATE" not in str(error).upper():
                raise
            with suppress(IMAPClientError):
                self._client.create_folder(self._place.put_away)
            move([uid], self._place.put_away)
        if move == self._client.copy:
            self._client.delete_messages([uid], silent=True)
            if self._client.has_capability("UIDPLUS"):
                self._client.uid_expunge([uid])


def _messages(uids: list[int]) -> str:
    named = ", ".join(str(uid) for uid in uids[:5])
    more = f" and {len(uids) - 5} more" if len(uids) > 5 else ""
    return f"{'message' if len(uids) == 1 else 'messages'} {named}{more}"


def _why_not_moved(error: IMAPClientError) -> str:
    said = str(error).upper()
    if "OVERQUOTA" in said or "QUOTA" in said:  # RFC 5530, section 3; RFC 2087 before it
        return "the mailbox has no room left"
    return "the mail server refuses it"
