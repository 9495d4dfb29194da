"""A bad line between the service and a mail server: what goes over it can be cut, swallowed or answered differently.

The line speaks TLS with the service and with the server, and reads every line on the way.
"""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import Protocol

from tests.servers.ports import free_port

Line = bytes


class _Server(Protocol):
    @property
    def host(self) -> str: ...
    @property
    def port(self) -> int: ...
    @property
    def ca_file(self) -> str: ...


@dataclass
class BadLine:
    """Listens on `port`. `up` and `down` see each line to and from the server, and say what goes on in its place: other
    lines, b"" for nothing, or None to cut the connection there. `connections` counts those made so far."""

    port: int
    up: Callable[[Line], Line | None] = lambda line: line
    down: Callable[[Line], Line | None] = lambda line: line
    connections: int = 0
    said: list[Line] = field(default_factory=list)


@contextmanager
def bad_line(server: _Server) -> Iterator[BadLine]:
    """A line to this server (whose key lies beside its certificate) as long as the block lasts."""
    line = BadLine(free_port())
    mine = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    mine.load_cert_chain(server.ca_file, server.ca_file.replace("certificate.pem", "key.pem"))
    theirs = ssl.create_default_context(cafile=server.ca_file)
    listener = socket.create_server((server.host, line.port))
    open_now: list[socket.socket] = []

    def serve() -> None:
        while True:
            try:
                raw, _ = listener.accept()
            except OSError:
                return
            line.connections += 1
            with suppress(OSError):
                near = mine.wrap_socket(raw, server_side=True)
                far = theirs.wrap_socket(
                    socket.create_connection((server.host, server.port)), server_hostname=server.host
                )
                open_now.extend((near, far))
                for source, target, name in ((near, far, "up"), (far, near, "down")):
                    threading.Thread(target=carry, args=(source, target, name), daemon=True).start()

    def carry(source: ssl.SSLSocket, target: ssl.SSLSocket, name: str) -> None:
        with suppress(OSError, ValueError), source.makefile("rb") as lines:
            for one in lines:
                if name == "up":
                    line.said.append(one)
                passed = getattr(line, name)(one)
                if passed is None:
                    break
                target.sendall(passed)
        for end in (source, target):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    threading.Thread(target=serve, daemon=True).start()
    try:
        yield line
    finally:
        listener.close()
        for one in open_now:
            with suppress(OSError):
                one.close()
