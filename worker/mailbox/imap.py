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

from replacements.requests.turns import apparent_sender, turns_of
from worker.mailbox.connection import ImapPlace, connect, disconnect, said_plainly
from worker.mailbox.source import Found, MailboxTrouble, Seen

# Common practice: mail servers take messages up to some 25 to 150 MB. Of a larger one only the beginning is read, which
# holds what the voter wrote; the whole stays in the mailbox.
MOST_BYTES = 160 * 1024 * 1024
BEGINNING = 1024 * 1024
# Each question to the server costs its way there and back, so where many messages wait they are fetched together; a few
# are fetched one by one, and so is a large one, and one at which a connection broke.
FEW = 10
MOST_TOGETHER = 25
LARGE = 200_000  # bytes
# Where more wait, the server is asked first who sent each, so that no sender's many hold up another's one.
MANY = 200
HEADERS_TOGETHER = 1000
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
        self._senders: dict[int, str] = {}
        self._at_hand = 0
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

    @property
    def at_hand(self) -> int:
        """How many messages are fetched already and come next, whatever becomes of the connection."""
        return self._at_hand

    def new_messages(self, seen: Seen) -> Iterator[Found]:
        self._told.clear()
        self._select()  # the server's present state, and whether the folder was made anew since
        unreachable, cut = [], []
        for uids in self._pieces(self._waiting(seen)):
            kept = [uid for uid in uids if seen(self._validity, str(uid))]
            self._mark(kept)
            new = [uid for uid in uids if uid not in kept]
            together = self._fetched_together(new) if len(new) > 1 else {}
            for uid in new:
                raw, size = together.pop(uid, None), None
                self._at_hand = len(together)
                if raw is None and (size := self._size(uid)) is not None:
                    raw = self._fetched(uid, size)
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

    def mark_done(self, *found: Found) -> None:
        self._mark([int(one.uid) for one in found if one.validity == self._validity])

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
            self._senders.clear()
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
        found = [uid for uid in found if uid not in self._known]
        turns = turns_of(self._senders_of(found)) if len(found) > MANY else {}
        return sorted(found, key=lambda uid: (_broke_at[self._key(uid)], turns.get(uid, 0), uid))

    def _pieces(self, uids: list[int]) -> Iterator[list[int]]:
        """In their order, as many together as are fetched together."""
        broken = [uid for uid in uids if _broke_at[self._key(uid)]]
        whole = uids[: len(uids) - len(broken)]  # the others come last
        step = MOST_TOGETHER if len(whole) > FEW else 1
        yield from (whole[start : start + step] for start in range(0, len(whole), step))
        yield from ([uid] for uid in broken)

    def _senders_of(self, uids: list[int]) -> dict[int, str]:
        """Who says to have sent these, as far as the server tells; asked once for each."""
        unknown = [uid for uid in uids if uid not in self._senders]
        for start in range(0, len(unknown), HEADERS_TOGETHER):
            some = unknown[start : start + HEADERS_TOGETHER]
            answers = self._answers(some, "BODY.PEEK[HEADER.FIELDS (FROM)]")
            self._senders.update({uid: apparent_sender(_body_of(answers.get(uid)) or b"") for uid in some})
        return {uid: self._senders[uid] for uid in uids}

    def _key(self, uid: int) -> tuple[str, str, int]:
        return (self.name, self._validity, uid)

    def _size(self, uid: int) -> int | None:
        """Bytes of the message; None where it is gone."""
        answer = self._asked(uid, "RFC822.SIZE")
        return None if answer is None else int(answer.get(b"RFC822.SIZE") or 0)

    def _fetched(self, uid: int, size: int) -> bytes | None:
        """The message's bytes; None where the server does not hand them out."""
        part = f"BODY.PEEK[]<0.{BEGINNING}>" if size > MOST_BYTES else "BODY.PEEK[]"
        return _body_of(self._asked(uid, part))

    def _fetched_together(self, uids: list[int]) -> dict[int, bytes]:
        """The bytes of these messages, as far as they are small and the server hands them out at once."""
        sizes = self._answers(uids, "RFC822.SIZE")
        small = [uid for uid in uids if 0 < int(sizes.get(uid, {}).get(b"RFC822.SIZE") or 0) <= LARGE]
        answers = self._answers(small, "BODY.PEEK[]") if small else {}
        return {uid: raw for uid in small if (raw := _body_of(answers.get(uid))) is not None}

    def _asked(self, uid: int, what: str) -> dict[bytes, Any] | None:
        return self._answers([uid], what).get(uid)

    def _answers(self, uids: list[int], what: str) -> dict[int, dict[bytes, Any]]:
        """What the server says of these messages; nothing where it says no."""
        with said_plainly(self._place):
            try:
                answers: dict[int, dict[bytes, Any]] = self._client.fetch(uids, [what])
                return answers
            except (*_NOT_FOR_THIS, OSError):
                _broke_at.update(self._key(uid) for uid in uids)
                raise
            except IMAPClientError:  # the server says no to these
                return {}
            except (ValueError, TypeError, LookupError, AssertionError) as error:  # its answer is no answer at all
                _broke_at.update(self._key(uid) for uid in uids)
                raise ProtocolError(type(error).__name__) from error

    def _is_there(self, uid: int) -> bool:
        with said_plainly(self._place):
            return uid in self._client.search(["UID", str(uid)])

    def _mark(self, uids: list[int]) -> None:
        self._known.update(uids)
        for uid in uids:
            self._senders.pop(uid, None)
        if self._keyword and uids:
            with said_plainly(self._place):
                self._client.add_flags(uids, [self._keyword], silent=True)
        elif self._place.put_away:
            self._to_move.update(uids)

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


def _body_of(answer: dict[bytes, Any] | None) -> bytes | None:
    raw = next((value for key, value in (answer or {}).items() if key.startswith(b"BODY[")), None)
    return None if raw is None else bytes(raw)


def _messages(uids: list[int]) -> str:
    named = ", ".join(str(uid) for uid in uids[:5])
    more = f" and {len(uids) - 5} more" if len(uids) > 5 else ""
    return f"{'message' if len(uids) == 1 else 'messages'} {named}{more}"


def _why_not_moved(error: IMAPClientError) -> str:
    said = str(error).upper()
    if "OVERQUOTA" in said or "QUOTA" in said:  # RFC 5530, section 3; RFC 2087 before it
        return "the mailbox has no room left"
    return "the mail server refuses it"
