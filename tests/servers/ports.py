"""Free ports, and waiting until a private server listens on one."""

from __future__ import annotations

import random
import socket
import subprocess
import time

START_SECONDS = 30
# Below the ports that systems give to outgoing connections: one of those cannot take the port before the server does.
PORTS = range(15_000, 32_000)
_draw = random.SystemRandom()  # tests run in several processes, and some of them fix the seed


def free_port() -> int:
    """A port that nobody listens on at this moment; another for every process that asks at the same time."""
    for _ in range(100):
        port = _draw.choice(PORTS)
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise RuntimeError(f"no free port found between {PORTS.start} and {PORTS.stop}")


def wait_for(port: int, process: subprocess.Popen[bytes] | None = None) -> bool:
    """Whether somebody listens on this port before the time is up; at once False where the server has ended."""
    until = time.monotonic() + START_SECONDS
    while time.monotonic() < until:
        if process is not None and process.poll() is not None:
            return False
        with socket.socket() as probe:
            probe.settimeout(1)
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return True
        time.sleep(0.05)
    return False


def stop(process: subprocess.Popen[bytes]) -> None:
    """End a server that a test started."""
    process.terminate()
    try:
        process.wait(timeout=10)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait(timeout=10)
