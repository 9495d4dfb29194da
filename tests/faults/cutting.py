"""A line to a server that breaks when it is told to: in the middle of a command, of its answer, or right after a
message was taken over. It carries bytes and understands nothing of them, but where an SMTP message ends."""

from __future__ import annotations

import random
import socket
import threading
from contextlib import suppress
from dataclasses import dataclass, field
from enum import StrEnum

from tests.servers.ports import free_port

_END_OF_MESSAGE = b"\r\n.\r\n"
_MOST = 65_536  # bytes carried at a time


class Cut(StrEnum):
    """Where it breaks: half of what the client says arrives; what the client says arrives, and half of the answer comes
    back; the server has taken a message over, and its answer to that is lost."""

    COMMAND = "in the middle of a command"
    ANSWER = "in the middle of an answer"
    TAKEN_OVER = "after the message was taken over"


@dataclass
class Line:
    """Listens on `port` and carries to `server` (host, port). `break_off` arms it: the next connection that comes so
    far breaks there, once; `broken` counts."""

    server: tuple[str, int]
    port: int = field(default_factory=free_port)
    broken: dict[Cut, int] = field(default_factory=lambda: dict.fromkeys(Cut, 0))
    _armed: Cut | None = None
    _pieces: int = 0  # that are still carried before it breaks
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _open: set[socket.socket] = field(default_factory=set)
    _listener: socket.socket | None = None

    def start(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", self.port))
        threading.Thread(target=self._serve, daemon=True).start()

    def stop(self) -> None:
        if self._listener is not None:
            self._listener.close()
        self.break_all()

    def break_off(self, where: Cut, chance: random.Random) -> None:
        """Break the next connection there, after a few more pieces went through unharmed."""
        with self._lock:
            self._armed, self._pieces = where, 0 if where is Cut.TAKEN_OVER else chance.randrange(9)

    def is_armed(self) -> bool:
        return self._armed is not None

    def disarm(self) -> None:
        with self._lock:
            self._armed = None

    def break_all(self) -> int:
        """Break every connection at once. Returns how many ends were open."""
        with self._lock:
            ends = list(self._open)
            self._open.clear()
        for end in ends:
            _shut(end)
        return len(ends)

    def _serve(self) -> None:
        assert self._listener is not None
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(self.server, timeout=10)
            except OSError:
                near.close()
                continue
            far.settimeout(None)
            with self._lock:
                self._open.update((near, far))
            talk = _Talk(self, near, far)
            for carry in (talk.up, talk.down):
                threading.Thread(target=carry, daemon=True).start()

    def _strikes(self, where: Cut) -> bool:
        """Whether the connection that asks breaks now; only one does."""
        with self._lock:
            if self._armed is not where:
                return False
            if self._pieces > 0:
                self._pieces -= 1
                return False
            self._armed = None
            self.broken[where] += 1
            return True


class _Talk:
    """One connection, carried in both directions."""

    def __init__(self, line: Line, near: socket.socket, far: socket.socket) -> None:
        self._line, self._near, self._far = line, near, far
        self._tail = b""
        self._message_ended = False

    def up(self) -> None:
        with suppress(OSError):
            while piece := self._near.recv(_MOST):
                if self._line._strikes(Cut.COMMAND):
                    self._far.sendall(piece[: len(piece) // 2])
                    break
                self._tail = (self._tail + piece)[-len(_END_OF_MESSAGE) :]
                self._message_ended = self._tail == _END_OF_MESSAGE
                self._far.sendall(piece)
        self._close()

    def down(self) -> None:
        with suppress(OSError):
            while piece := self._far.recv(_MOST):
                if self._message_ended and piece[:1] == b"2" and self._line._strikes(Cut.TAKEN_OVER):
                    break
                if not self._message_ended and self._line._strikes(Cut.ANSWER):
                    self._near.sendall(piece[: len(piece) // 2])
                    break
                self._message_ended = False
                self._near.sendall(piece)
        self._close()

    def _close(self) -> None:
        for end in (self._near, self._far):
            _shut(end)
            with self._line._lock:
                self._line._open.discard(end)


def _shut(end: socket.socket) -> None:
    with suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    with suppress(OSError):
        end.close()
